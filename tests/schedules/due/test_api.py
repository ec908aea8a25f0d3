"""Due dates, programmes and policies through the API."""

from __future__ import annotations

from datetime import date

import pytest
from rest_framework.test import APIClient

from schedules.due import engine
from schedules.due.store import Scope

pytestmark = pytest.mark.django_db


@pytest.fixture
def api(person, site):
    def signed_in(role, at=site):
        client = APIClient()
        client.force_authenticate(person(role, at))
        return client

    return signed_in


def test_due_dates_come_earliest_first_and_only_of_ones_own_sites(api, programme, other_site, now):
    for method, months in (("VT", 300), ("MT", 200), ("UT", 250)):
        made = programme(method, calendar_months=months)
    engine.recompute(Scope(joint_ids=[made.joint_id]), now=now)
    rows = api("auditor").get("/api/v1/due-dates/").json()["results"]
    assert [row["method"] for row in rows] == ["MT", "UT", "VT"]
    assert api("auditor", other_site).get("/api/v1/due-dates/").json()["results"] == []


def test_a_due_date_is_explained(api, programme):
    made = programme("MT", calendar_months=240)
    body = api("planner").get(f"/api/v1/due-dates/{made.pk}/").json()
    assert body["governing"] == "calendar"
    assert body["due_on"] == "2035-04-01"
    assert any("stress spectrum" in text for text in body["missing"])


def test_setting_a_programme_twice_with_one_key_does_it_once(api, weld_joint):
    client = api("planner")
    sent = {"joint": weld_joint.pk, "method": "MT", "calendar_months": 12}
    first = client.post("/api/v1/programmes/", sent, headers={"Idempotency-Key": "k1"})
    again = client.post("/api/v1/programmes/", sent, headers={"Idempotency-Key": "k1"})
    other = client.post("/api/v1/programmes/", sent | {"calendar_months": 6}, headers={"Idempotency-Key": "k1"})
    assert (first.status_code, again.json(), other.status_code) == (200, first.json(), 422)
    assert other.json()["code"] == "key_reused"


def test_a_refusal_is_problem_json_with_a_code(api, weld_joint):
    refused = api("technician").post("/api/v1/programmes/", {"joint": weld_joint.pk, "method": "MT"})
    assert refused.status_code == 403
    assert refused["Content-Type"] == "application/problem+json"
    assert refused.json()["code"] == "role_lacks_right"


def test_a_bad_field_is_named(api, weld_joint):
    refused = api("planner").post("/api/v1/programmes/", {"joint": weld_joint.pk, "method": "XX", "calendar_months": 0})
    assert refused.status_code == 422
    assert {row["field"] for row in refused.json()["errors"]} == {"method", "calendar_months"}


def test_a_fixed_day_through_the_api(api, weld_joint, programme):
    programme("MT")
    made = api("planner").post(
        "/api/v1/fixed-days/", {"joint": weld_joint.pk, "due_on": date(2026, 7, 1), "why": "insurer's letter 7"}
    )
    assert made.status_code == 201


def test_a_policy_through_the_api_keeps_what_is_left_out(api, site):
    made = api("engineer").post("/api/v1/policies/", {"site": site.pk, "looks_single": 4, "reason": "lessons learnt"})
    assert made.status_code == 201
    assert (made.json()["looks_single"], made.json()["looks_other"]) == (4, 2)


def test_nobody_signed_out_sees_anything():
    assert APIClient().get("/api/v1/due-dates/").status_code == 401
