"""The life line of a joint: looks, sizes, the growth window, today and the due date on one time axis.

Plain data in, a drawing and its words out. Dates are days on the site's clock, sizes crack depths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from assets_app.register.pen import Drawing, Pen, mm
from schedules.due.time_axis import TimeAxis, axis, ticks


class Look(NamedTuple):
    """One look that counts; ``found`` where it wrote a finding."""

    on: date
    method: str
    found: bool


class Size(NamedTuple):
    """A measured crack depth in mm."""

    on: date
    mm: float


class Band(NamedTuple):
    """The fitted growth on one day, mm: low edge, middle, high edge (infinite: one in ten has run away)."""

    on: date
    low: float
    middle: float
    high: float


class Window(NamedTuple):
    """From the day a crack can be found to the day it is critical, with both depths in mm."""

    opens: date
    closes: date
    detectable_mm: float
    critical_mm: float


class Stake(NamedTuple):
    """A day and the limit that sets it."""

    on: date
    limit: str


Span = tuple[date, date]
FURTHER = 2.5  # a next limit more than this many times further than the rest is named at the edge, not drawn to scale


@dataclass(frozen=True)
class LifeLine:
    """Everything the drawing shows of one joint and method.

    ``due`` and ``next`` may be None (not limited, or unrated); ``missing`` says in words why there is no window.
    ``closed`` are the spans out of season, ``holds`` the spans the joint was held; both ends belong to a span.
    """

    today: date
    commissioned: date | None = None
    method: str = ""
    looks: Sequence[Look] = ()
    sizes: Sequence[Size] = ()
    band: Sequence[Band] = ()
    window: Window | None = None
    due: Stake | None = None
    next: Stake | None = None
    closed: Sequence[Span] = ()
    holds: Sequence[Span] = ()
    missing: str = ""
    unprotected: bool = False

    @property
    def overdue_days(self) -> int:
        return max((self.today - self.due.on).days, 0) if self.due else 0


def _time(life: LifeLine, left: float, right: float) -> TimeAxis:
    """From commissioning, or the first thing known, to a little beyond the last day that matters."""
    past = [look.on for look in life.looks] + [size.on for size in life.sizes] + [life.today]
    first = min([*past, life.commissioned] if life.commissioned else past)
    ahead = [life.today] + ([life.due.on] if life.due else [])
    if life.window:
        ahead.append(life.window.closes)
    nearest = [life.today] + ([life.due.on] if life.due else [])
    if life.looks:
        nearest.append(max(look.on for look in life.looks))
    if life.sizes:
        nearest.append(min(size.on for size in life.sizes))
    near = min(nearest)
    if life.next and (life.next.on - near).days <= FURTHER * max((max(ahead) - near).days, 60):
        ahead.append(life.next.on)
    last = min(max(ahead), life.today + timedelta(days=365 * 40))
    near -= timedelta(days=max((last - near).days // 12, 10))
    last += timedelta(days=max((last - near).days // 10, 20))
    return axis(first, near, last, left=left, right=right)


# Large ----------------------------------------------------------------------------------------------------------------


class _Frame(NamedTuple):
    """Where things stand on the large drawing: axis, top of the size scale, and the size there in mm."""

    pen: Pen
    line: TimeAxis
    ground: float
    top: float
    top_mm: float
    narrow: bool

    def y(self, size_mm: float) -> float:
        return self.ground - (self.ground - self.top) * min(size_mm / self.top_mm, 1.06)


def life_line(life: LifeLine, *, name: str = "joint", narrow: bool = False) -> Drawing:
    """The large life line, 960 x 220 px, or 360 x 250 for a phone."""
    width, height = (360.0, 250.0) if narrow else (960.0, 220.0)
    pen = Pen(width, height)
    critical = life.window.critical_mm if life.window else 0.0
    tops = [critical, *(size.mm for size in life.sizes), *(point.middle for point in life.band)]
    top_mm = max(tops) or 1.0
    frame = _Frame(pen, _time(life, 14, width - 14), height - 74, 66, top_mm, narrow)
    _closed_and_held(frame, life)
    _window(frame, life)
    _growth(frame, life)
    _scale_of_time(frame, life)
    _looks(frame, life)
    _today(frame, life)
    _stakes(frame, life)
    _no_window(frame, life)
    words = life_words(life)
    return Drawing(pen.svg(f"Life line of {name}", words, "life-line"), words)


def _closed_and_held(frame: _Frame, life: LifeLine) -> None:
    for first, last in life.closed:
        left, right = frame.line.x(first), frame.line.x(last)
        frame.pen.hatch(left, frame.ground + 2, right - left, 10, step=5)
    for first, last in life.holds:
        left, right = frame.line.x(first), frame.line.x(last)
        frame.pen.line((left, frame.ground), (max(right, left + 2), frame.ground), "grave bar")


def _window(frame: _Frame, life: LifeLine) -> None:
    """The wedge: opens at the size the method can find, ends at critical. The curve between is schematic."""
    pen, line, window = frame.pen, frame.line, life.window
    if window is None or window.detectable_mm >= window.critical_mm:
        return
    x0, x1 = line.x(window.opens), line.x(window.closes)
    edge = []
    for k in range(25):
        share = k / 24
        size = window.detectable_mm * (window.critical_mm / window.detectable_mm) ** share
        edge.append((x0 + (x1 - x0) * share, frame.y(size)))
    pen.path([(x0, frame.ground), *edge, (x1, frame.ground)], "window", closed=True)
    pen.line((x0 - 8, frame.y(window.detectable_mm)), (x0, frame.y(window.detectable_mm)), "thin")
    pen.line((line.left, frame.y(window.critical_mm)), (line.right, frame.y(window.critical_mm)), "faint")
    found = f"{life.method or 'method'} finds {mm(window.detectable_mm)} mm"
    _label(frame, x0, frame.y(window.detectable_mm) - 9, found, aside=6)
    _label(frame, x1, frame.y(window.critical_mm) - 5, f"critical {mm(window.critical_mm)} mm", prefer="end")


def _no_window(frame: _Frame, life: LifeLine) -> None:
    """Where there is no wedge: why, over everything else."""
    if life.window and life.window.detectable_mm < life.window.critical_mm:
        return
    words = "no growth window"
    if life.unprotected:
        words = f"{life.method} finds nothing below the critical size: this joint is not protected by it"
    elif life.missing:
        words = f"unrated: {life.missing}"
    middle = (frame.top + frame.ground) / 2 - 6
    for row, piece in enumerate(_wrapped(words, 44 if frame.narrow else 58)):
        frame.pen.text((frame.line.left + 2, middle + 16 * row), piece, size=13, look="strong")


def _wrapped(words: str, room: int) -> list[str]:
    rows: list[str] = [""]
    for word in words.split():
        if rows[-1] and len(rows[-1]) + 1 + len(word) > room:
            rows.append("")
        rows[-1] = f"{rows[-1]} {word}".strip()
    return rows


def _growth(frame: _Frame, life: LifeLine) -> None:
    """The fitted band behind, the measured sizes before it."""
    points = [point for point in life.band if frame.line.holds(point.on)]
    if len(points) > 1:
        upper = [(frame.line.x(p.on), frame.y(p.high)) for p in points]
        lower = [(frame.line.x(p.on), frame.y(p.low)) for p in reversed(points)]
        frame.pen.path(upper + lower, "band", closed=True)
        frame.pen.path([(frame.line.x(p.on), frame.y(p.middle)) for p in points], "fit")
    for size in life.sizes:
        x, y = frame.line.x(size.on), frame.y(size.mm)
        frame.pen.line((x, frame.ground), (x, y), "faint")
        frame.pen.circle((x, y), 3.5, "solid")
    if life.sizes:
        last = max(life.sizes)
        _label(frame, frame.line.x(last.on), frame.y(last.mm) - 8, f"{mm(last.mm)} mm", prefer="end")


def _scale_of_time(frame: _Frame, life: LifeLine) -> None:
    pen, line, ground = frame.pen, frame.line, frame.ground
    broken = line.broken_at
    if broken is None:
        pen.line((line.left, ground), (line.right, ground), "wide")
    else:
        pen.line((line.left, ground), (broken - 4, ground), "wide")
        pen.line((broken + 4, ground), (line.right, ground), "wide")
        for dx in (-4, 4):
            pen.path([(broken + dx - 3, ground + 7), (broken + dx + 3, ground - 7)], "thin strong-line")
    for day, words in ticks(line, room=40 if frame.narrow else 46):
        x = line.x(day)
        pen.line((x, ground + 12), (x, ground + 17), "thin")
        if broken is None or abs(x - broken) > 8:
            pen.text((x, ground + 30), words, size=12, anchor="middle" if x > 30 else "start", look="soft")
    if life.commissioned and line.x(life.today) - line.left > 150:
        pen.text((line.left, ground + 48), f"since {_day(life.commissioned)}", size=12, look="soft")


def _looks(frame: _Frame, life: LifeLine) -> None:
    """Ticks with a ring (nothing found) or a disc (finding); the last one carries its method."""
    for look in life.looks:
        x = frame.line.x(look.on)
        frame.pen.line((x, frame.ground), (x, frame.ground - 14), "wide")
        frame.pen.circle((x, frame.ground - 17), 3.6, "solid" if look.found else "hollow ring")
    if life.looks and not life.sizes:
        last = max(life.looks)
        _label(
            frame, frame.line.x(last.on), frame.ground - 26, f"{last.method} {_day(last.on)}", prefer="end", aside=-4
        )


def _today(frame: _Frame, life: LifeLine) -> None:
    """A plumb line: the cord from the top, the bob under the axis."""
    x, foot = frame.line.x(life.today), frame.ground + 36
    frame.pen.line((x, 34), (x, foot), "plumb")
    frame.pen.path([(x - 4, foot), (x + 4, foot), (x, foot + 10)], "solid", closed=True)
    _label(frame, x, foot + 12, f"today {_day(life.today)}", aside=8)


def _stakes(frame: _Frame, life: LifeLine) -> None:
    """The due date as a flag on its limit, the next limit as a lighter one behind and lower."""
    pen, ground = frame.pen, frame.ground
    if life.next and frame.line.holds(life.next.on):
        x = frame.line.x(life.next.on)
        pen.line((x, ground), (x, 32), "thin")
        pen.path([(x, 32), (x + 14, 37), (x, 42)], "thin", closed=True)
        _label(
            frame, x, 46, f"then {life.next.limit} {_day(life.next.on)}", prefer="end", aside=5, flag=12, look="soft"
        )
    elif life.next:
        _label(frame, frame.line.right, 46, f"then {life.next.limit} {_day(life.next.on)} →", prefer="end", look="soft")
    if life.due is None:
        return
    x, late = frame.line.x(life.due.on), life.overdue_days > 0
    if late:
        today = frame.line.x(life.today)
        pen.line((x, ground), (today, ground), "late bar")
    pen.line((x, ground), (x, 6), "late pole" if late else "accent pole")
    pen.path([(x, 6), (x + 20, 13), (x, 20)], "late-fill" if late else "accent-fill", closed=True)
    state = f"overdue by {life.overdue_days} day{'s' if life.overdue_days != 1 else ''}" if late else "due"
    words = f"{state} {_day(life.due.on)}: {life.due.limit}" if not late else f"{state}: {life.due.limit}"
    rows = words.split(": ") if frame.narrow else [words]
    for row, piece in enumerate(rows):
        side = "start" if x < 0.55 * pen.width else "end"
        _label(frame, x, (12 if frame.narrow else 17) + 14 * row, piece, prefer=side, aside=5, flag=20)


def _label(
    frame: _Frame,
    x: float,
    y: float,
    words: str,
    *,
    prefer: str = "start",
    aside: float = 0,
    flag: float = 0,
    look: str = "",
) -> None:
    """Words ``aside`` px from ``x`` (past a flag of some width at its right), on the side where they fit the paper."""
    length = 6.7 * len(words)
    if prefer == "end" and x - aside - length < 2:
        prefer = "start"
    elif prefer == "start" and x + aside + flag + length > frame.pen.width - 2 and x - aside - length >= 2:
        prefer = "end"
    at = x + aside + flag if prefer == "start" else x - aside
    frame.pen.text((at, y), words, size=12.5, anchor=prefer, look=look)


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


# Small ----------------------------------------------------------------------------------------------------------------


def small_life_line(life: LifeLine) -> Drawing:
    """120 x 24 px for a table row: looks, wedge, today's plumb line and the flag."""
    pen = Pen(120, 24)
    line = _time(life, 3, 113)
    ground = 18.0
    for first, last in life.closed:
        if line.holds(last) or line.holds(first):
            pen.rect(line.x(first), ground + 1, line.x(last) - line.x(first), 3, "closed")
    window = life.window
    if window and window.detectable_mm < window.critical_mm:
        x0, x1 = line.x(window.opens), line.x(window.closes)
        low = 13 * window.detectable_mm / window.critical_mm
        curve = [(x0, ground - low), (x0 + 0.6 * (x1 - x0), ground - low - 0.3 * (13 - low)), (x1, ground - 13)]
        pen.path([(x0, ground), *curve, (x1, ground)], "window", closed=True)
    rated = window is not None or not life.missing
    pen.line((line.left, ground), (line.right, ground), "wide" if rated else "guess")
    for look in life.looks:
        x = line.x(look.on)
        pen.line((x, ground), (x, ground - 4), "thin strong-line")
        pen.circle((x, ground - 6), 1.8 if len(life.looks) < 7 else 1.4, "solid" if look.found else "hollow fine")
    pen.line((line.x(life.today), 3), (line.x(life.today), 24), "plumb")
    if life.due:
        _small_flag(pen, line, life, ground)
    words = life_words(life)
    return Drawing(pen.svg("Life line", words, "life-line small"), words)


