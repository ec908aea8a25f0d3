"""The curves that turn counts into days: each primary counter's readings so far, then its forecast."""

from __future__ import annotations

import logging
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from hashlib import blake2b
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from assets_app.statements import Given, Statement
from schedules.due.rules import HORIZON_DAYS, NO_DAY, CounterCurve, Floats
from schedules.duty import queries
from schedules.duty import rules as duty
from schedules.duty.models import CounterForecast, Reading
from schedules.duty.open_days import Span, open_mask

log = logging.getLogger(__name__)


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

    @property
    def horizon(self) -> date:
        """The last day that the forecast reaches."""
        return date.fromordinal(self.curve.first_day + len(self.curve.early) - 1)

    def day_of(self, total: float) -> date | None:
        """First day by whose end the early forecast reaches ``total``; ``None`` beyond the horizon."""
        found = int(self.curve.day_of(np.array([total]), early=True)[0])
        return None if found >= NO_DAY else date.fromordinal(found)

    def total_at_look(self, day: date) -> float:
        """Total from which a look on ``day`` counts (the low side)."""
        return float(self.curve.total_at_look(np.array([day.toordinal()], dtype=np.int32))[0])

    def total_noted(self, total: float | None, day: date) -> float:
        """The total noted at a look on ``day``, but never more than the counter can have shown by that evening; where
        none was noted that from which the look counts."""
        if total is None:
            return self.total_at_look(day)
        return min(total, float(self.curve.most_by(np.array([day.toordinal()], dtype=np.int32))[0]))


class ForecastRow(NamedTuple):
    """A primary counter's forecast with what of counter and asset it hangs on: plain values."""

    asset_id: int
    site_id: int
    counter_id: int
    unit: str
    born: date | None  # commissioning of the asset
    version: int
    as_of: date
    total: float
    parameters: dict[str, Any]
    basis: str


_ELSEWHERE = {
    "asset_id": "counter__asset_id",
    "site_id": "counter__asset__site_id",
    "unit": "counter__unit",
    "born": "counter__asset__commissioned_on",
}
_FORECASTS = Statement(
    lambda: CounterForecast.objects.filter(
        counter__asset_id__one_of=Given("assets"), counter__is_primary=True
    ).values_list(*(_ELSEWHERE.get(name, name) for name in ForecastRow._fields))
)
_READINGS = Statement(
    lambda: (
        Reading.objects.filter(counter_id__one_of=Given("counters"))
        .order_by("counter_id", "read_at")
        .values_list("counter_id", "read_on", "total")
    )
)


@dataclass(frozen=True)
class CurveSource:
    """All that an asset's curve is made from, read; ``key`` is the same only where all of it is the same."""

    forecast: ForecastRow
    readings: list[tuple[int, float]]
    spans: Sequence[Span]
    today: date

    @property
    def unit(self) -> str:
        return self.forecast.unit

    @cached_property
    def silent(self) -> bool:
        return duty.is_silent(self.forecast.parameters, as_of=self.forecast.as_of, today=self.today)

    @cached_property
    def key(self) -> bytes:
        made_from = (self.forecast, self.readings, self.spans, self.today)
        return blake2b(repr(made_from).encode(), digest_size=32).digest()

    def curve(self, reach_days: int = HORIZON_DAYS) -> AssetCurve:
        forecast, spans = self.forecast, self.spans
        return AssetCurve(
            counter_id=forecast.counter_id,
            unit=forecast.unit,
            curve=_join(self.readings, forecast, today=self.today, spans=spans, reach_days=reach_days),
            reading_on=forecast.as_of,
            forecast_version=forecast.version,
            silent=self.silent,
            basis=queries.basis_of(forecast, self.today),
        )

    def sound(self, reach_days: int = HORIZON_DAYS) -> AssetCurve | None:
        """The curve; ``None``, and a line in the log, where it cannot be made of what stands there."""
        try:
            return _sound(self.curve(reach_days))
        except (ArithmeticError, LookupError, TypeError, ValueError) as error:
            name = type(error).__name__
            log.error("the counter of asset %s cannot be forecast: %s: %s", self.forecast.asset_id, name, error)
            return None


