"""The growth of one crack drawn: its measured sizes and the fitted band over the counter, critical, and what is due.

Plain data in, a drawing and its words out. Sizes are crack depths in mm, totals those of the asset's counter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from assets_app.register.pen import Drawing, Pen, mm
from engineering.figures import grouped

TICK_ROOM, NARROW_TICK_ROOM = 84.0, 74.0  # px between two ticks of the axis
MARK_ROWS = 4


class Measured(NamedTuple):
    """One measurement: the day, the counter's total then, the depth."""

    on: date
    total: float
    mm: float


class BandPoint(NamedTuple):
    """The fitted size at a total, mm: one crack in ten is below ``low``, one in ten above ``high``, which is
    infinite where that one has run away."""

    total: float
    low: float
    middle: float
    high: float


class Mark(NamedTuple):
    """A total that matters; ``on`` is its day by the early forecast, None beyond the horizon."""

    name: str
    total: float
    on: date | None


@dataclass(frozen=True)
class Growth:
    """Everything the drawing shows of one crack. ``problem`` says why there is no fit.

    ``reaches`` are early, middle and late at critical; ``due`` what asks for the next look; ``dates`` days with their
    totals by the curve, in order; ``left_out`` measurements that could not be used.
    """

    unit: str = "counts"
    measured: Sequence[Measured] = ()
    band: Sequence[BandPoint] = ()
    critical_mm: float | None = None
    reaches: Sequence[Mark] = ()
    due: Mark | None = None
    today: Mark | None = None
    dates: Sequence[tuple[date, float]] = ()
    left_out: int = 0
    problem: str = ""
    notes: Sequence[str] = field(default_factory=tuple)


class _Frame(NamedTuple):
    """Where things stand: px of the axes and what they span."""

    pen: Pen
    left: float
    right: float
    ground: float
    top: float
    first: float
    last: float
    top_mm: float
    narrow: bool

    def x(self, total: float) -> float:
        share = (total - self.first) / (self.last - self.first)
        return self.left + (self.right - self.left) * min(max(share, 0.0), 1.0)

    def y(self, size_mm: float) -> float:
        return self.ground - (self.ground - self.top) * min(size_mm / self.top_mm, 1.04)

    def holds(self, total: float) -> bool:
        return self.first <= total <= self.last


def growth_drawing(growth: Growth, *, name: str = "crack", narrow: bool = False) -> Drawing:
    """The drawing, 960 x 360 px, or 360 x 360 for a phone."""
    words = growth_words(growth)
    pen = Pen(360.0 if narrow else 960.0, 360.0)
    frame = _frame(pen, growth, narrow=narrow)
    if frame is None:
        pen.text((8, 60), "nothing measured to draw", size=13, look="soft")
        return Drawing(pen.svg(f"Growth of {name}", words, "growth"), words)
    _axes(frame, growth)
    _band(frame, growth)
    _critical(frame, growth)
    _points(frame, growth)
    _marks(frame, growth)
    return Drawing(pen.svg(f"Growth of {name}", words, "growth"), words)


def _frame(pen: Pen, growth: Growth, *, narrow: bool) -> _Frame | None:
    totals = [point.total for point in (*growth.measured, *growth.band)]
    totals += [mark.total for mark in (growth.due, growth.today) if mark]
    sizes = [point.mm for point in growth.measured] + [point.middle for point in growth.band]
    if not totals or not sizes:
        return None
    first = min(totals)
    reach = max(totals)
    for mark in growth.reaches:  # a late edge far out is named in words, not drawn to scale
        if mark.total - first <= 2.5 * max(reach - first, 1.0):
            reach = max(reach, mark.total)
    margin = max((reach - first) * 0.05, 1.0)
    top_mm = max([*sizes, growth.critical_mm or 0.0]) * 1.08
    low = max(first - margin, 0.0)
    rows = 74.0 if growth.reaches else 44.0
    return _Frame(pen, 40.0, pen.width - 12, 292.0, rows, low, reach + margin, top_mm, narrow)


