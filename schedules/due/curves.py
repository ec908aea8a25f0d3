"""The curves that turn counts into days: each primary counter's readings so far, then its forecast."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np

from schedules.due.rules import HORIZON_DAYS, CounterCurve
from schedules.duty import rules as duty
from schedules.duty.models import Counter, CounterForecast, Reading


@dataclass(frozen=True)
class AssetCurve:
    """An asset's primary counter as a curve, and which reading and forecast it rests on."""

    counter_id: int
    unit: str
    curve: CounterCurve
    reading_on: date
    forecast_version: int
    silent: bool
    basis: str

    def total_on(self, day: date) -> float:
        """Expected total by the end of ``day`` (middle forecast after the last reading)."""
        return float(self.curve.total_on(np.array([day.toordinal()], dtype=np.int32))[0])


def curves_of_assets(asset_ids: Iterable[int], *, today: date) -> dict[int, AssetCurve]:
    """Asset id -> curve; an asset without a primary counter, or whose counter cannot be forecast, is not in it."""
    counters = {
        counter.pk: counter
        for counter in Counter.objects.filter(asset_id__in=list(asset_ids), is_primary=True).select_related("asset")
    }
    forecasts = CounterForecast.objects.in_bulk(list(counters))
    history = _history(counters)
    curves: dict[int, AssetCurve] = {}
    for pk, counter in counters.items():
        forecast, readings = forecasts.get(pk), history[pk]
        if forecast is None or not readings or not duty.can_forecast(forecast.parameters):
            continue
        born = counter.asset.commissioned_on
        curves[counter.asset_id] = AssetCurve(
            counter_id=pk,
            unit=counter.unit,
            curve=_join(readings, forecast, born=born, today=today),
            reading_on=forecast.as_of,
            forecast_version=forecast.version,
            silent=duty.is_silent(forecast.parameters, as_of=forecast.as_of, today=today),
            basis=forecast.basis,
        )
    return curves


def _history(counters: Iterable[int]) -> dict[int, list[tuple[int, float]]]:
    rows = Reading.objects.filter(counter_id__in=list(counters)).order_by("counter_id", "read_at")
    history: dict[int, list[tuple[int, float]]] = defaultdict(list)
    for counter_id, read_on, total in rows.values_list("counter_id", "read_on", "total"):
        history[counter_id].append((read_on.toordinal(), total))
    return history


def _join(
    readings: list[tuple[int, float]], forecast: CounterForecast, *, born: date | None, today: date
) -> CounterCurve:
    """Readings day by day (straight between them; from 0 at commissioning), then the forecast up to the horizon."""
    days, totals = np.array(readings, dtype=float).T
    if born is not None and born.toordinal() < days[0]:
        days, totals = np.r_[born.toordinal(), days], np.r_[0.0, totals]
    as_of = forecast.as_of.toordinal()
    past = np.interp(np.arange(days[0], as_of), days, totals)
    ahead = max(HORIZON_DAYS - len(past), 366 * 10)
    middle, early = duty.curve(forecast.parameters, as_of=forecast.as_of, today=today, days=ahead)
    return CounterCurve(
        first_day=int(days[0]),
        middle=np.concatenate([past, forecast.total + middle]),
        early=np.concatenate([past, forecast.total + early]),
    )
