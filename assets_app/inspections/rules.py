"""How grave a finding is: one function over one table (``severity.toml``). Pure: no database, no clock.

Never milder for more: a larger size, a single load path, another bolt lost or more of the growth window used can only
raise the answer. What is not known is never read as harmless.
"""

from __future__ import annotations

import math
import tomllib
from functools import cache
from pathlib import Path

from assets_app.inspections.kinds import KINDS, LOST
from assets_app.inspections.models import SEVERITY_ORDER, Severity
from engineering import tables
from engineering.errors import InputError, non_negative
from engineering.tables import Table

GRAVE = (Severity.REPAIR_BEFORE_USE.value, Severity.HOLD_NOW.value)  # cannot be put off
NO_SOURCE = "common practice, no source"
Answer = tuple[str, str]  # severity, reason in words


@cache
def shipped_table() -> Table:
    """The table beside this file, checked."""
    text = Path(__file__).with_name("severity.toml").read_text(encoding="utf-8")
    return tables.build("severity", tomllib.loads(text))


def worst(*severities: str) -> str:
    """The gravest of some severities."""
    return max(severities, key=SEVERITY_ORDER.__getitem__)


def is_graver(one: str, other: str) -> bool:
    return SEVERITY_ORDER[one] > SEVERITY_ORDER[other]


def severity(
    kind: str,
    *,
    is_crack: bool,
    single_load_path: bool,
    accepted: bool | None = None,
    excess_ratio: float | None = None,
    window_used: float | None = None,
    bolts_lost: int = 0,
    bolt_count: int | None = None,
    bolt_rise: float | None = None,
    bolt_use: float | None = None,
    gap_mm: float | None = None,
    table: Table | None = None,
) -> Answer:
    """Severity of one finding and the reason in words.

    Args:
        kind: ISO 6520-1 number or a word for bolts (``kinds.KINDS``).
        is_crack: any crack on a single load path is ``hold now``, any other at least ``repair before use``.
        single_load_path: unknown counts as single (``Joint.is_single_load_path``).
        accepted: against the acceptance limit; None (cannot be judged) is never below ``plan repair``, and a crack-like
            kind that cannot be judged is taken as not accepted.
        excess_ratio: size over the size allowed, from 1; None where there is no figure (then the worst row holds).
        window_used: share of the growth window that the crack has used; None is not known: never a relief.
        bolts_lost: bolts missing, broken or loose in the whole group, those found earlier too.
        bolt_count: bolts in the group; None is not known.
        bolt_rise: worst load on a remaining bolt over that of the intact group (``bolts.rise``); inf cannot carry.
        bolt_use: worst load on a remaining bolt over its design resistance, where the load is known.
        gap_mm: opening between faces, mm; None is not measured (then the worst row holds).
        table: an office's own table; None takes the shipped one.

    Raises:
        InputError: unknown kind, or a figure that is not a number or negative.
    """
    if kind not in KINDS:
        raise InputError("kind", f"no kind {kind!r} is known", code="unknown_row")
    for name, value in (("excess_ratio", excess_ratio), ("window_used", window_used), ("gap_mm", gap_mm)):
        if value is not None and not math.isinf(value):
            non_negative(name, value)
    read = _Reader(table or shipped_table(), single_load_path)
    if is_crack:
        return _crack(read, single_load_path, window_used)
    if kind in LOST:
        return _bolts(read, kind, bolts_lost, bolt_count, bolt_rise, bolt_use)
    if kind == "gap":
        return read.step("gap", gap_mm, _gap_words(gap_mm))
    if kind == "movement":
        return read.step("movement", 0.0, "The parts have moved on each other: the preload is lost or going")
    return _imperfection(read, kind, accepted, excess_ratio)


class _Reader:
    """Looks a value up in the table for one kind of load path."""

    def __init__(self, table: Table, single_load_path: bool) -> None:
        self.column = "single" if single_load_path else "multiple"
        self.path = "on a single load path" if single_load_path else "with more than one load path"
        self.table = table

    def step(self, measure: str, value: float | None, words: str) -> Answer:
        """The row reached by ``value``; None reaches the last one."""
        rows = [row for row in self.table.rows.values() if row["measure"] == measure]
        reached = rows if value is None else [row for row in rows if row["from"] <= value] or rows[:1]
        row = reached[-1]
        return str(row[self.column]), f"{words}, {self.path} ({row.status}{_sourced(row.status)})."


def _sourced(status: str) -> str:
    return ", no source" if status == tables.COMMON_PRACTICE else ""


def _crack(read: _Reader, single: bool, window_used: float | None) -> Answer:
    if single:
        return Severity.HOLD_NOW.value, "A crack on a single load path: nothing else carries if it runs."
    used = 0.0 if window_used is None else window_used
    words = "A crack; its share of the growth window is not known"
    if window_used is not None:
        words = f"A crack that has used {window_used:.0%} of its growth window"
    answer, reason = read.step("window", used, words)
    return answer, f"{reason} Until an engineer signs an assessment that ends inside the growth window."


def _imperfection(read: _Reader, kind: str, accepted: bool | None, ratio: float | None) -> Answer:
    name = KINDS[kind].words
    planar = KINDS[kind].is_planar
    if accepted:
        return Severity.RECORD.value, f"{name.capitalize()} within the limit."
    known = ratio is not None and not math.isinf(ratio)
    size = f"{ratio:.2g} times the size allowed" if known else "no size is allowed, or the limit is not known"
    if planar:
        head = "beyond the limit" if accepted is False else "that cannot be judged, taken as beyond the limit"
        return read.step("planar", ratio, f"Crack-like: {name} {head}")
    if accepted is None:
        return read.step("unknown", 0.0, f"Whether {name} is within the limit cannot be judged")
    if KINDS[kind].measure == "angle":
        return read.step("angle", 0.0, f"{name.capitalize()} beyond the limit")
    words = f"{name.capitalize()} beyond the limit ({size})"
    return read.step("excess", ratio, words)


def _bolts(read: _Reader, kind: str, lost: int, count: int | None, rise: float | None, use: float | None) -> Answer:
    if lost < 1:
        raise InputError("bolts_lost", f"a bolt {kind} is at least one, got {lost}")
    of = f"{lost} of {count} bolts" if count else f"{lost} {'bolt' if lost == 1 else 'bolts'}"
    answers = [read.step("lost", lost, f"{of} lost")]
    if rise is not None:
        words = "what remains cannot carry" if math.isinf(rise) else f"the worst load on the rest is {rise:.2f} times"
        answers.append(read.step("rise", rise, f"{of} lost: {words}"))
    if use is not None:
        words = "what remains cannot carry the load given"
        if not math.isinf(use):
            words = f"the worst of the rest is used to {use:.0%}"
        answers.append(read.step("use", use, f"{of} lost: {words}"))
    if rise is None:  # where they stand is not known: the count rule
        share = lost / count if count else None
        answers.append(read.step("share", share, f"{of} lost, and where they stand is not known"))
    if kind == "broken":
        words = f"A bolt broke: the others have seen the same ({NO_SOURCE})."
        answers.append((Severity.REPAIR_BEFORE_USE.value, words))
    return max(reversed(answers), key=lambda answer: SEVERITY_ORDER[answer[0]])  # of equals the one that says most


def _gap_words(gap_mm: float | None) -> str:
    opening = "not measured" if gap_mm is None else f"{gap_mm:g} mm"
    return f"The faces have opened ({opening}): the bolts there carry more and clamp less"
