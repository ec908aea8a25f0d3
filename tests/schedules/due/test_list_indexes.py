"""Every filter and every order of the due list is served by an index: a page reads about as many rows as it shows."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import date

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from schedules.due.list_queries import DueFilter, due_page

pytestmark = [pytest.mark.django_db, pytest.mark.postgres]
TODAY = date(2026, 6, 15)
ROWS = 12_000  # a site, of two; half of them of the other site lie before the first of this one
ENOUGH = 900  # rows that a page of 50 may touch: a fourteenth of the site at most

_JOINTS = """
INSERT INTO assets_app_joint (asset_id, tag, name, kind, load_path, access, position, active, note)
SELECT a.id, 'W-' || k, '', 'weld', 'single', 'easy', '', true, ''
FROM assets_app_asset a, generate_series(1, 100) k ORDER BY k, a.id"""
_PROGRAMMES = """
INSERT INTO schedules_programme (joint_id, asset_id, method, source, conditions, last_look_conditions, active)
SELECT id, asset_id, (ARRAY['VT', 'MT', 'UT', 'PT'])[1 + id / 2 % 4], '', 'good', 'good', true FROM assets_app_joint"""
_DUE = """
INSERT INTO schedules_duedate (programme_id, joint_id, asset_id, site_id, method, due_on, governing, next_limit,
  unrated, unprotected, code_version, computed_on, changed_at)
SELECT p.id, p.joint_id, p.asset_id, a.site_id, p.method,
  CASE WHEN p.id % 11 = 0 THEN NULL ELSE date '2026-01-01' + (p.id::bigint * 7919 % 1009)::int END,
  CASE WHEN p.id % 11 = 0 THEN '' ELSE (ARRAY['calendar', 'duty', 'damage', 'growth window'])[1 + p.id / 8 % 4] END, '',
  p.id % 23 = 0, p.id % 29 = 0, '1', date '2026-06-15', now()
FROM schedules_programme p JOIN assets_app_asset a ON a.id = p.asset_id"""

_CHECKED = ("SET CONSTRAINTS ALL IMMEDIATE", "SET CONSTRAINTS ALL DEFERRED")  # once, not at the end of every test


@pytest.fixture(scope="module")
def fleet(django_db_setup, django_db_blocker):
    """Two sites of 12,000 looks each, their assets and joints numbered in turn; made once for all tests here."""
    from assets_app.models import Asset, Site

    with django_db_blocker.unblock(), transaction.atomic():
        sites = [Site.objects.create(slug=slug, name=slug, time_zone="UTC") for slug in ("depot", "pier")]
        for n in range(ROWS // 100):
            for place, name in zip(sites, "LR", strict=True):
                Asset.objects.create(site=place, tag=f"{name}-{n:03d}", name="Tide Swing", kind="ride")
        with connection.cursor() as cursor:
            for sql in (_JOINTS, _PROGRAMMES, _DUE, *_CHECKED, "ANALYZE"):
                cursor.execute(sql)
        yield sites
        transaction.set_rollback(True)


def touched(work: Callable[[], object]) -> int:
    """Rows of due dates that the statements of ``work`` read, also those read in vain."""
    with CaptureQueriesContext(connection) as asked:
        work()
    statements = [each["sql"] for each in asked.captured_queries if "schedules_duedate" in each["sql"]]
    assert statements
    return sum(_read_by(sql) for sql in statements)


def _read_by(sql: str) -> int:
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN (ANALYZE, TIMING OFF, FORMAT JSON) {sql}")
        (found,) = cursor.fetchone()
    plan = found if isinstance(found, list) else json.loads(found)
    return sum(
        (node["Actual Rows"] + node.get("Rows Removed by Filter", 0)) * node["Actual Loops"]
        for node in _nodes(plan[0]["Plan"])
        if node.get("Relation Name") == "schedules_duedate" or node.get("Index Name", "").startswith("due_")
    )


def _nodes(plan: dict) -> Iterator[dict]:
    yield plan
    for each in plan.get("Plans", []):
        yield from _nodes(each)


FILTERS = [
    {},
    {"weeks": 8},
    {"weeks": 53},
    {"overdue": True},
    {"governing": "damage"},
    {"method": "MT"},
    {"method": "MT", "governing": "damage"},
    {"unrated": True},
    {"unprotected": True},
    {"unrated": True, "weeks": 8},
    {"asset": "R-00"},
    {"asset": "R"},
    {"by_asset": True},
    {"by_asset": True, "overdue": True},
]


@pytest.mark.parametrize("sites", [1, 2])
@pytest.mark.parametrize("asked", FILTERS, ids=str)
def test_a_page_reads_about_what_it_shows_and_a_deep_one_no_more(fleet, asked, sites):
    other_site, site = fleet
    listed = DueFilter([site.pk, other_site.pk][:sites], TODAY, **asked)
    first = due_page(listed)
    assert len(first.rows) == 50
    enough = ENOUGH * sites * (3 if {"method", "governing"} <= set(asked) else 1)  # one index, the rest left out
    assert touched(lambda: due_page(listed)) <= enough
    key = first.after
    for _ in range(3):
        page = due_page(listed, after=key, size=300)
        key = page.after or key
    assert touched(lambda: due_page(listed, after=key)) <= enough


@pytest.mark.parametrize(
    "asked",
    [
        "",
        "due_before=2026-08-01",
        "due_after=2027-01-01",
        "governing=damage",
        "method=MT",
        "unrated=true",
        "unrated=false",
        "unprotected=true",
        "unprotected=false",
        "asset={asset}",
        "site={site}",
    ],
)
@pytest.mark.parametrize("roles", [1, 2])
def test_the_api_s_page_reads_about_what_it_shows_and_a_deep_one_no_more(fleet, person, asked, roles):
    from assets_app.models import Asset, Role

    other_site, site = fleet
    planner, client = person("planner", site), APIClient()
    if roles == 2:
        Role.objects.create(person=planner, site=other_site, name="planner")
    client.force_authenticate(planner)
    asked = asked.format(asset=Asset.objects.filter(site=site)[7].pk, site=site.pk)
    url = f"/api/v1/due-dates/?{asked}"
    assert touched(lambda: client.get(url)) <= ENOUGH * roles
    for _ in range(3):
        url = client.get(url).json()["next"] or url
    assert touched(lambda: client.get(url)) <= ENOUGH * roles
