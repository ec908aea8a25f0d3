"""Limits into days, on plain numbers: properties and calendar arithmetic checked against python-dateutil."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from schedules.due.rules import LIMITS, NO_DAY, CounterCurve, Owed, add_months, due_dates

START = date(2020, 1, 1).toordinal()


def owed(n: int = 1, **columns) -> Owed:
    none, unknown = np.full(n, NO_DAY, dtype=np.int32), np.full(n, np.nan)
    base = {
        "commissioned": np.full(n, START, dtype=np.int32), "installed": none, "last_look": none,
        "last_look_total": unknown,
        "calendar_months": np.zeros(n, dtype=np.int32), "duty_count": unknown, "damage_per_count": unknown,
        "damage_share": np.full(n, 0.3), "damage_applies": np.ones(n, dtype=bool), "damage_excused_until": none,
        "window_count": unknown, "looks": np.full(n, 3, dtype=np.int32), "rating_missing": np.zeros(n, dtype=bool),
        "needs_counter": np.ones(n, dtype=bool), "counter": np.zeros(n, dtype=np.int32), "finding": none, "sweep": none,
        "sweep_total": unknown, "load_change": none, "load_change_total": unknown, "after_work": none,
        "after_work_total": unknown, "fixed": none, "fixed_total": unknown, "measured_growth_total": unknown,
        "impossible": np.zeros(n, dtype=bool), "today": START,
    }  # fmt: skip
    return Owed(**base | {name: np.asarray(value) for name, value in columns.items()})


def curve(rate: float, *, ahead: float = 1.2, days: int = 20_000) -> CounterCurve:
    count = np.arange(days) * rate
    return CounterCurve(first_day=START, read_to=START + days - 1, middle=count, early=count * ahead)


@given(st.lists(st.tuples(st.dates(date(1950, 1, 1), date(2150, 1, 1)), st.integers(1, 600)), min_size=1, max_size=40))
def test_calendar_months_agree_with_dateutil(rows):
    days = np.array([day.toordinal() for day, _ in rows], dtype=np.int32)
    months = np.array([count for _, count in rows], dtype=np.int32)
    expected = [(day + relativedelta(months=count)).toordinal() for day, count in rows]
    assert add_months(days, months).tolist() == expected


def test_the_last_day_of_a_month_stays_in_its_month():
    day = np.array([date(2023, 1, 31).toordinal()], dtype=np.int32)
    assert date.fromordinal(int(add_months(day, np.array([1]))[0])) == date(2023, 2, 28)


def test_a_routine_interval_of_24_months_as_for_road_bridges():
    """US 23 CFR 650.311: routine inspection at intervals not to exceed 24 months (clause from memory)."""
    due = due_dates(owed(last_look=[date(2016, 7, 1).toordinal()], calendar_months=[24], counter=[-1]), [])
    assert date.fromordinal(int(due.due[0])) == date(2018, 7, 1)


positive = st.floats(1e-3, 1e3)


@given(rate=positive, faster=st.floats(1.0, 10.0), window=st.floats(1.0, 1e5), life=st.floats(1e2, 1e6))
def test_more_duty_is_never_later(rate, faster, window, life):
    rows = owed(window_count=[window], damage_per_count=[1.0 / life], duty_count=[window])
    slow, fast = due_dates(rows, [curve(rate)]), due_dates(rows, [curve(rate * faster)])
    for limit in LIMITS:
        assert fast.on[limit][0] <= slow.on[limit][0]


@given(window=st.floats(1.0, 1e5), shrink=st.floats(0.01, 1.0), looks=st.integers(1, 5))
def test_a_shorter_window_or_more_looks_is_never_later(window, shrink, looks):
    wide = due_dates(owed(window_count=[window], looks=[looks]), [curve(3.0)])
    narrow = due_dates(owed(window_count=[window * shrink], looks=[looks + 1]), [curve(3.0)])
    assert narrow.due[0] <= wide.due[0]


@given(rate=positive, window=st.floats(1.0, 1e5), ahead=st.floats(1.0, 3.0))
def test_the_due_date_is_never_after_the_middle_date(rate, window, ahead):
    due = due_dates(owed(window_count=[window], duty_count=[2 * window]), [curve(rate, ahead=ahead)])
    assert due.due[0] <= due.middle[0]


@given(st.permutations(range(6)))
def test_the_order_of_the_rows_does_not_matter(order):
    windows = np.array([10.0, 500.0, np.nan, 60.0, 1e9, 7.0])
    counters = np.array([0, 1, 0, -1, 1, 1], dtype=np.int32)
    straight = due_dates(owed(6, window_count=windows, counter=counters), [curve(1.0), curve(5.0)])
    mixed = due_dates(owed(6, window_count=windows[order], counter=counters[order]), [curve(1.0), curve(5.0)])
    assert mixed.due.tolist() == straight.due[list(order)].tolist()


def test_the_first_detailed_look_is_owed_at_the_share_and_then_the_used_up_life():
    unseen = due_dates(owed(damage_per_count=[1e-3]), [curve(1.0, ahead=1.0)])
    assert unseen.on["damage"][0] == START + 300
    seen = owed(damage_per_count=[1e-3], last_look=[START + 310], last_look_total=[310.0])
    assert due_dates(seen, [curve(1.0, ahead=1.0)]).on["damage"][0] == START + 1000


def test_an_assessment_lets_a_used_up_life_stand_but_never_brings_a_day_forward():
    seen = owed(damage_per_count=[1e-3], last_look=[START + 310], last_look_total=[310.0])
    later = replace(seen, damage_excused_until=np.array([START + 1400], dtype=np.int32))
    earlier = replace(seen, damage_excused_until=np.array([START + 400], dtype=np.int32))
    assert due_dates(later, [curve(1.0, ahead=1.0)]).on["damage"][0] == START + 1400
    assert due_dates(earlier, [curve(1.0, ahead=1.0)]).on["damage"][0] == START + 1000


def test_an_assessment_of_the_life_does_not_put_off_the_first_look():
    unseen = owed(damage_per_count=[1e-3], damage_excused_until=[START + 1400])
    assert due_dates(unseen, [curve(1.0, ahead=1.0)]).on["damage"][0] == START + 300


def test_a_joint_made_later_counts_from_its_own_first_day():
    with_asset = due_dates(owed(damage_per_count=[1e-3]), [curve(1.0, ahead=1.0)])
    replaced = due_dates(owed(damage_per_count=[1e-3], installed=[START + 100]), [curve(1.0, ahead=1.0)])
    assert replaced.on["damage"][0] - with_asset.on["damage"][0] == 99  # the duty of its first day is its own


def test_a_joint_made_after_the_last_reading_starts_no_higher_than_that_reading():
    read_on_day_50 = replace(curve(1.0, ahead=1.0), read_to=START + 50)
    made_later = owed(damage_per_count=[1e-3], installed=[START + 100])
    assert due_dates(made_later, [read_on_day_50]).on["damage"][0] == START + 50 + 300


def test_equal_days_are_named_by_the_graver_reason():
    day = np.array([START + 50], dtype=np.int32)
    due = due_dates(owed(finding=day, fixed=day, counter=[-1]), [])
    assert (LIMITS[due.governing[0]], LIMITS[due.next_limit[0]]) == ("finding", "fixed")


def test_a_limit_in_counts_without_a_counter_makes_the_joint_unrated_not_undue():
    due = due_dates(owed(duty_count=[100.0], counter=[-1]), [])
    assert due.unrated[0]
    assert due.due[0] == NO_DAY


@pytest.mark.parametrize("limit", ["sweep", "load_change", "after_work", "fixed"])
def test_a_look_owed_by_day_or_count_falls_due_at_the_earlier(limit):
    both = owed(**{limit: [START + 50], f"{limit}_total": [20.0]})
    assert due_dates(both, [curve(1.0, ahead=1.0)]).due[0] == START + 20


def test_a_look_after_the_last_reading_counts_from_that_reading():
    read = CounterCurve(first_day=START, read_to=START + 10, middle=np.arange(100.0), early=np.arange(100.0) * 1.5)
    looked = owed(window_count=[9.0], looks=[3], last_look=[START + 50])
    assert due_dates(looked, [read]).on["growth window"][0] == read.day_of(np.array([13.0]), early=True)[0]
