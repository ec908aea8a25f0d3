"""Policy, tables and recomputes as pages and through the API."""

from __future__ import annotations

from datetime import date

import pytest
from rest_framework.test import APIClient

from schedules.due import sweeps
from schedules.models import OfficeTable, Policy

pytestmark = pytest.mark.django_db

OWN = """
title = "our trials"
source = "trial report 4"
edition = "2026"
status = "published"
[[rows]]
id = "MT-easy-good"
dimension = "depth"
x0_mm = 0.2
b = 1.43
"""


@pytest.fixture
def engineer(client, person, site):
    client.force_login(person("engineer", site))
    return client


def policy_fields(**changes):
    fields = {
        "damage_share_single": 0.3, "damage_share_other": 0.5, "looks_single": 3, "looks_other": 2,
        "detection_chance": 0.9, "watch_days": 90, "plan_repair_days": 30, "repair_look_days": 30,
        "bolt_recheck_days": 14, "due_soon_days": 30, "lowest_service_c": -20.0, "growth_law": "", "reason": "trial",
    }  # fmt: skip
    return fields | changes


def test_a_policy_shows_what_it_moves_before_it_is_saved(engineer, site, programme, steady_counter, spectrum, steel):
    programme("MT", conditions="good", last_look_on=date(2026, 6, 1), last_look_total=15000.0)
    shown = engineer.post(f"/sites/{site.slug}/policy/", policy_fields(looks_single=6) | {"try": "1"})
    assert shown.status_code == 200
    assert "<strong>1</strong> looks earlier" in shown.content.decode()
    assert not Policy.objects.exists()


def test_a_policy_is_saved_with_its_reason(engineer, site):
    engineer.post(f"/sites/{site.slug}/policy/", policy_fields(looks_single=4, reason="lessons learnt") | {"save": "1"})
    assert (Policy.objects.get().looks_single, Policy.objects.get().reason) == (4, "lessons learnt")


def test_a_policy_that_cannot_be_is_refused_beside_its_field(engineer, site):
    answer = engineer.post(f"/sites/{site.slug}/policy/", policy_fields(detection_chance=1.5) | {"save": "1"})
    assert answer.status_code == 422
    assert "field-error" in answer.content.decode()
    assert not Policy.objects.exists()


def test_a_planner_sees_the_policy_and_may_not_set_it(client, person, site):
    client.force_login(person("planner", site))
    assert client.get(f"/sites/{site.slug}/policy/").status_code == 200
    assert client.post(f"/sites/{site.slug}/policy/", policy_fields(looks_single=4)).status_code == 403


def test_a_table_is_replaced_from_the_page_and_brought_back(engineer, site):
    address = f"/sites/{site.slug}/tables/detection/"
    assert engineer.post(address, {"text": OWN, "reason": "own trials"}).status_code == 302
    assert "our trials" in engineer.get(address).content.decode()
    assert "our trials" in engineer.get("/tables/").content.decode()
    assert engineer.post(address, {"restore": "1", "reason": "trials withdrawn"}).status_code == 302
    assert OfficeTable.objects.count() == 2
    assert "As shipped." in engineer.get(address).content.decode()


@pytest.mark.parametrize("text", ["not toml [", 'title = "x"', OWN.replace("b = 1.43", "")])
def test_a_table_that_cannot_be_used_is_refused_and_what_was_typed_stays(engineer, site, text):
    answer = engineer.post(f"/sites/{site.slug}/tables/detection/", {"text": text, "reason": "ours"})
    assert answer.status_code == 422
    assert not OfficeTable.objects.exists()
    assert "field-error" in answer.content.decode()


def test_every_shipped_table_has_a_page(engineer, site):
    from engineering import tables

    for name in tables.shipped():
        assert engineer.get(f"/sites/{site.slug}/tables/{name}/").status_code == 200


def test_a_table_through_the_api(person, site):
    api = APIClient()
    api.force_authenticate(person("engineer", site))
    shipped = api.get(f"/api/v1/tables/detection/?site={site.pk}").json()
    assert (shipped["own"], shipped["rows"][0]["id"]) == (False, "MT-easy-good")
    own = {"title": "t", "source": "s", "edition": "e", "status": "published"}
    own["rows"] = [{"id": "MT-easy-good", "dimension": "depth", "x0_mm": 0.2, "b": 1.4}]
    sent = {"site": site.pk, "reason": "ours", "data": own}
    assert api.post("/api/v1/tables/detection/", sent).status_code == 200
    assert api.get(f"/api/v1/tables/detection/?site={site.pk}").json()["own"] is True
    assert api.post("/api/v1/tables/detection/", {"site": site.pk, "reason": "back"}).status_code == 200
    assert api.get(f"/api/v1/tables/detection/?site={site.pk}").json()["own"] is False
    assert api.get(f"/api/v1/tables/colours/?site={site.pk}").status_code == 404


def test_the_recomputes_show_how_far_they_are(engineer, site, programme, now):
    programme("MT", calendar_months=12)
    sweeps.start_owed(now=now)
    assert "0 of 1 looks owed" in engineer.get("/recomputes/").content.decode()
    sweeps.work_off(worker="one", now=now)
    assert "1 of 1 looks owed" in engineer.get("/recomputes/").content.decode()


def test_the_sum_through_the_api_takes_inputs_on_trial(person, site, programme, steady_counter, spectrum, steel):
    made = programme("MT", conditions="good", last_look_on=date(2026, 6, 1), last_look_total=15000.0)
    api = APIClient()
    api.force_authenticate(person("auditor", site))
    as_is = api.get(f"/api/v1/due-dates/{made.pk}/sum/").json()
    trial = api.post(f"/api/v1/due-dates/{made.pk}/sum/", {"bins": [[90, 1], [45, 4]]}).json()
    assert trial["due_on"] < as_is["due_on"]
    assert as_is["steps"][-1]["title"] == "The earliest limit is the due date"
