"""The duty line of a counter: readings as steps, the forecast band, closed seasons hatched, today as a plumb line.

Plain data in, a drawing and its words out. Days are on the site's clock, totals in the counter's unit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from assets_app.register.pen import Drawing, Pen, Point
from engineering.figures import grouped
from schedules.duty.open_days import Span, open_mask
from schedules.duty.rules import Floats

WIDE, NARROW, HEIGHT = 1180.0, 380.0, 320.0  # px; the narrow one is for a phone, where letters must stay readable
LEFT, RIGHT, TOP, BOTTOM = 78.0, 14.0, 26.0, 34.0
CLOSED_RUN_DAYS = 8  # shorter closures are weekdays, not seasons
BAND_STEP_DAYS = 5


@dataclass(frozen=True)
class DutyLine:
    """What is drawn. ``middle`` and ``early`` count from the end of ``as_of``; None where there is no rate."""

    readings: Sequence[tuple[date, float]]
    as_of: date
    middle: Floats | None
    early: Floats | None
    spans: Sequence[Span]
    today: date
    unit: str
    silent: bool


class _Scale:
    """Days and totals to px."""

    def __init__(self, first: date, last: date, low: float, high: float, width: float) -> None:
        self.right = width - RIGHT
        self.first, self.days = first, max((last - first).days, 1)
        self.low, self.range = low, max(high - low, 1e-9)

    def x(self, day: date) -> float:
        return LEFT + (day - self.first).days / self.days * (self.right - LEFT)

    def y(self, total: float) -> float:
        return HEIGHT - BOTTOM - (total - self.low) / self.range * (HEIGHT - TOP - BOTTOM)


def draw(line: DutyLine, title: str, *, narrow: bool = False) -> Drawing:
    """The drawing and the sentences that say the same."""
    last = line.today
    if line.middle is not None:
        last = max(last, line.as_of + timedelta(len(line.middle) - 1))
    first = line.readings[0][0] if line.readings else line.today - timedelta(30)
    low = line.readings[0][1] if line.readings else 0.0
    high = max([total for _, total in line.readings], default=1.0)
    if line.early is not None and line.readings:
        high = line.readings[-1][1] + float(line.early[-1])
    step = _nice((high - low) / 4)
    width = NARROW if narrow else WIDE
    scale = _Scale(first, last, math.floor(low / step) * step, math.ceil(high / step) * step, width)
    pen = Pen(width, HEIGHT)
    for start, end in closed_runs(line.spans, first, last):
        pen.hatch(scale.x(start), TOP, scale.x(end + timedelta(1)) - scale.x(start), HEIGHT - TOP - BOTTOM)
    _axes(pen, scale, step, last, line.unit)
    _band(pen, scale, line)
    _steps(pen, scale, line)
    pen.line((scale.x(line.today), TOP - 8), (scale.x(line.today), HEIGHT - BOTTOM), "plumb")
    pen.text((scale.x(line.today), TOP - 12), "today", anchor="middle")
    words = _words(line, last)
    return Drawing(pen.svg(title, words, "duty-line for-narrow" if narrow else "duty-line for-wide"), words)


def closed_runs(spans: Sequence[Span], first: date, last: date) -> list[tuple[date, date]]:
    """First and last day of each closed stretch of eight days or more."""
    is_open = open_mask(spans, first.toordinal(), (last - first).days + 1)
    edges = np.flatnonzero(np.diff(np.concatenate([[1], is_open.astype(np.int8), [1]])))
    return [
        (first + timedelta(int(start)), first + timedelta(int(end) - 1))
        for start, end in zip(edges[::2], edges[1::2], strict=True)
        if end - start >= CLOSED_RUN_DAYS
    ]


def _nice(rough: float) -> float:
    """The next 1, 2 or 5 times a power of ten."""
    if rough <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(rough))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= rough * (1 - 1e-9))


def figure(total: float) -> str:
    """A total with gaps in thousands."""
    return grouped(total, ".10g")


def _axes(pen: Pen, scale: _Scale, step: float, last: date, unit: str) -> None:
    for k in range(round(scale.range / step) + 1):
        total = scale.low + k * step
        pen.line((LEFT, scale.y(total)), (scale.right, scale.y(total)), "faint")
        pen.text((LEFT - 8, scale.y(total) + 4), figure(total), anchor="end", look="soft", size=12)
    pen.text((LEFT, TOP - 12), unit, size=12, look="soft")
    months = 1 if scale.days < 200 else 3 if scale.days < 900 else 12
    day = date(scale.first.year, 1, 1)
    while day <= last:
        if day >= scale.first:
            pen.line((scale.x(day), HEIGHT - BOTTOM), (scale.x(day), HEIGHT - BOTTOM + 5), "thin")
            words = f"{day:%b} {day.year}" if day.month == 1 else f"{day:%b}"
            if scale.x(day) < scale.right - 16:
                pen.text((scale.x(day), HEIGHT - BOTTOM + 19), words, anchor="middle", look="soft", size=12)
        month = day.month - 1 + months
        day = date(day.year + month // 12, month % 12 + 1, 1)
    pen.line((LEFT, HEIGHT - BOTTOM), (scale.right, HEIGHT - BOTTOM), "thin")


def _band(pen: Pen, scale: _Scale, line: DutyLine) -> None:
    if line.middle is None or line.early is None or not line.readings:
        return
    base, count = line.readings[-1][1], len(line.middle)
    days = sorted({*range(0, count, BAND_STEP_DAYS), count - 1})

    def run(curve: Floats) -> list[Point]:
        return [(scale.x(line.as_of + timedelta(k)), scale.y(base + float(curve[k]))) for k in days]

    pen.path([*run(line.early), *reversed(run(line.middle))], "band", closed=True)
    pen.path(run(line.middle), "guess")
    pen.path(run(line.early), "fit")


def _steps(pen: Pen, scale: _Scale, line: DutyLine) -> None:
    if not line.readings:
        return
    points: list[Point] = [(scale.x(line.readings[0][0]), scale.y(line.readings[0][1]))]
    for (_, before), (day, total) in pairwise(line.readings):
        points += [(scale.x(day), scale.y(before)), (scale.x(day), scale.y(total))]
    if len(points) > 1:
        pen.path(points, "wide")
    pen.circle((scale.x(line.readings[-1][0]), scale.y(line.readings[-1][1])), 3.5, "solid")


def _words(line: DutyLine, last: date) -> list[str]:
    if not line.readings:
        return ["No reading yet."]
    day, total = line.readings[-1]
    words = [f"Last read {day:%-d %B %Y}: {figure(total)} {line.unit} in all"]
    if line.middle is None or line.early is None:
        return [*words, "There is no rate yet, so nothing is forecast"]
    middle, early = (_round(total + float(curve[-1])) for curve in (line.middle, line.early))
    pace = " at its busiest rate, because it has not been read" if line.silent else ""
    words.append(f"By {last:%-d %B %Y}{pace}: {middle} expected, {early} on the early side")
    for start, end in closed_runs(line.spans, line.readings[0][0], last):
        words.append(f"Closed {start:%-d %B %Y} to {end:%-d %B %Y}")
    return words


def _round(total: float) -> str:
    """A forecast to three figures; more would pretend."""
    return figure(float(f"{total:.3g}"))
