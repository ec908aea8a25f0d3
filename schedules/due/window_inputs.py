"""What the growth window of a joint is computed from: spectrum, strength, what the method finds; or what is missing."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from engineering import crack_growth, damage, detection, fracture, steels
from engineering.errors import InputError
from schedules.due.fact_rules import Facts, Missing

ROUNDEST = 1.0  # a/c; the safe side where a method sees length and depth is what counts


def growth_law(fact: Facts) -> crack_growth.GrowthLaw:
    """The law that the office chose for the site, or the safe default."""
    return crack_growth.law(fact.growth_law or crack_growth.DEFAULT_LAW, fact.tables.get("growth_laws"))


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
    """The bins that the crack grows by, and their equivalent range by a slope of 3, which is only for reading."""
    if not fact.bins:
        lacks("stress spectrum", "an engineer enters the stress ranges of one count of duty")
        return {}
    ranges, counts = np.array(fact.bins, dtype=float).T
    if not np.any(ranges * counts > 0):
        lacks("stress spectrum", "all its ranges are 0: no growth can be computed")
        return {}
    return {
        "bins": [list(pair) for pair in fact.bins],
        "range_mpa": float(damage.equivalent_range(ranges, counts, 3.0)),
        "cycles_per_count": float(counts.sum()),
    }


def _strength(fact: Facts, lacks: Any) -> dict[str, Any]:
    if not fact.steel_grade:
        lacks("steel grade", "enter the grade of the member, e.g. S355J2")
        return {}
    if not fact.wall_mm:
        return {}
    try:
        band = steels.grade(fact.steel_grade, table=fact.tables.get("steel_grades")).band(fact.wall_mm)
        subgrade = _subgrade(fact.steel_grade)
        toughness = float(
            fracture.toughness_of_subgrade(
                subgrade,
                temperature_c=fact.lowest_service_c,
                wall_mm=fact.wall_mm,
                table=fact.tables.get("toughness"),
            )
        )
    except InputError as error:
        lacks("service temperature" if error.argument == "temperature_c" else "steel grade", error.reason)
        return {}
    return {
        "steel_grade": fact.steel_grade,
        "subgrade": subgrade,
        "yield_mpa": band.yield_mpa,
        "ultimate_mpa": band.ultimate_mpa,
        "steel_status": band.status,
        "toughness": toughness,
    }


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
    try:
        found = detection.detectable_size(
            fact.method,
            fact.access,
            fact.conditions,
            pod=fact.detection_chance,
            table=fact.tables.get("detection"),
        )
    except InputError:
        what = f"size that {fact.method} finds at {fact.access} access in {fact.conditions} conditions"
        lacks(what, "no curve is known for this; improve access or conditions, or use another method")
        return {}
    return {
        "detectable_mm": float(detection.as_depth_mm(found, ROUNDEST)),
        "detectable_size_mm": found.size_mm,
        "detectable_dimension": found.dimension,
        "detectable_source": found.row.source,
        "detectable_status": found.row.status,
        "detection_chance": fact.detection_chance,
    }
