"""The forecast: what a middle and an early curve must hold to, and how past forecasts did."""

from __future__ import annotations

import json
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engineering.errors import InputError
from schedules.duty import rules
from schedules.duty.open_days import Span, day_table, open_mask

SUMMER = [Span(4, 1, 10, 31)]
WEEKENDS = [Span(1, 1, 12, 31, "0000011")]
WEEKDAY = np.array([0.7, 0.7, 0.8, 0.9, 1.1, 1.5, 1.3])
MONTH = np.array([0.6, 0.6, 0.7, 0.9, 1.0, 1.1, 1.5, 1.6, 1.0, 0.9, 0.6, 0.7])
START = date(2021, 6, 15)


def made_history(seed: int, seasons, *, every: int = 7, years: float = 5, drift: float = 0.0):
    """Readings of a counter with a known pattern: 120 a day by weekday, month and weather, with levels per year."""
    chance = np.random.default_rng(seed)
    first, count = START.toordinal(), int(365 * years)
    table = day_table(first, count)
    level = np.exp(np.repeat(chance.normal(0, drift, int(years) + 1), 365)[:count]) if drift else 1.0
    mean = 120 * WEEKDAY[table.weekday] * MONTH[table.month] * open_mask(seasons, first, count) * level
    daily = chance.poisson(mean * chance.lognormal(0, 0.25, count))
    total = np.concatenate([[0], np.cumsum(daily)])
    return [(float(first + k), float(total[k])) for k in range(0, count + 1, every)]


def fitted(history, seasons=(), **more):
    parameters, _ = rules.fit(history, seasons, **more)
    return parameters


def curve_from_last(parameters, history, days=400, silent_days=0):
    as_of = date.fromordinal(int(history[-1][0]))
    return rules.curve(parameters, as_of=as_of, today=as_of + timedelta(silent_days), days=days)


@st.composite
def histories(draw):
    gaps = draw(st.lists(st.floats(0.1, 90), min_size=2, max_size=25))
    counts = draw(st.lists(st.integers(0, 5000), min_size=len(gaps), max_size=len(gaps)))
    moments = START.toordinal() + np.concatenate([[0.0], np.cumsum(gaps)])
    totals = np.concatenate([[0], np.cumsum(counts)])
    return list(zip(moments.tolist(), totals.astype(float).tolist(), strict=True))


any_seasons = st.sampled_from([[], SUMMER, WEEKENDS, [Span(11, 15, 3, 10)], [Span(3, 1, 11, 15, "0000111"), *SUMMER]])


@settings(deadline=None)
@given(history=histories(), seasons=any_seasons, silent=st.sampled_from([0, 60]))
def test_curves_never_fall_the_early_one_leads_and_closed_days_add_nothing(history, seasons, silent):
    parameters = fitted(history, seasons)
    if not rules.can_forecast(parameters):
        return
    middle, early = curve_from_last(parameters, history, 800, silent)
    assert middle[0] == early[0] == 0
    assert len(middle) == len(early) == 801
    assert np.all(np.diff(middle) >= 0)
    assert np.all(np.diff(early) >= 0)
    assert np.all(early >= middle - 1e-9 * middle[-1])
    closed = ~open_mask(seasons, int(history[-1][0]) + 1, 800)
    closed[0] = False  # its step also holds the rest of the day of the reading
    assert np.all(np.diff(middle)[closed] <= 1e-9 * middle[-1])
    assert np.all(np.diff(early)[closed] <= 1e-9 * early[-1])


@settings(deadline=None)
@given(history=histories(), seasons=any_seasons, factor=st.floats(1.0, 20.0))
def test_a_counter_that_counts_more_throughout_never_reaches_a_count_later(history, seasons, factor):
    less = fitted(history, seasons)
    if not rules.can_forecast(less):
        return
    more_history = [(moment, total * factor) for moment, total in history]
    less_early = curve_from_last(less, history)[1] + history[-1][1]
    more_early = curve_from_last(fitted(more_history, seasons), more_history)[1] + more_history[-1][1]
    assert np.all(more_early >= less_early * (1 - 1e-3))  # factors are stored to 4 decimals


