"""The pages of a counter: what they show, take and refuse."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from schedules.duty import actions
from schedules.models import Reading, Season

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician(person, site, client):
    who = person("technician", site)
    client.force_login(who)
    return who


@pytest.fixture
def read_counter(counter, technician):
    now = timezone.now()
    entries = [actions.Entry(k, counter.pk, 700.0 * k, now - timedelta(weeks=60 - k)) for k in range(60)]
    actions.post_readings(entries=entries, actor=technician, now=now, source="api")
    return counter


def page(client, counter, **more):
    return client.get(f"/counters/{counter.pk}/", **more)


def local(at: datetime) -> str:
    from zoneinfo import ZoneInfo

    return f"{at.astimezone(ZoneInfo('Europe/London')):%Y-%m-%dT%H:%M}"


def test_a_counter_never_read_says_that_limits_are_unrated(client, counter, technician):
    text = page(client, counter).content.decode()
    assert "No reading yet" in text
    assert "unrated" in text


def test_a_counter_shows_its_line_in_words_too_and_how_forecasts_did(client, read_counter, site):
    Season.objects.create(site=site, name="summer", opens_month=4, opens_day=1, closes_month=10, closes_day=31)
    response = page(client, read_counter)
    text = response.content.decode()
    assert response.status_code == 200
    assert "<svg" in text
    assert "Last read" in text
    assert "on the early side" in text
    assert "summer: 1 Apr to 31 Oct" in text
    assert "Median miss" in text
    assert "Closed 1 November" in text


def test_a_reading_typed_on_the_page_is_stored_on_the_sites_clock(client, counter, technician):
    response = client.post(f"/counters/{counter.pk}/", {"value": "1200", "read_at": "2026-01-15T09:30", "note": "wet"})
    assert response.status_code == 302
    reading = Reading.objects.get()
    assert (reading.value, reading.note, reading.source) == (1200, "wet", "page")
    assert reading.read_at == datetime(2026, 1, 15, 9, 30, tzinfo=UTC)
    assert b"stored" in client.get(response.url).content


def test_summer_time_is_the_sites_not_the_servers(client, counter, technician):
    client.post(f"/counters/{counter.pk}/", {"value": "1200", "read_at": "2026-06-15T09:30"})
    assert Reading.objects.get().read_at == datetime(2026, 6, 15, 8, 30, tzinfo=UTC)


def test_a_wrong_reading_keeps_what_was_typed_and_says_beside_the_field_why(client, read_counter):
    response = client.post(f"/counters/{read_counter.pk}/", {"value": "12", "read_at": local(timezone.now())})
    text = response.content.decode()
    assert response.status_code == 422
    assert 'value="12"' in text
    assert "field-error" in text
    assert "is less than the 41\u202f300" in text
    assert 'type="checkbox"' not in text  # this meter does not roll over: nothing to confirm


def test_an_unlikely_jump_can_be_confirmed_on_the_page(client, read_counter):
    given = {"value": "900000", "read_at": local(timezone.now())}
    response = client.post(f"/counters/{read_counter.pk}/", given)
    assert response.status_code == 422
    assert b'type="checkbox" name="confirmed"' in response.content
    assert client.post(f"/counters/{read_counter.pk}/", given | {"confirmed": "on"}).status_code == 302


@pytest.mark.parametrize("given", [{"value": "", "read_at": "2026-01-15T09:30"}, {"value": "9", "read_at": "noon"}])
def test_an_unfilled_or_unreadable_field_is_named(client, counter, technician, given):
    response = client.post(f"/counters/{counter.pk}/", given)
    assert response.status_code == 422
    assert b"field-error" in response.content
    assert not Reading.objects.exists()


def test_a_meter_exchange_is_stored(client, read_counter):
    given = {"exchange-closing_value": "41500", "exchange-opening_value": "3"}
    response = client.post(
        f"/counters/{read_counter.pk}/exchange/",
        given | {"exchange-read_at": local(timezone.now() - timedelta(hours=1))},
    )
    assert response.status_code == 302
    assert Reading.objects.get(kind="exchange").total == 41_500
    wrong = client.post(
        f"/counters/{read_counter.pk}/exchange/",
        given | {"exchange-read_at": local(timezone.now() + timedelta(days=1))},
    )
    assert wrong.status_code == 422
    assert b"from the future" in wrong.content


def test_a_planner_withdraws_a_reading_and_a_technician_may_not(client, read_counter, person, site):
    reading = Reading.objects.order_by("-read_at").first()
    address = f"/readings/{reading.pk}/withdraw/"
    assert client.post(address, {"reason": "wrong ride"}).status_code == 403
    client.force_login(person("planner", site))
    assert client.get(address).status_code == 200
    assert client.post(address, {"reason": ""}).status_code == 422
    assert client.post(address, {"reason": "wrong ride"}).status_code == 302
    assert not Reading.objects.filter(pk=reading.pk).exists()


def test_an_auditor_sees_the_counter_without_the_form(client, read_counter, person, site):
    client.force_login(person("auditor", site))
    assert b"Store the reading" not in page(client, read_counter).content
    response = client.post(f"/counters/{read_counter.pk}/", {"value": "50000", "read_at": local(timezone.now())})
    assert response.status_code == 403


def test_a_counter_elsewhere_is_not_there_and_a_stranger_signs_in_first(client, counter, person, other_site):
    assert page(client, counter).status_code == 302
    client.force_login(person("planner", other_site))
    assert page(client, counter).status_code == 404


def test_a_file_is_checked_then_stored_then_refused_row_by_row(client, counter, technician, site):
    def send(rows, **more):
        file = SimpleUploadedFile("r.csv", ("asset,counter,read_at,value\n" + rows).encode())
        return client.post("/readings/import/", {"site": site.pk, "file": file, **more})

    assert client.get("/readings/import/").status_code == 200
    good = "R-01,cycles,2026-01-01 09:00,1000\n"
    assert b"1 reading would be stored" in send(good, dry_run="on").content
    assert not Reading.objects.exists()
    assert b"1 reading stored" in send(good).content
    response = send("R-01,cycles,2026-01-02 09:00,10\nR-77,,2026-01-02 09:00,10\n")
    assert response.status_code == 422
    assert "is less than the 1\u202f000" in response.content.decode()
    assert b"no asset" in response.content
    assert Reading.objects.count() == 1


def test_who_may_not_post_is_told_who_could_and_sees_no_form(client, person, site, counter):
    client.force_login(person("auditor", site))
    page = client.get("/readings/import/").content.decode()
    assert "Planner, technician, inspector or engineer could." in page
    assert 'type="file"' not in page
