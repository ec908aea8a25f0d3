"""Readings from a file: local times, row-by-row errors, all or nothing."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from assets_app.models import RecordEntry
from assets_app.refusals import NotAllowed, Unprocessable
from schedules.duty.clock import on_site_clock, parse_time
from schedules.duty.reading_file import post_readings_file
from schedules.models import Reading

LONDON = ZoneInfo("Europe/London")


@pytest.fixture
def send(site, person, now, counter):
    technician = person("technician", site)

    def run(text, *, dry_run=False, actor=technician, encoding="utf-8"):
        return post_readings_file(
            site=site, file=io.BytesIO(text.encode(encoding)), actor=actor, now=now, dry_run=dry_run
        )

    return run


GOOD = "asset,counter,read_at,value\nR-01,cycles,2026-06-01 09:00,1000\nR-01,,2026-06-08T09:00:00,2000.5\n"


@pytest.mark.django_db
def test_a_file_is_posted_on_the_sites_clock_and_recorded_once(send):
    report = send(GOOD)
    assert (report.posted, report.errors) == (2, [])
    assert Reading.objects.order_by("read_at").first().read_at == datetime(2026, 6, 1, 8, 0, tzinfo=UTC)
    entry = json.loads(RecordEntry.objects.get().content)
    assert (entry["rows"], entry["posted"]) == (2, 2)
    again = send(GOOD)
    assert (again.posted, again.already_there) == (0, 2)
    assert RecordEntry.objects.count() == 1


@pytest.mark.django_db
def test_a_dry_run_writes_nothing_and_says_what_would_happen(send):
    assert send(GOOD, dry_run=True).posted == 2
    assert not Reading.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_other_delimiters_and_a_byte_order_mark_are_read(send, delimiter):
    assert send(GOOD.replace(",", delimiter), encoding="utf-8-sig").posted == 2


@pytest.mark.django_db
def test_every_wrong_row_is_named_and_nothing_is_written(send):
    text = GOOD + "\n".join(
        [
            "R-99,cycles,2026-06-09 09:00,1",
            "R-01,hours,2026-06-09 09:00,1",
            "R-01,cycles,9/6/26,1",
            "R-01,cycles,2026-06-09,1",
            'R-01,cycles,2026-06-09 09:00,"2,100"',
            "R-01,cycles,2026-06-10 09:00,900",
            "R-01,cycles,2026-07-10 09:00,9000",
        ]
    )
    expected = [
        (4, "asset_unknown"),
        (5, "counter_unknown"),
        (6, "time_unreadable"),
        (7, "time_missing"),
        (8, "reading_not_a_count"),
        (9, "reading_runs_backwards"),
        (10, "reading_in_future"),
    ]
    assert [(row["row"], row["code"]) for row in send(text, dry_run=True).errors] == expected
    with pytest.raises(Unprocessable) as refused:
        send(text)
    assert refused.value.code == "rows_refused"
    assert [(row["row"], row["code"]) for row in refused.value.data["rows"]] == expected
    assert not Reading.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "columns_missing"),
        ("asset,read_at,value\nR-01,2026-06-01 09:00,1\n", "columns_missing"),
        ("asset,counter,read_at,value\n", "file_empty"),
        ('asset,counter,read_at,value\nR-01,"cycles,2026', "file_unreadable"),
    ],
)
def test_a_file_that_is_none_is_refused(send, text, code):
    with pytest.raises(Unprocessable) as refused:
        send(text)
    assert refused.value.code == code


@pytest.mark.django_db
def test_another_encoding_is_refused_rather_than_guessed(send):
    with pytest.raises(Unprocessable) as refused:
        send(GOOD.replace("cycles", "zyklen-ä"), encoding="latin-1")
    assert refused.value.code == "file_unreadable"


@pytest.mark.django_db
def test_an_auditor_sends_no_file(send, person, site):
    with pytest.raises(NotAllowed):
        send(GOOD, actor=person("auditor", site))


@pytest.mark.django_db
def test_a_time_that_came_twice_is_taken_as_the_first_and_said(send):
    report = send("asset,counter,read_at,value\nR-01,cycles,2025-10-26 01:30,1000\n")
    assert Reading.objects.get().read_at == datetime(2025, 10, 26, 0, 30, tzinfo=UTC)
    assert report.notes[0]["row"] == 2
    assert "came twice" in report.notes[0]["message"]
    assert "2025-10-26T01:30+00:00" in report.notes[0]["message"]


def test_the_second_of_two_equal_times_is_written_with_its_offset():
    told = parse_time("2025-10-26T01:30+00:00", LONDON)
    assert (told.at, told.note) == (datetime(2025, 10, 26, 1, 30, tzinfo=UTC), "")


def test_a_time_that_never_was_is_refused():
    with pytest.raises(Unprocessable) as refused:
        on_site_clock(datetime(2026, 3, 29, 1, 30), LONDON)  # noqa: DTZ001
    assert refused.value.code == "time_skipped"


def test_a_plain_time_is_taken_on_the_sites_clock():
    told = parse_time(" 2026-06-15 09:30 ", LONDON)
    assert (told.at.astimezone(UTC), told.note) == (datetime(2026, 6, 15, 8, 30, tzinfo=UTC), "")
