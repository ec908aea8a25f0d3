"""The list of due dates through the API: every row once by its pages, both ways, the undated ones last."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from rest_framework.test import APIClient

from schedules.due.models import Limit
from schedules.models import DueDate, Programme

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)


@pytest.fixture
def api(person, site):
    client = APIClient()
    client.force_login(person("planner", site))
    return client


@pytest.fixture
def rows(asset, now):
    """Ten dated looks, four of them on one day, and three without a date."""
    return make(asset, [TODAY + timedelta(days=max(k - 3, 0)) for k in range(10)] + [None] * 3, now)


def make(asset, days, now):
    from assets_app.models import Joint

    made = []
    for place, day in enumerate(days):
        joint = Joint.objects.create(asset=asset, tag=f"J-{asset.pk}-{place:03d}", kind="weld")
        programme = Programme.objects.create(joint=joint, asset=asset, method="VT")
        fields = {"joint": joint, "asset": asset, "site_id": asset.site_id, "method": "VT", "due_on": day}
        fields |= {"governing": "calendar" if day else "", "calendar_on": day, "unrated": day is None}
        fields |= {"code_version": "1", "computed_on": TODAY, "changed_at": now}
        made.append(DueDate.objects.create(programme=programme, **fields))
    return made


def walked(api, url, way="next"):
    pages = []
    while url:
        body = api.get(url).json()
        pages.append(body)
        url = body[way]
    return pages


def programmes(pages):
    return [[row["programme"] for row in page["results"]] for page in pages]


@pytest.mark.parametrize("size", [1, 2, 4, 5, 13, 50])
def test_every_row_comes_once_forwards_and_back_though_days_repeat_and_some_have_none(api, rows, size):
    there = walked(api, f"/api/v1/due-dates/?page_size={size}")
    seen = [pk for page in programmes(there) for pk in page]
    assert seen == [row.pk for row in rows]
    assert there[0]["previous"] is None
    back = walked(api, there[-1]["previous"], "previous") if there[-1]["previous"] else []
    assert programmes(back)[::-1] == programmes(there)[:-1]


def test_a_row_says_what_it_said_to_its_last_letter(api, rows):
    row = api.get("/api/v1/due-dates/").json()["results"][0]
    due = DueDate.objects.select_related("joint", "asset").get(pk=rows[0].pk)
    assert row["limits"] == dict.fromkeys(Limit.values) | {"calendar": "2026-06-15"}
    assert (row["due_on"], row["changed_at"], row["computed_on"]) == (
        "2026-06-15",
        "2026-06-15T09:00:00Z",
        "2026-06-15",
    )
    assert (row["joint"], row["joint_tag"], row["asset_tag"]) == (due.joint_id, due.joint.tag, due.asset.tag)
    assert (row["unrated"], row["damage_now"], row["governing"]) == (False, None, "calendar")


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("due_before=2026-06-16", 5),
        ("due_after=2026-06-20", 2),
        ("governing=calendar", 10),
        ("governing=damage", 0),
        ("method=VT", 13),
        ("unrated=true", 3),
        ("unprotected=true", 0),
        ("asset=0", 0),
        ("joint=0", 0),
        ("site=0", 0),
        ("site=99999999999999999999999", 0),
    ],
)
def test_each_filter_narrows(api, rows, asked, found):
    assert len(api.get(f"/api/v1/due-dates/?{asked}").json()["results"]) == found


@pytest.mark.parametrize("asked", ["site=x", "due_before=soon", "method=XX", "governing=mood"])
def test_a_filter_that_makes_no_sense_is_refused(api, rows, asked):
    assert api.get(f"/api/v1/due-dates/?{asked}").status_code == 422


@pytest.mark.parametrize("cursor", ["x", "a1.2.3", "c739417.1", "a.1", "a-1.1", "a99999999999.1", "au.0", "bu.x"])
def test_a_cursor_that_no_row_can_have_is_not_found(api, rows, cursor):
    assert api.get("/api/v1/due-dates/", {"cursor": cursor}).status_code == 404


def test_several_sites_come_as_one_list_in_order(api, rows, other_site, now):
    from assets_app.models import Asset, Person, Role

    second = Asset.objects.create(site=other_site, tag="L-01", name="Goods Lift", kind="lift")
    make(second, [TODAY + timedelta(days=k) for k in range(5)] + [None], now)
    assert len(api.get("/api/v1/due-dates/").json()["results"]) == 13
    Role.objects.create(person=Person.objects.get(), site=other_site, name="auditor")
    seen = [row for page in walked(api, "/api/v1/due-dates/?page_size=4") for row in page["results"]]
    order = [(row["due_on"] is None, row["due_on"] or "", row["programme"]) for row in seen]
    assert order == sorted(order)
    assert len({row["programme"] for row in seen}) == 19
    assert {row["site"] for row in api.get(f"/api/v1/due-dates/?site={other_site.pk}").json()["results"]} == {
        other_site.pk
    }


def test_the_queries_do_not_follow_the_rows(api, rows, django_assert_num_queries):
    for size, queries in ((1, 4), (9, 4), (13, 5)):  # session, person, sites, rows; the undated ones where they begin
        with django_assert_num_queries(queries):
            api.get(f"/api/v1/due-dates/?page_size={size}")
