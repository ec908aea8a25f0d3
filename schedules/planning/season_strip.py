"""The season strip: week by week, the work owed against the hands there, with the closed season and what is overdue.

Plain data in, a drawing and its words out. Work and hands are counted alike, in the season's own unit a week.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from assets_app.doors.kept import Kept
from assets_app.register.pen import Drawing, Pen
from engineering.figures import grouped
from schedules.due.time_axis import MONTHS

ToPx = Callable[[float], float]


@dataclass(frozen=True)
class Week:
    """One week from its Monday: work owed, how many looks that is, hands (None: not known), share of days closed."""

    monday: date
    owed: float
    looks: int
    hands: float | None = None
    closed_share: float = 0.0
    more: bool = False  # counted no further: at least so many

    @property
    def short(self) -> float:
        """How much more is owed than hands are there; 0 where the hands are not known."""
        return max(self.owed - self.hands, 0.0) if self.hands is not None else 0.0


@dataclass(frozen=True)
class Season:
    """The weeks from this one on, and the stack of what is overdue, which stands at the left edge for good."""

    weeks: Sequence[Week]
    overdue_looks: int = 0
    overdue_owed: float = 0.0
    unit: str = "h"
    more_overdue: bool = False  # counted no further


_drawn: Kept[Drawing] = Kept(64)  # about 10 KB each


def season_strip(season: Season, *, narrow: bool = False) -> Drawing:
    """960 x 150 px, or 360 x 170 for a phone. Bars are work owed, the stepped line is the hands there."""
    return _drawn.of((replace(season, weeks=tuple(season.weeks)), narrow), lambda: _draw(season, narrow=narrow))


def _draw(season: Season, *, narrow: bool) -> Drawing:
    width, height = (360.0, 170.0) if narrow else (960.0, 150.0)
    pen = Pen(width, height)
    ground, top = height - 40, 26.0
    edge = 66.0 if narrow else 92.0
    overdue = 0.0 if season.more_overdue else season.overdue_owed  # a stack without a known top has no scale
    full = _round_up(max([1.0, overdue, *(max(w.owed, w.hands or 0) for w in season.weeks)]))

    def y(hours: float) -> float:
        return ground - (ground - top) * hours / full

    _overdue(pen, season, ground, top + 4 if season.more_overdue else y(season.overdue_owed), edge)
    _scale(pen, full, season.unit, y, edge, width)
    step = (width - edge - 4) / max(len(season.weeks), 1)
    for index, week in enumerate(season.weeks):
        x = edge + index * step
        if week.closed_share > 0:
            pen.hatch(x, top, step * week.closed_share, ground - top, step=7)
        if week.owed:
            fits = week.owed - week.short
            pen.rect(x + 1, y(fits), step - 2, ground - y(fits), "owed")
            pen.rect(x + 1, y(week.owed), step - 2, y(fits) - y(week.owed), "short")
        if week.more:
            _goes_on(pen, x, y(week.owed), step)
    _hands(pen, season, y, edge, step)
    pen.line((edge, ground), (width - 4, ground), "wide")
    _months(pen, season, ground, edge, step, room=30 if narrow else 26)
    words = strip_words(season)
    return Drawing(pen.svg("Season strip", words, "season-strip"), words)


def _goes_on(pen: Pen, x: float, top: float, step: float) -> None:
    """An arrowhead over a bar that was counted no further."""
    pen.path([(x + 1, top - 2), (x + step / 2, top - 5), (x + step - 1, top - 2)], "thin")


def _round_up(hours: float) -> float:
    """The next of 1, 2, 3, 4, 5, 6, 8, 10 times a power of ten, so that the scale's figure is a round one."""
    power = 10.0 ** math.floor(math.log10(hours))
    return next(step * power for step in (1, 2, 3, 4, 5, 6, 8, 10) if step * power >= hours)


def _overdue(pen: Pen, season: Season, ground: float, top: float, edge: float) -> None:
    right = edge - 22
    pen.line((4, ground), (right, ground), "wide")
    if season.overdue_looks:
        count = f"{season.overdue_looks:d}{'+' if season.more_overdue else ''}"
        pen.rect(10, top, right - 16, ground - top, "short heavy")
        size = 15 if len(count) < 5 or edge > 80 else 12
        pen.text((10, min(top, ground - 20) - 6), count, size=size, look="strong")
        if season.more_overdue:
            pen.path([(10, top + 6), ((right - 6) / 2 + 2, top + 1), (right - 6, top + 6)], "thin strong-line")
    else:
        pen.text((10, ground - 6), "none", size=12, look="soft")
    pen.text((4, ground + 16), "overdue", size=12, look="strong" if season.overdue_looks else "soft")


def _scale(pen: Pen, full: float, unit: str, y: ToPx, edge: float, width: float) -> None:
    pen.line((edge, y(full)), (width - 4, y(full)), "faint")
    pen.text((edge, y(full) - 6), f"{full:g} {unit} a week", size=12, look="soft")


def _hands(pen: Pen, season: Season, y: ToPx, edge: float, step: float) -> None:
    """The stepped line of hands; broken where they are not known."""
    run: list[tuple[float, float]] = []
    for index, week in enumerate([*season.weeks, None]):
        if week is None or week.hands is None:
            if run:
                pen.path(run, "hands")
            run = []
            continue
        x = edge + index * step
        run += [(x, y(week.hands)), (x + step, y(week.hands))]


def _months(pen: Pen, season: Season, ground: float, edge: float, step: float, *, room: float) -> None:
    previous = -1e9
    for index, week in enumerate(season.weeks):
        first = _first_of_month_in(week.monday)
        x = edge + index * step
        if index == 0:
            pen.text((x, ground + 32), "this week", size=12, look="soft")
        if first is None:
            continue
        pen.line((x, ground), (x, ground + 5), "thin")
        if x - previous >= room:
            previous = x
            words = MONTHS[first.month - 1] if first.month > 1 else f"{first.year}"
            pen.text((x, ground + 17), words, size=12, look="soft")


def _first_of_month_in(monday: date) -> date | None:
    days = (monday + timedelta(days=k) for k in range(7))
    return next((day for day in days if day.day == 1), None)


def strip_words(season: Season) -> list[str]:
    """What the strip shows, in sentences."""
    more = "More than " if season.more_overdue else ""
    words = [f"{more}{grouped(season.overdue_looks)} overdue" if season.overdue_looks else "Nothing is overdue"]
    near = season.weeks[:4]
    looks = sum(week.looks for week in near)
    more = "More than " if any(week.more for week in near) else ""
    words.append(f"{more}{grouped(looks)} look{'' if looks == 1 else 's'} owed in the next {len(near)} weeks")
    full = [week for week in season.weeks if week.more]
    if full:
        most = max(week.looks for week in full)
        words.append(f"A week is counted up to {most:d} looks; {len(full)} of {len(season.weeks)} weeks owe more")
    if season.weeks and all(week.hands is None for week in season.weeks):
        words.append("Hands are not known: no crew is entered, so nothing shows whether the work fits")
    short = [week for week in season.weeks if week.short > 0]
    if short:
        worst = max(short, key=lambda week: week.short)
        words.append(
            f"More owed than hands in {len(short)} of {len(season.weeks)} weeks; the worst from "
            f"{_day(worst.monday)}: {worst.owed:.0f} {season.unit} owed, {worst.hands:.0f} there"
        )
    closed = [week for week in season.weeks if week.closed_share >= 0.5]
    if closed:
        words.append(f"Closed season from the week of {_day(closed[0].monday)}, {len(closed)} weeks in all")
    return words


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"
