"""A due date in words: why then, what comes next, what is missing. Pure; plain facts in, sentences out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from engineering.figures import grouped


@dataclass(frozen=True)
class Figure:
    """One figure that a date rests on."""

    name: str
    symbol: str
    value: float
    unit: str = ""
    source: str = ""
    status: str = ""  # published | common practice | from memory: to be confirmed | measured | calculated | assumed ...
    caution: str = ""


@dataclass(frozen=True)
class LimitLine:
    """One limit of one programme: its day by the early and the middle forecast, in words, and what is missing."""

    limit: str
    on: date | None
    middle_on: date | None
    sentence: str
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class Facts:
    """What the sentences are made from; ``None``: not known."""

    method: str
    unit: str  # of the counter
    today: date
    due_on: date | None
    governing: str
    on: dict[str, date | None]
    middle_on: dict[str, date | None]
    last_look_on: date | None
    born_on: date | None
    months: int | None
    duty_count: float | None
    duty_source: str
    count_now: float | None
    count_at_look: float | None
    damage_now: float | None
    damage_share: float
    damage_applies: bool
    single_path: bool
    detectable_mm: float | None
    critical_mm: float | None
    window_count: float | None
    looks: int
    silent: bool
    reading_on: date | None
    unprotected_here: bool
    missing: dict[str, list[str]] = field(default_factory=dict)
    finding: str = ""
    owed: dict[str, str] = field(default_factory=dict)  # limit -> why a look is owed once
    excused_until: date | None = None


def day(on: date | None, *, year: bool = True) -> str:
    """``14 June 2026``."""
    if on is None:
        return "no day"
    return f"{on.day} {on:%B}" + (f" {on.year}" if year else "")


def number(value: float | None, digits: int = 3) -> str:
    """A figure with as many digits as it deserves, thousands parted by a gap: ``84 000``, ``1.86``, ``0.231``."""
    if value is None:
        return "unknown"
    if value == 0:
        return "0"
    size = abs(value)
    if size >= 1000:
        return grouped(float(f"{value:.{digits}g}"))
    return f"{value:.{digits}g}" if size >= 1e-3 else f"{value:.{digits - 1}e}"


def why(facts: Facts) -> str:
    """The one sentence beside the date."""
    if not facts.governing:
        return _why_no_date(facts)
    return f"{facts.governing.capitalize()} governs: {_body(facts.governing, facts)}."


def line(limit: str, facts: Facts) -> LimitLine:
    """One limit in words, whether it governs or not."""
    on = facts.on.get(limit)
    missing = tuple(facts.missing.get(limit, ()))
    if on is not None:
        sentence = _body(limit, facts)
    elif missing:
        sentence = "unrated: " + "; ".join(missing)
    elif limit == "growth window" and facts.unprotected_here:
        sentence = _unprotected(facts)
    elif limit == "damage" and not facts.damage_applies:
        sentence = "answered by the more detailed methods that are owed on this joint"
    elif limit == "calendar":
        sentence = "nobody has set a longest time allowed"
    else:
        sentence = "not within 40 years"
    return LimitLine(limit, on, facts.middle_on.get(limit), sentence, missing)


def _why_no_date(facts: Facts) -> str:
    missing = [text for texts in facts.missing.values() for text in texts]
    if missing:
        return "No date can be computed. Missing: " + "; ".join(dict.fromkeys(missing)) + "."
    return "Nothing limits this look within 40 years, and nobody has set a longest time allowed. Set one."


def _body(limit: str, facts: Facts) -> str:
    return {
        "calendar": _calendar,
        "duty": _duty,
        "damage": _damage,
        "growth window": _growth_window,
        "finding": lambda f: f.finding or "an open finding asks for it",
        "measured growth": lambda f: f.owed.get("measured growth", "the measured growth of a finding"),
    }.get(limit, lambda f: f.owed.get(limit, "a look is owed once"))(facts)


def _calendar(facts: Facts) -> str:
    months = f"{facts.months} month{'s' if facts.months != 1 else ''}"
    since = (
        f"last looked at by {facts.method} on {day(facts.last_look_on)}"
        if facts.last_look_on
        else f"never looked at by {facts.method} since {day(facts.born_on)}"
    )
    if facts.last_look_on is None and facts.born_on is None:
        since = f"never looked at by {facts.method}, and nobody has said since when it is in use, so a look is owed now"
    source = f" ({facts.duty_source})" if facts.duty_source else ""
    return f"{since}, at most {months} allowed{source}"


def _duty(facts: Facts) -> str:
    used = None if facts.count_now is None or facts.count_at_look is None else facts.count_now - facts.count_at_look
    source = f" ({facts.duty_source})" if facts.duty_source else ""
    return (
        f"{number(facts.duty_count)} {facts.unit} allowed between looks{source}, {number(used)} used; "
        f"{_pace('duty', facts)}"
    )


def _damage(facts: Facts) -> str:
    if facts.count_now is None or facts.missing.get("damage"):
        missing = facts.missing.get("damage") or ["readings and a forecast of the counter that can be right"]
        return f"not computed, so a look is owed now; missing: {'; '.join(missing)}"
    now = f"{number(facts.damage_now, 2)} of the fatigue life is used"
    if facts.excused_until and facts.on.get("damage") == facts.excused_until:
        return f"{now}; an engineer lets it stand until {day(facts.excused_until)}"
    path = "a single load path" if facts.single_path else "more than one load path"
    owed = (
        f"a first detailed look is owed at {facts.damage_share:g} on {path}"
        if facts.count_at_look is None or not _looked_since_share(facts)
        else "the computed life is used up at 1"
    )
    return f"{now}, {owed}; {_pace('damage', facts)}"


def _looked_since_share(facts: Facts) -> bool:
    """Whether the last look came after the share at which the first detailed look was owed."""
    if facts.damage_now is None or not facts.count_now or facts.last_look_on is None or facts.count_at_look is None:
        return False
    return facts.damage_now * facts.count_at_look / facts.count_now >= facts.damage_share


def _growth_window(facts: Facts) -> str:
    return (
        f"{facts.method} can find {number(facts.detectable_mm, 2)} mm, critical is {number(facts.critical_mm, 2)} mm, "
        f"{number(facts.window_count)} {facts.unit} between, {facts.looks} looks owed; {_pace('growth window', facts)}"
    )


def _unprotected(facts: Facts) -> str:
    return (
        f"no interval of {facts.method} protects this joint: it can find {number(facts.detectable_mm, 2)} mm, "
        f"critical is {number(facts.critical_mm, 2)} mm"
    )


def _pace(limit: str, facts: Facts) -> str:
    on = facts.on.get(limit)
    if on is None:
        return "beyond the horizon"
    if on <= facts.today and facts.reading_on and on <= facts.reading_on:
        return f"the counter passed that on {day(on)}"
    if facts.silent:
        return f"counter not read since {day(facts.reading_on)}, so at its busiest rate that is {day(on)}"
    return f"at this season's pace that is {day(on)}"


def as_list(items: Any) -> str:
    """``a, b and c``."""
    items = [str(item) for item in items]
    return items[0] if len(items) == 1 else ", ".join(items[:-1]) + " and " + items[-1] if items else ""
