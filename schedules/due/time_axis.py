"""A time axis on paper: linear, or drawn in two scales with a break where a long past would squeeze what is to come."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

FAR_SHARE = 0.32  # of the width, for the past before the break
LONG_PAST = 1.6  # the past is drawn shorter where it is this many times longer than the rest
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class Stretch:
    """Days ``first`` to ``last`` drawn from ``left`` to ``right`` px."""

    first: date
    last: date
    left: float
    right: float

    @property
    def px_per_day(self) -> float:
        return (self.right - self.left) / max((self.last - self.first).days, 1)


@dataclass(frozen=True)
class TimeAxis:
    """One or two stretches; ``broken_at`` is the px where the scale changes, or None."""

    stretches: tuple[Stretch, ...]

    @property
    def broken_at(self) -> float | None:
        return self.stretches[0].right if len(self.stretches) == 2 else None

    @property
    def left(self) -> float:
        return self.stretches[0].left

    @property
    def right(self) -> float:
        return self.stretches[-1].right

    def x(self, day: date) -> float:
        """px of a day; days outside stand at the ends."""
        stretch = self.stretches[-1] if day >= self.stretches[-1].first else self.stretches[0]
        day = min(max(day, stretch.first), stretch.last)
        return stretch.left + (day - stretch.first).days * stretch.px_per_day

    def holds(self, day: date) -> bool:
        return self.stretches[0].first <= day <= self.stretches[-1].last


def axis(first: date, near: date, last: date, *, left: float, right: float) -> TimeAxis:
    """The axis from ``first`` to ``last``; the past before ``near`` may be drawn in a smaller scale."""
    last = max(last, first + timedelta(days=30))
    near = min(max(near, first), last)
    far_days, near_days = (near - first).days, max((last - near).days, 1)
    if far_days <= LONG_PAST * near_days:
        return TimeAxis((Stretch(first, last, left, right),))
    middle = left + FAR_SHARE * (right - left)
    return TimeAxis((Stretch(first, near, left, middle), Stretch(near, last, middle, right)))


def ticks(line: TimeAxis, *, room: float = 46.0) -> Iterator[tuple[date, str]]:
    """First days of years or months with their words, at least ``room`` px apart."""
    previous = -1e9
    for stretch in line.stretches:
        step = next((m for m in (1, 3, 6, 12, 24, 60, 120, 240) if m * 30.4 * stretch.px_per_day >= room), 480)
        for day in _month_firsts(stretch.first, stretch.last, step):
            if line.x(day) - previous >= room * 0.9 and line.x(day) <= line.right - 4:
                previous = line.x(day)
                yield day, str(day.year) if day.month == 1 else MONTHS[day.month - 1]


def _month_firsts(first: date, last: date, step: int) -> Iterator[date]:
    years = max(step // 12, 1)
    year = first.year - first.year % years
    while year <= last.year:
        for month in range(1, 13, step) if step < 12 else (1,):
            day = date(year, month, 1)
            if first <= day <= last:
                yield day
        year += years