def _axes(frame: _Frame, growth: Growth) -> None:
    pen = frame.pen
    pen.line((frame.left, frame.ground), (frame.right, frame.ground), "wide")
    pen.line((frame.left, frame.ground), (frame.left, frame.top), "thin")
    for size in _steps(frame.top_mm, 4):
        y = frame.y(size)
        pen.line((frame.left - 5, y), (frame.left, y), "thin")
        pen.text((frame.left - 8, y + 4), f"{size:g}", size=12, anchor="end", look="soft")
    pen.text((4, frame.top - 10), "mm deep", size=12, look="soft")
    room = NARROW_TICK_ROOM if frame.narrow else TICK_ROOM
    count = max(int((frame.right - frame.left) / room), 2)
    for total in _steps(frame.last, count, first=frame.first):
        x = frame.x(total)
        pen.line((x, frame.ground), (x, frame.ground + 6), "thin")
        if frame.left + 12 < x < frame.right - 24:
            pen.text((x, frame.ground + 20), _count(total), size=12, anchor="middle", look="soft")
    previous = -1e9
    for day, total in growth.dates:
        x = frame.x(total)
        if not frame.holds(total) or x - previous < room or not frame.left + 20 < x < frame.right - 32:
            continue
        previous = x
        pen.line((x, frame.ground + 28), (x, frame.ground + 34), "faint")
        pen.text((x, frame.ground + 47), f"{day:%b %Y}", size=12, anchor="middle", look="soft")
    pen.text((frame.left, frame.ground + 64), f"{growth.unit}; dates by the counter's curve", size=12, look="soft")


