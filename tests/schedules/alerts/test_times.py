"""Quiet hours and the digest on the wall clock, over midnight and over changes of the clock.

The changes of the clock are those of the IANA time zone database: Europe/London goes forward at 01:00 UTC on 29 March
2026 and back at 01:00 UTC on 25 October 2026.
"""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.alerts.times import Times, after_quiet, is_quiet, next_allowed, within_quiet

LONDON = ZoneInfo("Europe/London")
NIGHT = Times(zone=LONDON, quiet_from=time(22), quiet_until=time(7))


def utc(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("at", "allowed"),
    [
        ("2026-06-15T20:59", "2026-06-15T20:59"),  # 21:59 on the pier
        ("2026-06-15T21:00", "2026-06-16T06:00"),  # quiet begins
        ("2026-06-16T00:30", "2026-06-16T06:00"),  # over midnight
        ("2026-06-16T05:59:59", "2026-06-16T06:00"),
        ("2026-06-16T06:00", "2026-06-16T06:00"),  # its end is no longer quiet
        ("2026-01-15T23:00", "2026-01-16T07:00"),  # in winter
        ("2026-03-28T23:00", "2026-03-29T06:00"),  # the night in which the clock goes forward is an hour shorter
        ("2026-10-24T22:30", "2026-10-25T07:00"),  # and the one in which it goes back an hour longer
    ],
)
def test_quiet_hours_end_by_the_person_s_own_clock(at, allowed):
    assert after_quiet(utc(at), NIGHT) == utc(allowed)


def test_quiet_hours_that_end_in_an_hour_lived_twice_are_quiet_both_times():
    times = Times(zone=LONDON, quiet_from=time(23), quiet_until=time(1, 30))
    assert after_quiet(utc("2026-10-25T00:10"), times) == utc("2026-10-25T00:30")  # 01:10, the first time
    assert after_quiet(utc("2026-10-25T01:10"), times) == utc("2026-10-25T01:30")  # 01:10, the second


def test_quiet_hours_that_end_in_a_skipped_hour_end_at_most_an_hour_late():
    times = Times(zone=LONDON, quiet_from=time(23), quiet_until=time(1, 30))
    assert utc("2026-03-29T01:00") <= after_quiet(utc("2026-03-29T00:30"), times) <= utc("2026-03-29T02:00")


def test_a_digest_comes_at_its_hour_every_day_of_the_year():
    times = Times(zone=LONDON, digest_hour=7)
    at, seen = utc("2026-01-01T00:00"), []
    while at < utc("2027-01-01T00:00"):  # the last one found is that of 1 January
        at = next_allowed(at, times)
        seen.append(at.astimezone(LONDON))
        at += timedelta(seconds=1)
    assert {(one.hour, one.minute) for one in seen} == {(7, 0)}
    assert len({one.date() for one in seen}) == len(seen) == 366


def test_a_digest_at_an_hour_that_is_skipped_or_lived_twice_comes_once_that_day():
    times = Times(zone=LONDON, digest_hour=1)
    for day in ("2026-03-29", "2026-10-25"):
        first = next_allowed(utc(f"{day}T00:00"), times)
        assert (
            next_allowed(first + timedelta(seconds=1), times).astimezone(LONDON).date()
            > first.astimezone(LONDON).date()
        )


def test_who_wishes_nothing_is_told_at_once():
    at = utc("2026-06-15T02:00")
    assert next_allowed(at, Times(zone=LONDON)) == at


ZONES = st.sampled_from(["Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "Pacific/Apia"])
MINUTES = st.integers(0, 366 * 24 * 60)
MOMENTS = MINUTES.map(lambda minutes: datetime(2026, 1, 1, 0, 0, 30, tzinfo=UTC) + timedelta(minutes=minutes))
CLOCKS = st.times().map(lambda clock: clock.replace(second=0, microsecond=0))
LONGEST = timedelta(hours=26)  # a day, and a clock that is set back


@given(at=MOMENTS, zone=ZONES, begins=CLOCKS, ends=CLOCKS)
def test_what_is_sent_is_never_sent_in_quiet_hours_nor_early_nor_a_day_late(at, zone, begins, ends):
    times = Times(zone=ZoneInfo(zone), quiet_from=begins, quiet_until=ends)
    allowed = after_quiet(at, times)
    assert at <= allowed <= at + LONGEST
    assert not is_quiet(allowed, times)
    if not is_quiet(at, times):
        assert allowed == at
    else:  # no moment before was free, but for an end that the clock skipped
        free = [at + timedelta(minutes=k) for k in range(int((allowed - at).total_seconds() // 60))]
        free = [moment for moment in free if not is_quiet(moment, times)]
        assert not free or allowed - free[0] <= timedelta(hours=1)


@given(at=MOMENTS, zone=ZONES, begins=CLOCKS, ends=CLOCKS, hour=st.integers(0, 23))
def test_a_digest_waits_at_most_a_day_and_then_only_for_the_quiet_hours(at, zone, begins, ends, hour):
    times = Times(zone=ZoneInfo(zone), quiet_from=begins, quiet_until=ends, digest_hour=hour)
    allowed = next_allowed(at, times)
    assert at <= allowed <= at + 2 * LONGEST
    assert not is_quiet(allowed, times)
    if not within_quiet(hour, begins, ends):
        assert allowed <= at + LONGEST