@settings(deadline=None)
@given(history=histories(), seasons=any_seasons, extra=st.integers(1, 5000))
def test_more_counted_at_the_last_reading_never_slows_the_year_ahead(history, seasons, extra):
    """Over a whole year. Within it, an extra count may move what is thought to be the busy month."""
    less = fitted(history, seasons)
    if not rules.can_forecast(less):
        return
    busier = [*history[:-1], (history[-1][0], history[-1][1] + extra)]
    less_early = curve_from_last(less, history, 365)[1][-1] + history[-1][1]
    more_early = curve_from_last(fitted(busier, seasons), busier, 365)[1][-1] + busier[-1][1]
    assert more_early >= less_early * (1 - 1e-3)


def test_a_steady_counter_is_forecast_at_its_pace():
    history = [(START.toordinal() + 7.0 * k, 700.0 * k) for k in range(120)]
    middle, early = curve_from_last(fitted(history), history, 100)
    # read at midnight, so that the day of the last reading is still to come
    assert middle[1:] == pytest.approx(100 * np.arange(2, 102), rel=0.005)
    assert early[100] > middle[100]


def test_daily_readings_tell_the_weekdays_apart_and_weekly_ones_leave_them_alone():
    daily, weekly = fitted(made_history(1, [], every=1)), fitted(made_history(1, [], every=7))
    assert np.array(daily["weekday"]) / np.mean(daily["weekday"]) == pytest.approx(WEEKDAY, rel=0.12)
    assert np.ptp(weekly["weekday"]) < 0.02


def test_months_are_told_apart_from_weekly_readings():
    months = np.array(fitted(made_history(2, []))["month"])
    assert months / months.mean() == pytest.approx(MONTH / MONTH.mean(), rel=0.2)


def test_a_month_never_seen_keeps_the_mean():
    assert np.array(fitted(made_history(3, SUMMER), SUMMER)["month"])[[0, 1, 11]] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("seasons", "error_pct"),
    # fewer open days, more chance: 8 weekend days a month of 25 % weather
    [([], 12), (SUMMER, 12), (WEEKENDS, 18)],
    ids=["every day", "summer", "weekends"],
)
def test_nine_in_ten_past_forecasts_stay_below_the_early_curve(seasons, error_pct):
    results = [rules.back_test(made_history(seed, seasons), seasons) for seed in range(8)]
    for place, horizon in enumerate((30, 90, 180)):
        rows = [result["horizons"][place] for result in results]
        assert rows[0]["days"] == horizon
        assert np.average([r["below_early_pct"] for r in rows], weights=[r["forecasts"] for r in rows]) >= 90
        assert np.mean([row["median_error_pct"] for row in rows]) < error_pct


def test_where_the_level_changes_from_year_to_year_the_margin_grows():
    calm = np.mean([fitted(made_history(seed, []))["spread"] for seed in range(4)])
    restless = np.mean([fitted(made_history(seed, [], drift=0.2))["spread"] for seed in range(4)])
    assert restless > 1.5 * calm


def test_the_back_test_knows_nothing_of_the_future():
    """Changing what came after an origin's targets changes no figure that was judged by then."""
    history = made_history(4, [], years=3)
    cut = len(history) // 2
    then = rules._intervals(history[:cut], [])
    later = rules._intervals([*history[:cut], *[(m, t * 3) for m, t in history[cut:]]], [])
    for origin in (10, 30, cut - 2):
        assert rules._rates(then, origin).by_class() == pytest.approx(rules._rates(later, origin).by_class())


def test_a_silent_counter_runs_at_its_busiest_rate():
    history = made_history(5, [])
    parameters = fitted(history, read_every_days=14)
    as_of = date.fromordinal(int(history[-1][0]))
    assert not rules.is_silent(parameters, as_of=as_of, today=as_of + timedelta(14))
    assert rules.is_silent(parameters, as_of=as_of, today=as_of + timedelta(15))
    _, early = curve_from_last(parameters, history, 400, 14)
    silent_middle, silent_early = curve_from_last(parameters, history, 400, 15)
    assert np.all(silent_early >= early)
    assert np.array_equal(silent_middle, silent_early)
    assert np.all(silent_middle[1:] >= parameters["busiest"] * np.arange(1, 401))


