"""What the floors above read: totals on a day, latest readings, curves in bulk."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from schedules.duty import actions, queries
from schedules.models import Counter, Reading, Season

pytestmark = pytest.mark.django_db


def put(counter, day: date, total: float, hour: int = 0) -> None:
    """A reading as stored, at an hour of UTC."""
    at = datetime(day.year, day.month, day.day, hour, tzinfo=UTC)
    Reading.objects.create(
        counter=counter, read_at=at, read_on=day, value=total, total=total, source="api", posted_at=at
    )


def test_a_total_lies_between_the_readings_around_the_day(counter):
    put(counter, date(2026, 1, 1), 1000)
    put(counter, date(2026, 1, 11), 2000)
    assert queries.total_on(counter.pk, date(2026, 1, 4)) == pytest.approx(1300)


def test_a_reading_on_the_day_is_taken_as_it_stands(counter):
    put(counter, date(2026, 1, 1), 1000)
    put(counter, date(2026, 1, 11), 2000, hour=9)
    put(counter, date(2026, 1, 11), 2100, hour=17)
    assert queries.total_on(counter.pk, date(2026, 1, 11)) == 2000


def test_between_readings_a_closed_day_counts_nothing(counter, site):
    Season.objects.create(site=site, name="summer", opens_month=4, opens_day=1, closes_month=10, closes_day=31)
    put(counter, date(2026, 1, 1), 1000)
    put(counter, date(2026, 4, 11), 2000)
    assert queries.total_on(counter.pk, date(2026, 3, 31)) == 1000
    assert queries.total_on(counter.pk, date(2026, 4, 6)) == pytest.approx(1500, rel=0.01)  # an hour of summer time


def test_before_the_first_reading_the_total_runs_from_commissioning(counter, asset):
    put(counter, date(2015, 4, 11), 1000)
    assert queries.total_on(counter.pk, asset.commissioned_on) == 0
    assert queries.total_on(counter.pk, date(2015, 4, 6)) == pytest.approx(500, rel=0.01)
    assert queries.total_on(counter.pk, date(2015, 3, 31)) is None


def test_without_a_commissioning_day_nothing_is_known_before_the_first_reading(counter, asset):
    asset.commissioned_on = None
    asset.save()
    put(counter, date(2026, 1, 1), 1000)
    assert queries.total_on(counter.pk, date(2025, 12, 31)) is None


def test_after_the_last_reading_the_total_is_the_low_side(counter):
    put(counter, date(2026, 1, 1), 1000)
    assert queries.total_on(counter.pk, date(2026, 2, 1)) == 1000
    assert queries.latest(counter.pk).total == 1000


def test_an_assets_own_season_overrides_the_sites(asset, site):
    Season.objects.create(site=site, name="summer", opens_month=4, opens_day=1, closes_month=10, closes_day=31)
    assert len(queries.seasons_of(asset)) == 1
    Season.objects.create(
        site=site, asset=asset, name="winter", opens_month=11, opens_day=1, closes_month=3, closes_day=1
    )
    assert [span.opens_month for span in queries.seasons_of(asset)] == [11]


def test_curves_of_many_counters_take_one_query(asset, site, now, django_assert_num_queries):
    from assets_app.models import Asset

    counters = []
    for k in range(5):
        ride = Asset.objects.create(site=site, tag=f"R-{k + 10}", name="swing", kind="ride")
        counters.append(Counter.objects.create(asset=ride, name="cycles", unit="cycles"))
    for counter in counters[:4]:
        for week in range(10):
            put(counter, date(2026, 4, 6) + timedelta(7 * week), 700.0 * week)
    actions.refresh_forecasts(counter_ids=[counter.pk for counter in counters[:4]], now=now)
    with django_assert_num_queries(1):
        curves = queries.forecast_curves([counter.pk for counter in counters], date(2026, 6, 15), 1000)
    first, never_read = curves[counters[0].pk], curves[counters[4].pk]
    assert (first.as_of, first.total, first.silent) == (date(2026, 6, 8).toordinal(), 6300, False)
    assert np.all(first.early >= first.middle)
    assert len(first.middle) == 1001
    assert (never_read.middle, never_read.early, never_read.version) == (None, None, 0)


def test_a_silent_counter_says_so_in_its_basis(counter, now):
    for week in range(10):
        put(counter, date(2026, 2, 2) + timedelta(7 * week), 700.0 * week)
    actions.refresh_forecasts(counter_ids=[counter.pk], now=now)
    curves = queries.forecast_curves([counter.pk], date(2026, 6, 15), 10)[counter.pk]
    assert curves.silent
    counter.refresh_from_db()
    assert "busiest rate until read" in queries.basis_of(counter.forecast, date(2026, 6, 15))
    assert "busiest rate until read" not in queries.basis_of(counter.forecast, date(2026, 4, 8))


def test_refreshing_a_forecast_that_says_the_same_keeps_its_version(counter, now):
    put(counter, date(2026, 1, 1), 1000)
    assert actions.refresh_forecasts(counter_ids=[counter.pk], now=now) == 1
    assert actions.refresh_forecasts(counter_ids=[counter.pk], now=now) == 0
    assert counter.forecast.version == 1
