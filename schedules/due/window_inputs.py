"""What the growth window of a joint is computed from: spectrum, strength, what the method finds; or what is missing."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from engineering import crack_growth, detection, fracture, steels
from engineering.errors import InputError
from engineering.tables import Table
from schedules.due.fact_rules import Facts, Missing

ROUNDEST = 1.0  # a/c; the safe side where a method sees length and depth is what counts


def growth_law(fact: Facts) -> crack_growth.GrowthLaw:
    """The law that the office chose for the site, or the safe default."""
    name, own = fact.growth_law or crack_growth.DEFAULT_LAW, fact.tables.get("growth_laws")
    return crack_growth.law(name, own) if own else _shipped_law(name)


@lru_cache(maxsize=64)
def _shipped_law(name: str) -> crack_growth.GrowthLaw:
    return crack_growth.law(name)


def window_inputs(fact: Facts) -> tuple[dict[str, Any], list[Missing]]:
    missing: list[Missing] = []

    def lacks(figure: str, to_do: str) -> None:
        missing.append(Missing("growth window", figure, to_do))

    inputs: dict[str, Any] = {
        "attachment_mm": fact.attachment_mm,
        "bending_share": fact.bending_share,
        "growth_law": fact.growth_law or crack_growth.DEFAULT_LAW,
        "wall_mm": fact.wall_mm,
        "peak_mpa": fact.peak_mpa,
        "lowest_service_c": fact.lowest_service_c,
    }
    if not fact.wall_mm:
        lacks("wall thickness", "measure the part in which the toe would crack, or take it from the drawing")
    if not fact.peak_mpa:
        lacks("greatest tension", "an engineer enters the greatest tensile stress with the spectrum")
    inputs |= _spectrum(fact, lacks)
    inputs |= _strength(fact, lacks)
    inputs |= _detectable(fact, lacks)
    try:
        growth_law(fact)
    except InputError as error:
        lacks("growth law", error.reason)
    return inputs, missing


def _spectrum(fact: Facts, lacks: Any) -> dict[str, Any]:
    """The bins that the crack grows by."""
    if not fact.bins:
        lacks("stress spectrum", "an engineer enters the stress ranges of one count of duty")
        return {}
    if not any(range_mpa * count > 0 for range_mpa, count in fact.bins):
        lacks("stress spectrum", "all its ranges are 0: no growth can be computed")
        return {}
    return {
        "bins": [list(pair) for pair in fact.bins],
        "cycles_per_count": float(sum(count for _, count in fact.bins)),
    }


def _strength(fact: Facts, lacks: Any) -> dict[str, Any]:
    if not fact.steel_grade:
        lacks("steel grade", "enter the grade of the member, e.g. S355J2")
        return {}
    if not fact.wall_mm:
        return {}
    own = fact.tables.get("steel_grades"), fact.tables.get("toughness")
    try:
        if any(own):
            return _steel(fact.steel_grade, fact.wall_mm, fact.lowest_service_c, *own)
        return _shipped_steel(fact.steel_grade, fact.wall_mm, fact.lowest_service_c).copy()
    except InputError as error:
        lacks("service temperature" if error.argument == "temperature_c" else "steel grade", error.reason)
        return {}


def _steel(
    grade: str, wall_mm: float, lowest_c: float, grades: Table | None, toughness: Table | None
) -> dict[str, Any]:
    band = steels.grade(grade, table=grades).band(wall_mm)
    subgrade = _subgrade(grade)
    found = fracture.toughness_of_subgrade(subgrade, temperature_c=lowest_c, wall_mm=wall_mm, table=toughness)
    return {
        "steel_grade": grade,
        "subgrade": subgrade,
        "yield_mpa": band.yield_mpa,
        "ultimate_mpa": band.ultimate_mpa,
        "steel_status": band.status,
        "toughness": float(found),
    }


@lru_cache(maxsize=4096)  # a fleet has few grades and walls, and each look-up costs as much as the rest of a joint
def _shipped_steel(grade: str, wall_mm: float, lowest_c: float) -> dict[str, Any]:
    return _steel(grade, wall_mm, lowest_c, None, None)


def _subgrade(steel_grade: str) -> str:
    """Impact quality at the end of a grade's name; one that does not say counts as the lowest."""
    found = re.search(r"(JR|J0|J2|K2)H?$", steel_grade.upper().replace(" ", "").split("+")[0])
    if found:
        return found.group(1)
    return "NL" if re.search(r"(NL|ML)H?$", steel_grade.upper()) else "unknown"


def _detectable(fact: Facts, lacks: Any) -> dict[str, Any]:
    if not fact.access:
        lacks("access", "say whether access is easy, moderate or difficult")
        return {}
    own, how = fact.tables.get("detection"), (fact.method, fact.access, fact.conditions, fact.detection_chance)
    try:
        return _found(*how, own) if own else _found_by_shipped(*how).copy()
    except InputError:
        what = f"size that {fact.method} finds at {fact.access} access in {fact.conditions} conditions"
        lacks(what, "no curve is known for this; improve access or conditions, or use another method")
        return {}


def _found(method: str, access: str, conditions: str, chance: float, table: Table | None) -> dict[str, Any]:
    found = detection.detectable_size(method, access, conditions, pod=chance, table=table)
    return {
        "detectable_mm": float(detection.as_depth_mm(found, ROUNDEST)),
        "detectable_size_mm": found.size_mm,
        "detectable_dimension": found.dimension,
        "detectable_source": found.row.source,
        "detectable_status": found.row.status,
        "detection_chance": chance,
    }


@lru_cache(maxsize=1024)
def _found_by_shipped(method: str, access: str, conditions: str, chance: float) -> dict[str, Any]:
    return _found(method, access, conditions, chance, None)