def _small_flag(pen: Pen, line: TimeAxis, life: LifeLine, ground: float) -> None:
    if life.due is None:
        return
    x, late = line.x(life.due.on), life.overdue_days > 0
    if late:
        pen.line((x, ground), (line.x(life.today), ground), "late bar")
    pen.line((x, ground), (x, 1), "late" if late else "accent")
    pen.path([(x, 1), (x + 7, 4), (x, 7)], "late-fill" if late else "accent-fill", closed=True)


# In words -------------------------------------------------------------------------------------------------------------


def life_words(life: LifeLine) -> list[str]:
    """What the drawing shows, a sentence each, the due date first."""
    words = []
    if life.due and life.overdue_days:
        words.append(f"Overdue by {life.overdue_days} days, due {_day(life.due.on)}, {life.due.limit} governs")
    elif life.due:
        words.append(f"Due {_day(life.due.on)}, {life.due.limit} governs")
    else:
        words.append("No due date")
    if life.next:
        words.append(f"Then {_day(life.next.on)} by {life.next.limit}")
    words += _window_words(life)
    words.append(_looks_words(life))
    if life.sizes:
        words.append("Measured: " + ", ".join(f"{mm(s.mm)} mm on {_day(s.on)}" for s in sorted(life.sizes)))
    if life.band:
        last = max(life.band)
        upper = f"to {mm(last.high)} mm" if last.high < float("inf") else "mm to broken"
        words.append(f"Fitted growth, 80 % band: by {_day(last.on)} from {mm(last.low)} {upper}")
    if life.commissioned:
        words.append(f"In service since {_day(life.commissioned)}")
    words += [f"Held from {_day(first)} to {_day(last)}" for first, last in life.holds]
    return words


def _window_words(life: LifeLine) -> list[str]:
    if life.unprotected:
        return [f"Unprotected: {life.method} finds nothing below the critical size"]
    if life.window is None:
        return [f"Unrated: {life.missing}"] if life.missing else []
    w = life.window
    return [
        f"Growth window from {_day(w.opens)}, {life.method} can find {mm(w.detectable_mm)} mm, to {_day(w.closes)}, "
        f"critical {mm(w.critical_mm)} mm"
    ]


def _looks_words(life: LifeLine) -> str:
    if not life.looks:
        return "No look recorded"
    last = max(life.looks)
    found = "a finding" if last.found else "nothing found"
    count = f"{len(life.looks)} look{'s' if len(life.looks) != 1 else ''}"
    return f"{count}, the last {_day(last.on)} by {last.method}: {found}"