def _steps(last: float, most: int, *, first: float = 0.0) -> list[float]:
    """At most ``most`` round values above ``first`` up to ``last``."""
    span = max(last - first, 1e-9)
    rough = span / max(most, 1)
    power = 10.0 ** (len(f"{int(rough)}") - 1) if rough >= 1 else 0.1
    step = next((k * power for k in (1, 2, 2.5, 5, 10) if k * power >= rough), 10 * power)
    start = int(first // step) + 1
    return [round(k * step, 6) for k in range(start, int(last // step) + 1)]


def _band(frame: _Frame, growth: Growth) -> None:
    """The 80 % band behind, its middle dashed before it."""
    points = [point for point in growth.band if frame.holds(point.total)]
    if len(points) < 2:
        return
    upper = [(frame.x(p.total), frame.y(p.high)) for p in points]
    lower = [(frame.x(p.total), frame.y(p.low)) for p in reversed(points)]
    frame.pen.path(upper + lower, "band", closed=True)
    frame.pen.path([(frame.x(p.total), frame.y(p.middle)) for p in points], "fit")


def _critical(frame: _Frame, growth: Growth) -> None:
    if growth.critical_mm is None:
        return
    y = frame.y(growth.critical_mm)
    frame.pen.line((frame.left, y), (frame.right, y), "grave pole")
    frame.pen.text((frame.left + 6, y - 6), f"critical {mm(growth.critical_mm)} mm", size=12.5, look="strong")


def _points(frame: _Frame, growth: Growth) -> None:
    for point in growth.measured:
        frame.pen.circle((frame.x(point.total), frame.y(point.mm)), 4.5, "solid")
    if growth.measured:
        last = max(growth.measured, key=lambda point: point.total)
        x = frame.x(last.total)
        near_left = x - frame.left < 70
        at = (x + 8 if near_left else x - 8, frame.y(last.mm) - 8)
        frame.pen.text(at, f"{mm(last.mm)} mm", size=12.5, anchor="start" if near_left else "end")


def _marks(frame: _Frame, growth: Growth) -> None:
    """Early, middle and late where the crack reaches critical; today; the due mark as a flag."""
    pen = frame.pen
    y = frame.y(growth.critical_mm) if growth.critical_mm is not None else frame.top
    edge = -1e9
    for place, mark in enumerate(mark for mark in growth.reaches if frame.holds(mark.total)):
        x = frame.x(mark.total)
        pen.line((x, frame.ground), (x, y), "faint" if mark.name == "middle" else "thin")
        pen.path([(x - 5, y - 9), (x + 5, y - 9), (x, y)], "grave-fill" if place == 0 else "solid", closed=True)
        wide = 6.4 * len(mark.name)
        at = min(max(x, edge + wide / 2 + 6), frame.right - wide / 2)
        pen.text((at, y - 14), mark.name, size=12, anchor="middle")
        edge = at + wide / 2
    if growth.today and frame.holds(growth.today.total):
        x = frame.x(growth.today.total)
        pen.line((x, 40), (x, frame.ground + 8), "plumb")
        _flag_words(frame, x, 38, "today")
    if growth.due and frame.holds(growth.due.total):
        x = frame.x(growth.due.total)
        pen.line((x, frame.ground), (x, 6), "accent pole")
        pen.path([(x, 6), (x + 20, 13), (x, 20)], "accent-fill", closed=True)
        day = f" {_day(growth.due.on)}" if growth.due.on else ""
        _flag_words(frame, x, 17, f"look due{day}", flag=22)


def _flag_words(frame: _Frame, x: float, y: float, words: str, flag: float = 4) -> None:
    fits = x + flag + 6.7 * len(words) < frame.pen.width - 2
    frame.pen.text((x + flag if fits else x - 5, y), words, size=12.5, anchor="start" if fits else "end")


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _count(total: float) -> str:
    return grouped(total)


# In words -------------------------------------------------------------------------------------------------------------


def growth_words(growth: Growth) -> list[str]:
    """What the drawing shows, a sentence each: first what is wrong, then what is due, then the figures."""
    words = [f"No growth can be given: {growth.problem}"] if growth.problem else []
    words += _warning(growth)
    words += _due_words(growth)
    words += _reach_words(growth)
    if growth.measured:
        said = [f"{mm(p.mm)} mm at {_count(p.total)} on {_day(p.on)}" for p in growth.measured]
        words.append(f"Measured {_times(len(said))}, in mm deep at {growth.unit}: " + "; ".join(said))
    else:
        words.append("No size of this crack is known")
    if growth.left_out:
        were = "measurement has" if growth.left_out == 1 else "measurements have"
        words.append(f"{growth.left_out} {were} no depth or length and could not be used")
    return [*words, *growth.notes]


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _due_words(growth: Growth) -> list[str]:
    if growth.due is None:
        return []
    day = f", {_day(growth.due.on)} by the early forecast" if growth.due.on else ", beyond the days that are forecast"
    return [f"By its own growth the next look is due at {_count(growth.due.total)} {growth.unit}{day}"]


def _reach_words(growth: Growth) -> list[str]:
    if growth.critical_mm is None:
        return []
    if not growth.reaches:
        return [f"Critical is {mm(growth.critical_mm)} mm"]
    each = [f"{m.name} {_count(m.total)}" + (f" ({_day(m.on)})" if m.on else "") for m in growth.reaches]
    return [
        f"The fitted growth reaches the critical {mm(growth.critical_mm)} mm at {growth.unit}: {', '.join(each)}; one "
        "crack in ten is there before the early edge, one in ten after the late one"
    ]


def _warning(growth: Growth) -> list[str]:
    """Where the early edge lies behind: what may be so already."""
    last = max((point.total for point in growth.measured), default=None)
    early = next((mark for mark in growth.reaches if mark.name == "early"), None)
    if early and last is not None and early.total <= last:
        return ["By the early edge it may have been critical already when it was last measured"]
    if early and growth.today and early.total <= growth.today.total:
        return ["By today's count the early edge is passed: it may be critical already"]
    return []