def test_the_busiest_rate_is_the_highest_four_weeks():
    base = START.toordinal()
    counts = [100] * 30 + [250] * 28 + [100] * 200
    history = [(float(base + k), float(total)) for k, total in enumerate(np.concatenate([[0], np.cumsum(counts)]))]
    assert fitted(history)["busiest"] == pytest.approx(250, rel=0.001)


def test_a_closed_ride_needs_no_reading_until_it_opens():
    history = [(float(date(2026, 4, 1).toordinal() + 7 * k), 500.0 * k) for k in range(31)]  # to 28 October
    parameters = fitted(history, SUMMER)
    as_of = date(2026, 11, 1)
    assert not rules.is_silent(parameters, as_of=as_of, today=date(2027, 3, 31))
    assert rules.is_silent(parameters, as_of=as_of, today=date(2027, 4, 15))


def test_counts_in_the_closed_season_are_not_lost():
    base = date(2026, 9, 1).toordinal()
    quiet = [(float(base + 10 * k), 1000.0 * k) for k in range(6)]  # to 21 October
    winter = [(float(date(2026, 12, 1).toordinal()), 5200.0), (float(date(2027, 2, 1).toordinal()), 5400.0)]
    spring = [(float(date(2027, 4, 21).toordinal()), 7400.0)]
    with_winter = fitted([*quiet, *winter, *spring], SUMMER)
    without = fitted([*quiet, (winter[1][0], 5000.0), (spring[0][0], 7000.0)], SUMMER)
    assert with_winter["rate"] > without["rate"]


def test_without_a_reading_nothing_is_forecast_and_it_says_so():
    parameters, basis = rules.fit([], SUMMER, commissioned=700_000.0)
    assert parameters == {}
    assert not rules.can_forecast(parameters)
    assert basis.startswith("No reading yet")
    with pytest.raises(InputError) as refused:
        rules.curve(parameters, as_of=date(2026, 1, 1), today=date(2026, 1, 1), days=10)
    assert refused.value.code == "no_reading"


def test_one_reading_counts_from_commissioning_and_says_it_is_a_guess():
    day = float(START.toordinal())
    parameters, basis = rules.fit([(day + 100, 5000.0)], [], commissioned=day)
    assert parameters["rate"] == pytest.approx(50, rel=0.01)
    assert parameters["spread"] >= rules.SPREAD_UNKNOWN
    assert "day of commissioning" in basis
    assert "Fewer than 3 readings" in basis
    assert rules.fit([(day + 100, 5000.0)], [])[0] == {}


def test_a_counter_that_never_moved_has_no_rate_rather_than_a_rate_of_nothing():
    day = float(START.toordinal())
    parameters, basis = rules.fit([(day, 10.0), (day + 30, 10.0), (day + 60, 10.0)], [])
    assert not rules.can_forecast(parameters)
    assert "not moved" in basis


def test_the_rest_of_the_day_of_the_reading_is_counted_in_full_on_the_early_side():
    day = START.toordinal()
    history = [(day + 7.0 * k + 0.5, 700.0 * k) for k in range(60)]
    middle, early = curve_from_last(fitted(history), history, 5)
    assert middle[1] == pytest.approx(150, rel=0.01)
    assert early[1] > 200


@pytest.mark.parametrize("bad", [[(10.0, 5.0), (10.0, 6.0)], [(10.0, 5.0), (11.0, 4.0)]])
def test_a_history_out_of_order_or_falling_is_refused(bad):
    with pytest.raises(InputError):
        rules.fit(bad, [])


def test_parameters_are_small_json_and_curves_come_back_the_same_from_it():
    history = made_history(6, SUMMER)
    parameters = fitted(history, SUMMER)
    text = json.dumps(parameters)
    assert len(text) < 600
    for mine, stored in zip(
        curve_from_last(parameters, history), curve_from_last(json.loads(text), history), strict=True
    ):
        assert np.array_equal(mine, stored)
