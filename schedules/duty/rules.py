"""The forecast of a counter: how past readings become a middle and an early curve of its count to come.

Pure: no database, no clock. The method, its reach and how it is checked stand in ``docs/method/forecast.md``.

Moments are days as floats: the ordinal of the day on the site's clock plus the share of that day gone. Counts are in
the counter's own unit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engineering.errors import InputError
from engineering.figures import grouped
from schedules.duty.open_days import Span, day_table, first_open_day, open_mask

Floats = NDArray[np.float64]
Point = tuple[float, float]  # moment, total
Parameters = dict[str, Any]

# Common practice, no source; docs/method/forecast.md says how far each was tried.
HALF_LIFE_DAYS = 270.0  # a count that old weighs half
WEEKDAY_PRIOR_DAYS = 10.0  # open days of evidence at which a weekday's own rate counts as much as the mean
MONTH_PRIOR_DAYS = 4.0  # likewise for a month of the year
ROUNDS = 12
BUSY_WINDOW_DAYS = 28
BUSY_OPEN_DAYS = 7  # a window with fewer open days says nothing of a sustained rate
SPREAD_UNKNOWN = 0.3  # early margin where too few past forecasts can be judged
SPREAD_LEAST = 0.1  # no counter is forecast closer than this
MISSES_NEEDED = 9  # fewest misses whose 9-in-10 edge lies among them
COVERAGE = 0.9
NOISE_DAYS = 30.0  # open days over which chance weighs as much as a lasting change of pace
FEW_READINGS = 3
ORIGINS = 40
SETTLE_DAYS = 60.0  # history an origin needs before it
SEEN_DAYS = 730.0  # two rounds of the year: before, a part of the year may still surprise
HORIZONS = (30, 90, 180)


class Intervals(NamedTuple):
    """What was counted between readings: open days by weekday and month (84 classes), counts, and the ends."""

    open_days: Floats  # (n, 84)
    counts: Floats  # (n,)
    ends: Floats  # (n,) moments


class Rates(NamedTuple):
    base: float  # count per open day
    weekday: Floats  # 7 factors, Monday first
    month: Floats  # 12 factors

    def by_class(self) -> Floats:
        return self.base * np.outer(self.weekday, self.month).ravel()


class Fitted(NamedTuple):
    parameters: Parameters
    basis: str
    back_test: dict[str, Any]


class Miss(NamedTuple):
    """One past forecast against what came: made at interval ``origin``, for interval ``target``."""

    origin: int
    target: int
    horizon: int
    forecast: float
    actual: float
    base: float

    @property
    def overshoot(self) -> float:
        """(actual / forecast - 1), scaled so that short and long horizons compare; see ``early_of``."""
        return (self.actual / self.forecast - 1) / float(np.sqrt(1 + NOISE_DAYS * self.base / self.forecast))


def can_forecast(parameters: Mapping[str, Any]) -> bool:
    """Whether there is a rate at all. Without one every limit by count is *unrated*, never *not due*."""
    return bool(parameters.get("rate"))


def is_silent(parameters: Mapping[str, Any], *, as_of: date, today: date) -> bool:
    """Whether the counter went unread for longer than allowed.

    Time counts from the eve of the first open day after the reading: a closed ride needs no reading.
    """
    return unread_too_long(_spans(parameters), as_of=as_of, today=today, every_days=parameters["read_every_days"])


def unread_too_long(spans: Sequence[Span], *, as_of: date, today: date, every_days: int) -> bool:
    """Whether a counter last read on ``as_of`` should have been read again, given the seasons of its asset."""
    opens = first_open_day(spans, as_of.toordinal())
    return opens is not None and today.toordinal() - (opens - 1) > every_days


def early_of(middle: Floats, *, spread: float, base: float) -> Floats:
    """Early count from the middle one: m + spread · √(m² + 30 · base · m).

    Relative margin: ``spread`` far ahead, wider close by, where chance weighs more. It rises with ``middle`` and never
    falls below it, so closed days add nothing to it either.
    """
    return middle + spread * np.sqrt(middle * middle + NOISE_DAYS * base * middle)


def curve(parameters: Mapping[str, Any], *, as_of: date, today: date, days: int) -> tuple[Floats, Floats]:
    """Middle and early count from the end of ``as_of`` to the end of each of the next ``days`` days.

    Args:
        parameters: as ``fit`` gave them.
        as_of: day of the last reading, on the site's clock.
        today: today on the site's clock; decides whether the counter is silent.
        days: length of the curves.

    Returns:
        Two arrays of ``days + 1`` counts, never falling; element 0 is 0. From element 1 on the rest of the day of the
        last reading is counted too: by its share in the middle curve, in full in the early one. A silent counter
        (``is_silent``) runs at its busiest rate in both.

    Raises:
        InputError: no rate (``can_forecast`` is false), or days outside 1900 to 2199.
    """
    if not can_forecast(parameters):
        raise InputError("parameters", "no rate: the counter has no usable reading yet", code="no_reading")
    if days < 0:
        raise InputError("days", "must not be negative", code="negative")
    rate = _daily_rates(parameters, as_of.toordinal(), days + 1)
    middle = np.cumsum(rate) - rate[0]
    middle[1:] += rate[0] * parameters["rest_of_day"]
    whole_day = np.cumsum(rate)
    whole_day[0] = middle[0] = 0.0
    early = early_of(whole_day, spread=parameters["spread"], base=parameters["rate"])
    if is_silent(parameters, as_of=as_of, today=today):
        busy = np.cumsum(np.where(rate > 0, np.maximum(rate, parameters["busiest"]), 0.0))
        busy[0] = 0.0
        early = np.maximum(early, busy)
        return early.copy(), early
    return middle, early


def fit(
    history: Sequence[Point],
    seasons: Sequence[Span],
    *,
    commissioned: float | None = None,
    read_every_days: int = 14,
) -> tuple[Parameters, str]:
    """Parameters of the forecast, and the basis in words: the first two of ``fit_and_test``."""
    fitted = fit_and_test(history, seasons, commissioned=commissioned, read_every_days=read_every_days)
    return fitted.parameters, fitted.basis


def fit_and_test(
    history: Sequence[Point],
    seasons: Sequence[Span],
    *,
    commissioned: float | None = None,
    read_every_days: int = 14,
) -> Fitted:
    """Fit the forecast to past readings and judge it on them.

    Args:
        history: (moment, total) of each reading, moments rising, totals never falling.
        seasons: when the asset is open; none means every day.
        commissioned: moment of commissioning, when the total was 0; used where readings are few.
        read_every_days: longest silence allowed, days.

    Returns:
        ``parameters`` (plain JSON, ``{}`` where there is no rate), ``basis`` in words, and ``back_test``.

    Raises:
        InputError: moments do not rise or totals fall.
    """
    if not history:
        return Fitted({}, "No reading yet: nothing can be forecast.", _judged([], 0.0, np.empty(0)))
    points, lead = _points(history, commissioned)
    intervals = _intervals(points, seasons)
    readings = _count_of(len(history)) + lead
    if intervals is None or intervals.open_days.sum() < 1:
        return Fitted({}, f"{readings}, less than one open day in all: no rate yet.", _judged([], 0.0, np.empty(0)))
    if intervals.counts.sum() <= 0:
        basis = f"{readings}: the counter has not moved over open days, so there is no rate."
        return Fitted({}, basis, _judged([], 0.0, np.empty(0)))
    rates = _rates(intervals, len(intervals.counts))
    misses = _misses(intervals)
    first, last = points[0][0], points[-1][0]
    parameters = {
        "rate": float(rates.base),
        "weekday": [round(float(factor), 4) for factor in rates.weekday],
        "month": [round(float(factor), 4) for factor in rates.month],
        "spread": round(_spread(misses, last - first), 4),
        "busiest": _busiest(intervals, points, seasons, rates),
        "rest_of_day": round(float(np.floor(last) + 1 - last), 4),
        "read_every_days": read_every_days,
        "seasons": [list(span) for span in seasons],
    }
    return Fitted(parameters, _basis(parameters, len(history), misses, lead), _judged(misses, first, intervals.ends))


def back_test(history: Sequence[Point], seasons: Sequence[Span]) -> dict[str, Any]:
    """How past forecasts did: at past readings the forecast as it would have stood, against what then came.

    Rates and the early margin come from readings before each origin only. A target is the first reading at or after
    the horizon, within half as long again; the forecast runs to that very moment.

    Returns:
        ``{"origins": n, "horizons": [{"days", "forecasts", "median_error_pct", "below_early_pct"}]}``; a horizon with
        no past forecast has None for both figures. Forecasts of less than one open day's count are left out.
    """
    return fit_and_test(history, seasons).back_test


def _judged(misses: Sequence[Miss], first: float, ends: Floats) -> dict[str, Any]:
    margin: dict[int, float] = {}
    for origin in {miss.origin for miss in misses}:
        known = [miss for miss in misses if miss.target <= origin]
        margin[origin] = _spread(known, float(ends[origin]) - first)
    rows = []
    for horizon in HORIZONS:
        these = [miss for miss in misses if miss.horizon == horizon]
        errors = [abs(miss.actual / miss.forecast - 1) * 100 for miss in these]
        below = [miss.overshoot <= margin[miss.origin] for miss in these]
        rows.append(
            {
                "days": horizon,
                "forecasts": len(these),
                "median_error_pct": round(float(np.median(errors)), 1) if these else None,
                "below_early_pct": round(100 * float(np.mean(below)), 1) if these else None,
            }
        )
    return {"origins": len(margin), "horizons": rows}


def _spans(parameters: Mapping[str, Any]) -> list[Span]:
    return [Span(*values) for values in parameters["seasons"]]


def _daily_rates(parameters: Mapping[str, Any], first: int, count: int) -> Floats:
    """Middle count of each day; 0 on closed days."""
    table = day_table(first, count)
    rates = Rates(parameters["rate"], np.asarray(parameters["weekday"]), np.asarray(parameters["month"]))
    by_day = rates.by_class()[table.weekday.astype(np.intp) * 12 + table.month]
    return np.where(open_mask(_spans(parameters), first, count), by_day, 0.0)


def _points(history: Sequence[Point], commissioned: float | None) -> tuple[list[Point], str]:
    """The points to fit; commissioning is one of them only where readings are few."""
    points = [(float(moment), float(total)) for moment, total in history]
    if commissioned is not None and points and len(points) < FEW_READINGS and commissioned < points[0][0]:
        return [(commissioned, 0.0), *points], " and the day of commissioning"
    return points, ""


def _intervals(points: Sequence[Point], seasons: Sequence[Span]) -> Intervals | None:
    """Open days and counts between readings. A closed interval is joined to the next one, so that no count is lost."""
    if len(points) < 2:
        return None
    moments, totals = np.array(points).T
    if np.any(np.diff(moments) <= 0) or np.any(np.diff(totals) < 0):
        raise InputError("history", "moments must rise and totals must not fall")
    first, last = int(moments[0]), int(moments[-1])
    edges = np.unique(np.concatenate([moments, np.arange(first + 1, last + 1)]))
    starts, lengths = edges[:-1], np.diff(edges)
    day = np.floor(starts).astype(np.intp) - first
    table = day_table(first, last - first + 1)
    open_length = lengths * open_mask(seasons, first, last - first + 1)[day]
    which = np.searchsorted(moments, starts, side="right") - 1
    kind = which * 84 + table.weekday[day].astype(np.intp) * 12 + table.month[day]
    rows = len(moments) - 1
    open_days = np.bincount(kind, weights=open_length, minlength=rows * 84).reshape(rows, 84)
    is_open = open_days.sum(axis=1) > 0
    if not is_open.any():
        return None
    group = np.minimum(np.cumsum(is_open) - is_open, is_open.sum() - 1)
    joined = np.zeros((int(is_open.sum()), 84))
    np.add.at(joined, group, open_days)
    counts = np.asarray(np.bincount(group, weights=np.diff(totals)), dtype=np.float64)
    return Intervals(joined, counts, moments[1:][is_open])


def _rates(intervals: Intervals, upto: int) -> Rates:
    """Rates from the first ``upto`` intervals: Poisson likelihood, recent ones weighing more, factors drawn to 1.

    Expectation and maximisation share each interval's count out among its weekdays and months by the rates so far; a
    factor rests on that count and on a prior of so many open days at the mean. Weekly readings thus leave the weekdays
    alone, daily ones tell them apart.
    """
    open_days, counts, ends = intervals.open_days[:upto], intervals.counts[:upto], intervals.ends[:upto]
    weight = 0.5 ** ((ends[-1] - ends) / HALF_LIFE_DAYS)
    exposure = (weight @ open_days).reshape(7, 12)
    counted = float(weight @ counts)
    weekday, month = np.ones(7), np.ones(12)
    base = counted / exposure.sum()
    if base <= 0:
        return Rates(0.0, weekday, month)
    for _ in range(ROUNDS):
        rate = base * np.outer(weekday, month)
        shared = rate * (open_days.T @ (weight * counts / (open_days @ rate.ravel()))).reshape(7, 12)
        weekday = (WEEKDAY_PRIOR_DAYS + shared.sum(axis=1) / base) / (WEEKDAY_PRIOR_DAYS + exposure @ month)
        month = (MONTH_PRIOR_DAYS + shared.sum(axis=0) / base) / (MONTH_PRIOR_DAYS + weekday @ exposure)
        base = counted / float(weekday @ exposure @ month)
    return Rates(base, weekday, month)


def _misses(intervals: Intervals) -> list[Miss]:
    """Forecasts from up to ``ORIGINS`` past readings, each against the first reading at or after each horizon."""
    ends = intervals.ends
    settled = np.flatnonzero(ends >= ends[0] + SETTLE_DAYS)
    origins = settled[ends[settled] <= ends[-1] - HORIZONS[0]]
    if origins.size > ORIGINS:
        origins = origins[np.linspace(0, origins.size - 1, ORIGINS).astype(np.intp)]
    open_so_far = np.cumsum(intervals.open_days, axis=0)
    count_so_far = np.cumsum(intervals.counts)
    misses = []
    for origin in origins.tolist():
        rates = _rates(intervals, origin + 1)
        for horizon in HORIZONS:
            target = int(np.searchsorted(ends, ends[origin] + horizon))
            if target >= len(ends) or ends[target] > ends[origin] + 1.5 * horizon:
                continue
            forecast = float((open_so_far[target] - open_so_far[origin]) @ rates.by_class())
            if rates.base > 0 and forecast >= rates.base:
                actual = float(count_so_far[target] - count_so_far[origin])
                misses.append(Miss(origin, target, horizon, forecast, actual, rates.base))
    return misses


def _spread(misses: Sequence[Miss], seen_days: float) -> float:
    """The margin under which 9 of 10 past forecasts stayed, at the horizon where they missed most.

    Never less than ``SPREAD_LEAST``; never less than ``SPREAD_UNKNOWN`` while past forecasts are few or the readings
    span less than two years.
    """
    spread = SPREAD_UNKNOWN if seen_days < SEEN_DAYS or len(misses) < MISSES_NEEDED else SPREAD_LEAST
    for horizon in HORIZONS:
        over = np.sort([miss.overshoot for miss in misses if miss.horizon == horizon])
        if over.size:
            rank = min(int(np.ceil((over.size + 1) * COVERAGE)), over.size)
            spread = max(spread, float(over[rank - 1]))
    return spread


def _busiest(intervals: Intervals, points: Sequence[Point], seasons: Sequence[Span], rates: Rates) -> float:
    """Highest count per open day over any four weeks seen; at least the mean rate.

    An interval's count is spread over its open days in the proportion of the rates.
    """
    first, last = int(points[0][0]), int(points[-1][0])
    is_open = open_mask(seasons, first, last - first + 1).astype(np.float64)
    table = day_table(first, last - first + 1)
    by_day = rates.by_class()[table.weekday.astype(np.intp) * 12 + table.month] * is_open
    edges = np.concatenate([[points[0][0]], intervals.ends])
    grid = np.arange(first, last + 2, dtype=np.float64)
    run = np.interp(edges, grid, np.concatenate([[0.0], np.cumsum(by_day)]))
    scale = intervals.counts / np.diff(run)
    which = np.clip(np.searchsorted(edges, grid[:-1] + 0.5) - 1, 0, len(scale) - 1)
    counted, days = _rolling(by_day * scale[which]), _rolling(is_open)
    enough = days >= BUSY_OPEN_DAYS
    seen = float((counted[enough] / days[enough]).max()) if enough.any() else 0.0
    return max(seen, float(rates.base))


def _rolling(values: Floats) -> Floats:
    run = np.concatenate([[0.0], np.cumsum(values)])
    width = min(BUSY_WINDOW_DAYS, len(values))
    return run[width:] - run[:-width]


def _basis(parameters: Parameters, readings: int, misses: Sequence[Miss], lead: str) -> str:
    few = f" Fewer than {FEW_READINGS} readings: a first guess." if readings < FEW_READINGS else ""
    margin = (
        f"early margin from {len(misses)} past forecasts"
        if len(misses) >= MISSES_NEEDED
        else f"early margin {SPREAD_UNKNOWN:.0%} or more, since too few past forecasts can be judged"
    )
    mean, busiest = (grouped(parameters[name], ".4g") for name in ("rate", "busiest"))
    return f"{_count_of(readings)}{lead}: {mean} a mean open day, {busiest} in the busiest four weeks; {margin}.{few}"


def _count_of(readings: int) -> str:
    return "1 reading" if readings == 1 else f"{readings} readings"
