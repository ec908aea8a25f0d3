"""The API of duty: shapes, refusals as problem+json, one answer a key, only one's own sites."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from rest_framework.test import APIClient

from schedules.models import Counter, Reading, Season, StaleMark, StressSpectrum

pytestmark = pytest.mark.django_db


@pytest.fixture
def api(person, site):
    def signed_in(role, at=site):
        client = APIClient()
        client.force_authenticate(person(role, at))
        return client

    return signed_in


def ago(**span) -> str:
    return (timezone.now() - timedelta(**span)).isoformat()


def test_a_reading_is_posted_once_a_key(api, counter, asset):
    client = api("technician")
    body = {"counter": counter.pk, "value": 1200, "read_at": ago(hours=1)}
    first = client.post("/api/v1/readings/", body, headers={"Idempotency-Key": "k1"})
    again = client.post("/api/v1/readings/", body, headers={"Idempotency-Key": "k1"})
    assert first.status_code == again.status_code == 201
    assert first.json() == again.json()
    assert (first.json()["total"], first.json()["source"]) == (1200, "api")
    assert Reading.objects.count() == 1
    assert StaleMark.objects.get().asset_id == asset.pk
    other = client.post("/api/v1/readings/", body | {"value": 1300}, headers={"Idempotency-Key": "k1"})
    assert (other.status_code, other.json()["code"]) == (422, "key_reused")


def test_a_backward_reading_is_a_problem_that_names_value_and_day(api, counter):
    client = api("technician")
    client.post("/api/v1/readings/", {"counter": counter.pk, "value": 1200, "read_at": ago(days=2)})
    response = client.post("/api/v1/readings/", {"counter": counter.pk, "value": 1100, "read_at": ago(days=1)})
    body = response.json()
    assert response.status_code == 422
    assert response["Content-Type"] == "application/problem+json"
    assert (body["code"], body["field"], body["previous_value"]) == ("reading_runs_backwards", "value", 1200)


def test_a_time_without_an_offset_is_refused(api, counter):
    response = api("technician").post(
        "/api/v1/readings/", {"counter": counter.pk, "value": 1, "read_at": "2026-01-01T09:00:00"}
    )
    assert response.status_code == 422
    assert response.json()["errors"][0]["field"] == "read_at"
    assert "offset" in response.json()["errors"][0]["message"]


def test_a_thousand_readings_go_at_once_and_no_more(api, counter):
    client = api("technician")
    readings = [{"counter": counter.pk, "value": k, "read_at": ago(hours=1001 - k)} for k in range(1001)]
    assert client.post("/api/v1/readings/bulk/", {"readings": readings}).status_code == 422
    response = client.post("/api/v1/readings/bulk/", {"readings": readings[:1000]})
    assert response.status_code == 200
    assert response.json()["posted"] == 1000
    assert Reading.objects.count() == 1000


def test_one_wrong_row_of_many_writes_none_and_is_named(api, counter):
    readings = [
        {"counter": counter.pk, "value": 10, "read_at": ago(hours=3)},
        {"counter": counter.pk, "value": 5, "read_at": ago(hours=2)},
    ]
    response = api("technician").post("/api/v1/readings/bulk/", {"readings": readings})
    assert (response.status_code, response.json()["code"]) == (422, "rows_refused")
    assert response.json()["rows"][0]["row"] == 2
    assert not Reading.objects.exists()


def test_a_file_is_posted(api, counter, site):
    file = SimpleUploadedFile("r.csv", b"asset,counter,read_at,value\nR-01,cycles,2026-01-01 09:00,1000\n")
    response = api("technician").post("/api/v1/readings/file/", {"site": site.pk, "file": file}, format="multipart")
    assert (response.status_code, response.json()["posted"]) == (200, 1)


def test_the_forecast_of_a_counter_tells_its_basis_and_totals(api, counter):
    client = api("auditor")
    empty = client.get(f"/api/v1/counters/{counter.pk}/forecast/").json()
    assert (empty["can_forecast"], empty["totals"]) == (False, [])
    poster = api("technician")
    for week in range(8, 0, -1):
        poster.post("/api/v1/readings/", {"counter": counter.pk, "value": 700 * (9 - week), "read_at": ago(weeks=week)})
    told = client.get(f"/api/v1/counters/{counter.pk}/forecast/?days=100").json()
    assert told["can_forecast"]
    assert told["totals"][0]["middle"] == told["total"] == 5600
    assert told["totals"][-1]["early"] > told["totals"][-1]["middle"] > 5600 + 9000
    assert "8 readings" in told["basis"]
    assert client.get(f"/api/v1/counters/{counter.pk}/forecast/?days=0").json()["code"] == "days_out_of_range"


def test_a_meter_exchange_and_a_withdrawal_by_the_api(api, counter):
    client = api("planner")
    client.post("/api/v1/readings/", {"counter": counter.pk, "value": 1200, "read_at": ago(days=3)})
    given = {"closing_value": 1300, "opening_value": 0, "at": ago(days=2)}
    exchanged = client.post(f"/api/v1/counters/{counter.pk}/exchange/", given)
    assert (exchanged.status_code, exchanged.json()["total"]) == (201, 1300)
    later = client.post("/api/v1/readings/", {"counter": counter.pk, "value": 50, "read_at": ago(days=1)})
    assert later.json()["total"] == 1350
    refused = client.post(f"/api/v1/readings/{exchanged.json()['id']}/withdraw/", {"reason": "no exchange"})
    assert (refused.status_code, refused.json()["code"]) == (409, "readings_after_exchange")
    assert client.post(f"/api/v1/readings/{later.json()['id']}/withdraw/", {"reason": "x"}).status_code == 200


def test_seasons_are_added_changed_and_removed(api, site):
    client = api("planner")
    summer = {"name": "summer", "opens_month": 4, "opens_day": 1, "closes_month": 10, "closes_day": 31}
    made = client.post("/api/v1/seasons/", summer | {"site": site.pk})
    assert (made.status_code, made.json()["weekdays"]) == (201, "1111111")
    address = f"/api/v1/seasons/{made.json()['id']}/"
    assert client.put(address, summer | {"opens_month": 3}).json()["opens_month"] == 3
    wrong = client.put(address, summer | {"closes_month": 9, "closes_day": 31})
    assert (wrong.status_code, wrong.json()["field"]) == (422, "closes_day")
    assert client.delete(address).status_code == 204
    assert not Season.objects.exists()


def test_an_engineer_states_a_spectrum_and_others_may_not(api, weld_joint):
    body = {
        "joint": weld_joint.pk,
        "bins": [[80, 1], [40, 3]],
        "status": "measured",
        "source": "strain gauges, report 7",
        "valid_from": "2026-01-01",
    }
    assert api("planner").post("/api/v1/spectra/", body).status_code == 403
    client = api("engineer")
    wrong = client.post("/api/v1/spectra/", body | {"bins": [[80, 0]]})
    assert (wrong.status_code, wrong.json()["code"]) == (422, "bin_not_positive")
    assert client.post("/api/v1/spectra/", body).status_code == 201
    assert StressSpectrum.objects.get().bins == [[80.0, 1.0], [40.0, 3.0]]


def test_a_counter_is_added_and_its_silence_changed(api, asset):
    client = api("engineer")
    made = client.post("/api/v1/counters/", {"asset": asset.pk, "name": "lifts", "unit": "lifts"})
    assert made.status_code == 201
    changed = client.put(f"/api/v1/counters/{made.json()['id']}/", {"rolls_over_at": 100000, "expected_every_days": 7})
    assert (changed.status_code, changed.json()["expected_every_days"]) == (200, 7)
    assert Counter.objects.get().rolls_over_at == 100_000


def test_other_sites_show_nothing(api, counter, site, other_site):
    Season.objects.create(site=site, name="summer", opens_month=4, opens_day=1, closes_month=10, closes_day=31)
    client = api("planner", other_site)
    for address in ("counters", "readings", "seasons", "spectra"):
        assert client.get(f"/api/v1/{address}/").json()["results"] == []
    assert client.get(f"/api/v1/counters/{counter.pk}/forecast/").status_code == 404
    posted = client.post("/api/v1/readings/", {"counter": counter.pk, "value": 1, "read_at": ago(hours=1)})
    assert posted.status_code == 404


def test_a_stranger_gets_nothing(counter):
    assert APIClient().get("/api/v1/counters/").status_code == 401