class Curves(dict[int, AssetCurve]):
    """Asset id -> curve; an asset without a primary counter, or whose counter cannot be forecast, is not in it.

    ``broken`` are those whose readings or forecast cannot be right: of them nothing can be computed by count.
    """

    broken: frozenset[int] = frozenset()


def curves_of_assets(asset_ids: Iterable[int], *, today: date) -> Curves:
    """The curves of some assets. One that cannot be made keeps no other from being made."""
    made = {asset_id: source.sound() for asset_id, source in sources_of_assets(asset_ids, today=today).items()}
    curves = Curves({asset_id: curve for asset_id, curve in made.items() if curve is not None})
    curves.broken = frozenset(made.keys() - curves.keys())
    return curves


def _sound(made: AssetCurve) -> AssetCurve:
    """The same, or ``ValueError`` where its totals are no numbers or fall."""
    place = made.curve.read_to - made.curve.first_day
    for totals in (made.curve.middle, made.curve.early):
        if not np.isfinite(totals[-1]) or (place and totals[place] < totals[place - 1]):
            raise ValueError("totals that are no numbers, or that fall")
    return made


def sources_of_assets(
    asset_ids: Iterable[int], *, today: date, seasons: Mapping[int, Sequence[Span]] | None = None
) -> dict[int, CurveSource]:
    """What the curves of some assets are made from; ``seasons`` by asset, where they are at hand."""
    forecasts = [ForecastRow._make(row) for row in _FORECASTS.rows(assets=list(asset_ids))]
    if not forecasts:
        return {}
    history = _history([forecast.counter_id for forecast in forecasts])
    if seasons is None:
        seasons = queries.seasons_at({forecast.asset_id: forecast.site_id for forecast in forecasts})
    return {
        forecast.asset_id: CurveSource(forecast, history[forecast.counter_id], seasons[forecast.asset_id], today)
        for forecast in forecasts
        if history[forecast.counter_id] and duty.can_forecast(forecast.parameters)
    }


def _history(counters: list[int]) -> dict[int, list[tuple[int, float]]]:
    history: dict[int, list[tuple[int, float]]] = defaultdict(list)
    for counter_id, read_on, total in _READINGS.rows(counters=counters):
        history[counter_id].append((read_on.toordinal(), total))
    return history


def _join(
    readings: list[tuple[int, float]],
    forecast: ForecastRow,
    *,
    today: date,
    spans: Sequence[Span],
    reach_days: int,
) -> CounterCurve:
    """Readings day by day (from 0 at commissioning, shared out over open days), then the forecast up to the horizon."""
    if forecast.born is not None and forecast.born.toordinal() < readings[0][0]:
        readings = [(forecast.born.toordinal(), 0.0), *readings]
    days, totals = np.array(readings, dtype=float).T
    first, as_of = int(days[0]), forecast.as_of.toordinal()
    past = _shared_out(days.astype(int), totals, spans)[: as_of - first]
    unread = max(today.toordinal() - as_of, 0)  # a counter not read for ten years still has its years ahead
    ahead = unread + min(max(HORIZON_DAYS - len(past) - unread, 366 * 10), reach_days)
    middle, early = duty.curve(forecast.parameters, as_of=forecast.as_of, today=today, days=ahead)
    return CounterCurve(
        first_day=first,
        read_to=as_of,
        middle=np.concatenate([past, forecast.total + middle]),
        early=np.concatenate([past, forecast.total + early]),
    )


def _shared_out(days: NDArray[np.int64], totals: Floats, spans: Sequence[Span]) -> Floats:
    """Total by the end of every day from the first reading to the last, what was counted between two readings shared
    out over the open days between them, or over all days where none was open."""
    grid = np.arange(days[0], days[-1] + 1)
    run = np.cumsum(open_mask(spans, int(days[0]), len(grid)).astype(float))
    at_reading = run[days - days[0]]
    place = np.clip(np.searchsorted(days, grid, side="right") - 1, 0, max(len(days) - 2, 0))
    if len(days) == 1:
        return totals.astype(float)
    opened = at_reading[place + 1] - at_reading[place]
    length = np.maximum(days[place + 1] - days[place], 1)
    share = np.where(opened > 0, (run - at_reading[place]) / np.maximum(opened, 1), (grid - days[place]) / length)
    return np.maximum.accumulate(totals[place] + (totals[place + 1] - totals[place]) * np.clip(share, 0.0, 1.0))
