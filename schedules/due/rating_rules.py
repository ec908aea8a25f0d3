"""What one count of duty does to a joint, and what a method can find there in time. Pure, and worked for many at once.

A *rating* changes with the steel, the spectrum, the method or the office's policy, never with the counter. Whatever is
missing is named; nothing is guessed but for the safe choices stated in ``ASSUMED``.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from engineering import crack_growth, damage, details, fracture, sn_curves
from engineering.errors import InputError
from schedules.due.fact_rules import Facts, Missing, impossible, usable
from schedules.due.window_inputs import growth_law, window_inputs

EDITION = "EN 1993-1-9:2005; BS 7910:2013 growth by spectrum; 2026-11"

# Safe choices where a figure may be left out; each is shown as an assumption beside the date.
ASSUMED = {
    "attachment_mm": "attachment length not given: taken as very long, which magnifies the toe stress most",
    "conditions": "conditions of the look as planned for this method, or as at the last look if those were worse",
    "aspect": "crack taken as long and shallow (a/c 0.2) for growth, as half round (a/c 1) for what a visual look sees",
    "residual": "as welded: residual stress taken at yield",
    "load path": "load path not known: taken as single",
}
SHALLOWEST = crack_growth.DEFAULT_ASPECT
MAX_DEPTH_SHARE = 0.8  # of the wall: end of the range of the formulas
DETAILED_METHODS = frozenset({"PT", "MT", "UT", "ET", "RT"})
WORSE_CONDITIONS = {"good": 0, "normal": 1, "poor": 2}
COMPUTED = ("damage_per_count", "detectable_mm", "critical_mm", "window_count")
UNEXPECTED = (ArithmeticError, AttributeError, LookupError, TypeError, ValueError)
CANNOT_BE_RIGHT = "what stands there cannot be: put it right"


@dataclass(frozen=True)
class Rated:
    """The rating of one programme; ``None`` means not computed, and ``missing`` says why."""

    programme_id: int
    joint_id: int
    damage_per_count: float | None = None
    damage_share: float = 0.3
    detectable_mm: float | None = None
    critical_mm: float | None = None
    window_count: float | None = None
    looks: int = 3
    unprotected: bool = False
    impossible: bool = False  # a figure cannot be right: a look is owed today
    missing: tuple[Missing, ...] = ()
    inputs: dict[str, Any] = field(default_factory=dict)


def rate(facts: Sequence[Facts]) -> list[Rated]:
    """The ratings of many programmes at once, in the order given. Never raises for one joint's bad figure: a figure
    that cannot be right counts as missing, and the others go on. Whatever nobody thought of is narrowed down to the
    joint that it came with."""
    try:
        return _rate(facts)
    except UNEXPECTED as error:
        if len(facts) == 1:
            return [_given_up(facts[0], error)]
        half = len(facts) // 2
        return [*rate(facts[:half]), *rate(facts[half:])]


def _rate(given: Sequence[Facts]) -> list[Rated]:
    facts = [usable(fact) for fact in given]
    rated = [_begin(fact) for fact in facts]
    rated = _damage(facts, rated)
    rated = _window(facts, rated)
    return [_judged(fact, each) for fact, each in zip(given, rated, strict=True)]


def _judged(fact: Facts, rated: Rated) -> Rated:
    """The same, with what cannot be right said as such; a result that is no number is no result."""
    names = impossible(fact)
    empty = [name for name in COMPUTED if (value := getattr(rated, name)) is not None and value != value]
    if empty:
        nothing: dict[str, Any] = dict.fromkeys(empty, None)
        names.append("result")
        rated = replace(rated, **nothing)
    if not names:
        return rated
    items = [Missing("damage", f"a {name} that can be right", CANNOT_BE_RIGHT) for name in names]
    return replace(rated, impossible=True, missing=(*rated.missing, *items))


def _given_up(fact: Facts, error: Exception) -> Rated:
    why = f"{type(error).__name__}: {error}"[:160]
    return Rated(
        programme_id=fact.programme_id,
        joint_id=fact.joint_id,
        impossible=True,
        missing=(Missing("damage", "rating", f"it could not be computed ({why}); {CANNOT_BE_RIGHT}"),),
        inputs={"method": fact.method},
    )


def worse_conditions(planned: str, last_look: str) -> str:
    """The worse of two conditions; an empty one does not count, an unknown one is worse than all."""
    return max((c for c in (planned, last_look) if c), key=lambda c: WORSE_CONDITIONS.get(c, 3), default="normal")


def _begin(fact: Facts) -> Rated:
    return Rated(
        programme_id=fact.programme_id,
        joint_id=fact.joint_id,
        damage_share=fact.share_single if fact.single_path else fact.share_other,
        looks=fact.looks_single if fact.single_path else fact.looks_other,
        inputs={
            "single_path": fact.single_path,
            "consequence": fact.consequence,
            "bins": [list(pair) for pair in fact.bins],
            "spectrum_status": fact.spectrum_status,
            "spectrum_source": fact.spectrum_source,
            "method": fact.method,
            "conditions": fact.conditions,
            "access": fact.access,
        },
    )


# --- damage -----------------------------------------------------------------------------------------------------------


def _damage(facts: Sequence[Facts], rated: list[Rated]) -> list[Rated]:
    ready: list[int] = []
    columns: dict[str, list[Any]] = defaultdict(list)
    for index, fact in enumerate(facts):
        inputs, missing = _damage_inputs(fact)
        rated[index] = _with(rated[index], missing, **inputs)
        if not missing:
            ready.append(index)
            for name in ("category_mpa", "stress_kind", "gamma_mf", "size_factor"):
                columns[name].append(inputs[name])
    if not ready:
        return rated
    ranges, counts = _padded([facts[index].bins for index in ready])
    per_count = damage.per_operating_cycle(
        ranges,
        counts,
        np.array(columns["category_mpa"]),
        np.array(columns["stress_kind"]),
        np.array(columns["gamma_mf"]),
        np.array(columns["size_factor"]),
    )
    for index, value in zip(ready, per_count, strict=True):
        rated[index] = replace(rated[index], damage_per_count=float(value))
    return rated


def _damage_inputs(fact: Facts) -> tuple[dict[str, Any], list[Missing]]:
    missing: list[Missing] = []
    if not fact.bins:
        missing.append(
            Missing("damage", "stress spectrum", "an engineer enters the stress ranges of one count of duty")
        )
    about: dict[str, Any] = {}
    category, kind, size_effect = _category(fact, missing, about)
    if category and fact.bins and kind != fact.stress_kind:
        missing.append(Missing("damage", f"spectrum of {kind} stress", f"the detail is one of {kind} stress"))
    size_factor = _size_factor(fact, size_effect, missing)
    inputs = {
        "category_mpa": category,
        "stress_kind": kind,
        **_partial_factor(fact, missing),
        "size_factor": size_factor,
        "detail": fact.detail,
        **about,
    }
    return inputs, missing


def _partial_factor(fact: Facts, missing: list[Missing]) -> dict[str, Any]:
    try:
        factor = sn_curves.partial_factor("safe_life", fact.consequence, fact.tables.get("partial_factors"))
    except InputError as error:
        missing.append(Missing("damage", "partial factor", error.reason))
        return {}
    return {"gamma_mf": float(factor), "gamma_mf_status": factor.row.status}


def _size_factor(fact: Facts, size_effect: str, missing: list[Missing]) -> float:
    """The size factor of a detail that has one; the size it depends on must be known, for 1 is the unsafe side."""
    size, figure = {
        "transverse_butt": (fact.wall_mm, "wall thickness"),
        "bolt_tension": (fact.bolt_diameter_mm, "bolt size"),
    }.get(size_effect, (None, ""))
    if not figure:
        return 1.0
    if size is None:
        missing.append(Missing("damage", figure, "the size factor of this detail depends on it"))
        return 1.0
    return float(sn_curves.size_factor(size, size_effect))


def _category(fact: Facts, missing: list[Missing], about: dict[str, Any]) -> tuple[float | None, str, str]:
    """Category in MPa, kind of stress and size effect; the joint's own category goes before the catalogue's. Where the
    row comes from is put into ``about``."""
    kind, size_effect, value = fact.stress_kind, "none", fact.category_mpa
    if fact.detail:
        try:
            row = details.detail(fact.detail, fact.tables.get("detail_categories"))
        except InputError:
            missing.append(Missing("damage", f"detail {fact.detail!r}", "choose a row of the detail catalogue"))
            return None, kind, size_effect
        kind, size_effect = str(row["kind"]), str(row.get("size", "none"))
        about |= {"detail_source": str(row.get("reference", row.source)), "detail_status": row.status}
        value = value or float(row["category"])
        if row["m"] != {"direct": 3, "shear": 5}[kind]:
            missing.append(
                Missing("damage", f"detail {fact.detail!r}", "its own slope is not computed; an engineer rates it")
            )
        if size_effect == "eccentric_step":
            missing.append(Missing("damage", "eccentricity of the step", "an engineer gives the joint's own category"))
    if value is None:
        missing.append(Missing("damage", "detail category", "an engineer chooses the detail from the catalogue"))
    elif value > (highest := {"direct": 160.0, "shear": 100.0}[kind]):
        missing.append(
            Missing("damage", "detail category", f"{value:g} MPa is above the highest there is, {highest:g}")
        )
        return None, kind, size_effect
    return value, kind, size_effect


def _padded(spectra: Sequence[Sequence[Sequence[float]]]) -> tuple[np.ndarray, np.ndarray]:
    """Ranges and counts as two (n, K) arrays; short spectra are filled up with count 0."""
    width = max(len(bins) for bins in spectra)
    ranges, counts = np.zeros((len(spectra), width)), np.zeros((len(spectra), width))
    for row, bins in enumerate(spectra):
        for column, (range_mpa, count) in enumerate(bins):
            ranges[row, column], counts[row, column] = range_mpa, count
    return ranges, counts


# --- growth window ----------------------------------------------------------------------------------------------------


def _window(facts: Sequence[Facts], rated: list[Rated]) -> list[Rated]:
    ready: list[int] = []
    prepared: list[dict[str, Any]] = []
    with_spectrum: list[int] = []
    for index, fact in enumerate(facts):
        if fact.kind != "weld" or fact.method == "BC":
            continue  # the growth model is one of weld toes; a bolt check has no growth window
        inputs, missing = window_inputs(fact)
        rated[index] = _with(rated[index], missing, **inputs)
        if inputs.get("bins"):
            with_spectrum.append(index)
        if not missing:
            ready.append(index)
            prepared.append(inputs)
    _note_equivalent_ranges(facts, rated, with_spectrum)
    by_law: dict[tuple[str, int], list[int]] = defaultdict(list)
    for position, inputs in enumerate(prepared):
        own = facts[ready[position]].tables.get("growth_laws")
        by_law[inputs["growth_law"], id(own)].append(position)
    for positions in by_law.values():
        law = growth_law(facts[ready[positions[0]]])
        _window_of_one_law([ready[p] for p in positions], [prepared[p] for p in positions], law, rated)
    return rated


def _note_equivalent_ranges(facts: Sequence[Facts], rated: list[Rated], places: Sequence[int]) -> None:
    """The equivalent range of each spectrum by a slope of 3, which is only for reading."""
    if places:
        ranges = damage.equivalent_range(*_padded([facts[place].bins for place in places]), 3.0)
        for place, value in zip(places, ranges.tolist(), strict=True):
            rated[place].inputs["range_mpa"] = value


def _window_of_one_law(
    indices: list[int], prepared: list[dict[str, Any]], law: crack_growth.GrowthLaw, rated: list[Rated]
) -> None:
    def column(name: str) -> np.ndarray:
        return np.array([inputs[name] for inputs in prepared], dtype=float)

    wall, bending = column("wall_mm"), column("bending_share")
    attachment = np.array([inputs["attachment_mm"] or math.inf for inputs in prepared])
    critical, reason = fracture.critical_depth(
        peak_stress_mpa=column("peak_mpa"),
        yield_mpa=column("yield_mpa"),
        ultimate_mpa=column("ultimate_mpa"),
        toughness_mpa_sqrt_m=column("toughness"),
        wall_mm=wall,
        attachment_mm=attachment,
        bending_share=bending,
    )
    critical = np.minimum(critical, MAX_DEPTH_SHARE * wall)
    start = column("detectable_mm")
    protects = start < critical
    window = np.full(len(indices), np.nan)
    if protects.any():
        chosen = np.flatnonzero(protects)
        ranges, counts = _padded([prepared[place]["bins"] for place in chosen])
        window[chosen] = crack_growth.counts_between(
            start[chosen],
            critical[chosen],
            ranges_mpa=ranges,
            counts=counts,
            law=law,
            wall_mm=wall[chosen],
            attachment_mm=attachment[chosen],
            aspect=SHALLOWEST,
            bending_share=bending[chosen],
        )
    for place, index in enumerate(indices):
        rated[index] = replace(
            rated[index],
            detectable_mm=float(start[place]),
            critical_mm=float(critical[place]),
            window_count=float(window[place]) if protects[place] else None,
            unprotected=not bool(protects[place]),
            inputs={
                **rated[index].inputs,
                "critical_reason": str(reason[place]),
                "growth_law_source": law.source,
                "growth_law_status": law.status,
            },
        )


def _with(rated: Rated, missing: list[Missing], **inputs: Any) -> Rated:
    return replace(rated, missing=(*rated.missing, *missing), inputs={**rated.inputs, **inputs})
