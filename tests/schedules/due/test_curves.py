"""A counter's readings and forecast as one curve."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest

from schedules.due.curves import _shared_out, curves_of_assets
from schedules.duty import queries as duty
from schedules.duty.open_days import Span
from schedules.models import Reading, Season

SUMMER = [Span(4, 1, 9, 30, "1111111")]


def test_what_was_counted_over_a_winter_lies_in_the_open_season():
    days = np.array([date(2025, 9, 1).toordinal(), date(2026, 5, 1).toordinal()])
    totals = _shared_out(days, np.array([0.0, 610.0]), SUMMER)

    def on(day):
        return totals[day.toordinal() - days[0]]

    assert on(date(2025, 10, 1)) == on(date(2026, 3, 31)) == pytest.approx(610 * 29 / 60, abs=11)
    assert on(date(2026, 5, 1)) == 610.0
    assert np.all(np.diff(totals) >= 0)


def test_without_any_open_day_between_it_is_shared_out_over_all_days():
    days = np.array([date(2026, 1, 1).toordinal(), date(2026, 1, 11).toordinal()])
    assert _shared_out(days, np.array([0.0, 10.0]), SUMMER).tolist() == pytest.approx(list(range(11)))


@pytest.mark.django_db
def test_the_past_agrees_with_what_duty_says_of_a_day(steady_counter, site, asset, today, now):
    Season.objects.create(site=site, name="summer", opens_month=4, opens_day=1, closes_month=9, closes_day=30)
    curve = curves_of_assets([asset.pk], today=today)[asset.pk].curve
    for day in (date(2026, 2, 3), date(2026, 3, 31), date(2026, 4, 20), date(2026, 6, 5)):
        ours = float(curve.total_at_look(np.array([day.toordinal()], dtype=np.int32))[0])
        assert ours == pytest.approx(duty.total_on(steady_counter.pk, day), abs=120.0)


@pytest.mark.django_db
def test_an_asset_whose_counter_was_never_read_has_no_curve(counter, asset, today):
    assert curves_of_assets([asset.pk], today=today) == {}


@pytest.mark.django_db
def test_the_curve_passes_through_every_reading(steady_counter, asset, today):
    curve = curves_of_assets([asset.pk], today=today)[asset.pk].curve
    for reading in Reading.objects.filter(counter=steady_counter, read_at__lt=datetime(2026, 6, 1, tzinfo=UTC)):
        day = np.array([reading.read_on.toordinal()], dtype=np.int32)
        assert float(curve.total_on(day)[0]) == pytest.approx(reading.total)
