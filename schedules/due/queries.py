"""Reads of the due floor: a due date explained."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime

from assets_app.inspections.models import Finding
from engineering import acceptance, detection
from schedules.due import measured_growth, rating_rules, sentences
from schedules.due.models import OwedLook
from schedules.due.rules import LIMITS
from schedules.due.sentences import Figure, LimitLine
from schedules.due.working import WorkedOut, work_out


@dataclass(frozen=True)
class Alternative:
    """Another way to look: what it can find, and how often it would be owed."""

    method: str
    conditions: str
    detectable_mm: float
    count: float  # of the counter, between looks
    days: int | None  # at the pace of the forecast from today
    status: str


@dataclass(frozen=True)
class Explanation:
    """A due date with its reasons."""

    programme_id: int
    method: str
    due_on: date | None
    middle_on: date | None
    governing: str
    sentence: str
    next_limit: str
    next_on: date | None
    lines: tuple[LimitLine, ...]
    moves: tuple[str, ...]
    figures: tuple[Figure, ...]
    assumptions: tuple[str, ...]
    unrated: bool
    unprotected_here: bool
    missing: tuple[str, ...]
    window: tuple[float, float] | None  # detectable and critical depth, mm
    window_opens_on: date | None
    window_closes_on: date | None
    worked: WorkedOut


def explain(programme_id: int, *, now: datetime) -> Explanation:
    """Why the look falls due when it does. Raises ``NotFound`` for a programme that does not count any more."""
    return explain_worked(work_out(programme_id, now=now))


def explain_worked(worked: WorkedOut) -> Explanation:
    """The explanation of anything worked out, on trial or not."""
    facts = _facts(worked)
    rated = worked.rated
    opens, closes = _window_days(worked)
    next_place = int(worked.due.next_limit[worked.row])
    lines = tuple(sentences.line(limit, facts) for limit in _shown_limits(worked, facts))
    return Explanation(
        programme_id=worked.programme.pk,
        method=worked.programme.method,
        due_on=facts.due_on,
        middle_on=worked.day(worked.due.middle),
        governing=facts.governing,
        sentence=sentences.why(facts),
        next_limit=LIMITS[next_place] if next_place >= 0 else "",
        next_on=worked.day(worked.due.next_on),
        lines=lines,
        moves=tuple(_moves(worked, facts)),
        figures=tuple(_figures(worked)),
        assumptions=tuple(_assumptions(worked)),
        unrated=bool(worked.due.unrated[worked.row]),
        unprotected_here=rated.unprotected,
        missing=tuple(dict.fromkeys(text for texts in facts.missing.values() for text in texts)),
        window=None
        if rated.critical_mm is None or rated.detectable_mm is None
        else (rated.detectable_mm, rated.critical_mm),
        window_opens_on=opens,
        window_closes_on=closes,
        worked=worked,
    )


def alternatives(worked: WorkedOut) -> list[Alternative]:
    """Every method and condition that would protect this joint at its access, the longest interval first."""
    tried = [
        replace(worked.facts, method=method, conditions=conditions)
        for method in detection.METHODS
        for conditions in ("good", "normal", "poor")
    ]
    found = []
    for facts, rated in zip(tried, rating_rules.rate(tried), strict=True):
        if rated.window_count is None or rated.detectable_mm is None:
            continue
        count = rated.window_count / rated.looks
        found.append(
            Alternative(
                method=facts.method,
                conditions=facts.conditions,
                detectable_mm=rated.detectable_mm,
                count=count,
                days=_days_for(worked, count),
                status=str(rated.inputs.get("detectable_status", "")),
            )
        )
    return sorted(found, key=lambda each: -each.count)


def _facts(worked: WorkedOut) -> sentences.Facts:
    programme, rated = worked.programme, worked.rated
    missing: dict[str, list[str]] = {}
    for item in rated.missing:
        missing.setdefault(item.limit, []).append(f"{item.figure} ({item.to_do})")
    if worked.curve is None:
        reading = "counter reading (post one: nothing can be forecast before)"
        for limit, wanted in (
            ("duty", programme.duty_count),
            ("damage", rated.damage_per_count),
            ("growth window", rated.window_count),
        ):
            if wanted is not None:
                missing.setdefault(limit, []).append(reading)
    on = {limit: worked.day(worked.due.on[limit]) for limit in LIMITS}
    middle = dict.fromkeys(LIMITS, None) | {worked.governing: worked.day(worked.due.middle)}
    return sentences.Facts(
        method=programme.method,
        unit=worked.curve.unit if worked.curve else "counts",
        today=worked.today,
        due_on=worked.due_on,
        governing=worked.governing,
        on=on,
        middle_on=middle,
        last_look_on=programme.last_look_on,
        born_on=worked.day(worked.read["commissioned"]),
        months=int(worked.read["calendar_months"][worked.row]) or None,
        duty_count=_none_if_nan(worked.read["duty_count"][worked.row]),
        duty_source=programme.source,
        count_now=worked.count_now,
        count_at_look=worked.look_total,
        damage_now=worked.damage_now,
        damage_share=rated.damage_share,
        damage_applies=bool(worked.owed.damage_applies[worked.row]),
        single_path=worked.facts.single_path,
        detectable_mm=rated.detectable_mm,
        critical_mm=rated.critical_mm,
        window_count=rated.window_count,
        looks=rated.looks,
        silent=bool(worked.curve and worked.curve.silent),
        reading_on=worked.curve.reading_on if worked.curve else None,
        unprotected_here=rated.unprotected,
        missing=missing,
        finding=_finding_words(worked) if on["finding"] else "",
        owed=_owed_words(worked) | {"measured growth": measured_growth.words_of(worked.programme.joint_id)},
        excused_until=worked.day(worked.owed.damage_excused_until),
    )


def _shown_limits(worked: WorkedOut, facts: sentences.Facts) -> list[str]:
    """Limits that say something here: those with a day, those unrated, and the three that are computed."""
    always = {"calendar", "damage"} | (
        {"growth window"} if worked.facts.kind == "weld" and worked.facts.method != "BC" else set()
    )
    shown = [limit for limit in LIMITS if facts.on[limit] or facts.missing.get(limit) or limit in always]
    return sorted(shown, key=lambda limit: (facts.on[limit] is None, facts.on[limit] or date.max))


def _window_days(worked: WorkedOut) -> tuple[date | None, date | None]:
    """When a crack just missed at the last look could be found, and when it would be critical (early forecast)."""
    if worked.rated.window_count is None or worked.curve is None or worked.look_total is None:
        return None, None
    opens = worked.programme.last_look_on or worked.day(worked.read["commissioned"])
    return opens, worked.curve.day_of(worked.look_total + worked.rated.window_count)


def _days_for(worked: WorkedOut, count: float) -> int | None:
    """Days from today until ``count`` more have been counted."""
    if worked.curve is None or worked.count_now is None:
        return None
    on = worked.curve.day_of(worked.count_now + count)
    return None if on is None else (on - worked.today).days


def _finding_words(worked: WorkedOut) -> str:
    rows = Finding.objects.filter(joint_id=worked.programme.joint_id, state__in=["open", "assessed"]).exclude(
        severity="record"
    )
    words = [
        f"{_kind_words(row.kind)} found on {sentences.day(row.found_on)} ({row.severity}"
        + (", assessed" if row.state == "assessed" else "")
        + ")"
        for row in rows
    ]
    return sentences.as_list(words)


def _kind_words(kind: str) -> str:
    found = acceptance.KINDS.get(kind)
    return (
        getattr(found, "name", kind) if found else f"bolts {kind}" if kind in ("missing", "broken", "loose") else kind
    )


def _owed_words(worked: WorkedOut) -> dict[str, str]:
    rows = OwedLook.objects.filter(joint_id=worked.programme.joint_id, satisfied_by=None, withdrawn_why="")
    words: dict[str, str] = {}
    for row in rows.filter(method__in=["", worked.programme.method]).order_by("due_on"):
        words.setdefault(row.limit, row.why + (f" ({row.source})" if row.source else ""))
    return words


def _moves(worked: WorkedOut, facts: sentences.Facts) -> list[str]:
    """What would move the date, most useful first."""
    moves: list[str] = []
    governing = facts.governing
    if governing in ("calendar", "growth window", "duty", "after work", "fixed"):
        moves.append(f"A look by {facts.method} that is completed sets it anew.")
    if governing in ("duty", "damage", "growth window") and facts.silent:
        moves.append("Read the counter: until then it is counted at its busiest rate.")
    elif governing in ("duty", "damage", "growth window"):
        moves.append("Busier or quieter days than forecast move it; every reading posted sets it anew.")
    if governing == "finding":
        moves.append("A repair with a look after it, or an engineer's signed assessment.")
    if governing == "damage" and facts.excused_until is None:
        moves.append("A measured spectrum in place of an assumed one, or an engineer's signed assessment.")
    return moves


def _figures(worked: WorkedOut) -> list[Figure]:
    """Every figure the damage and the growth window rest on, with unit, source and status."""
    inputs, rated = worked.rated.inputs, worked.rated
    spectrum = inputs.get("spectrum_source", ""), inputs.get("spectrum_status", "")
    rows: list[Figure] = []

    def add(
        name: str, symbol: str, value: float | None, unit: str, source: str = "", status: str = "", caution: str = ""
    ) -> None:
        if value is not None:
            rows.append(Figure(name, symbol, value, unit, source, status, caution))

    unit = worked.curve.unit if worked.curve else "counts"
    chance, access = inputs.get("detection_chance", 0.9), worked.facts.access
    found_how = f"found {chance:.0%} of the time, {access} access, {worked.facts.conditions} conditions"
    steel_at = f"of {inputs.get('subgrade', '')} at {inputs.get('lowest_service_c', 0):g} °C, BS 7910:2013 J.2.3"
    en_factor = "EN 1993-1-9:2005 Table 3.1, safe life"
    detail = inputs.get("detail_source", "given for this joint"), inputs.get("detail_status", "")
    law = f"growth law {inputs.get('growth_law', '')}: {inputs.get('growth_law_source', '')}"
    found_by = inputs.get("detectable_source", ""), inputs.get("detectable_status", ""), found_how
    add("counter today", "n", worked.count_now, unit, worked.curve.basis if worked.curve else "")
    add("detail category", "Δσc", inputs.get("category_mpa"), "MPa", *detail)
    add("partial factor", "γMf", inputs.get("gamma_mf"), "", en_factor, inputs.get("gamma_mf_status", ""))
    add("size factor", "ks", inputs.get("size_factor"), "", "EN 1993-1-9:2005 §7.2.2")
    add("damage by one count", "d", rated.damage_per_count, f"per {unit}", "Miner sum, EN 1993-1-9:2005 Annex A")
    add("damage today", "D", worked.damage_now, "", "", "", "1 is the computed life used up")
    add("equivalent range, slope 3", "Δσ", inputs.get("range_mpa"), "MPa", *spectrum, "for reading only")
    add("greatest tension", "σ", inputs.get("peak_mpa"), "MPa", *spectrum)
    add("wall", "t", inputs.get("wall_mm"), "mm", "register")
    add("yield", "fy", inputs.get("yield_mpa"), "MPa", inputs.get("steel_grade", ""), inputs.get("steel_status", ""))
    add("toughness", "Kmat", inputs.get("toughness"), "MPa√m", steel_at, "from memory: to be confirmed")
    add("depth found", "ad", rated.detectable_mm, "mm", *found_by)
    add("critical depth", "ac", rated.critical_mm, "mm", f"BS 7910:2013 Option 1: {inputs.get('critical_reason', '')}")
    add("growth window", "N", rated.window_count, unit, law, inputs.get("growth_law_status", ""))
    add("looks owed in the window", "k", float(rated.looks), "", "office policy", "common practice")
    return rows


def _assumptions(worked: WorkedOut) -> list[str]:
    words = []
    if worked.programme.joint.load_path == "unknown":
        words.append(rating_rules.ASSUMED["load path"])
    if worked.rated.critical_mm is not None:
        words += [rating_rules.ASSUMED["aspect"], rating_rules.ASSUMED["residual"]]
        if not worked.facts.attachment_mm:
            words.append(rating_rules.ASSUMED["attachment_mm"])
    if worked.facts.spectrum_status == "assumed":
        words.append("stress spectrum assumed, to be confirmed")
    return words


def _none_if_nan(value: float) -> float | None:
    return None if value != value else float(value)
