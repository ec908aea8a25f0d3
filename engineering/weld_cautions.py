"""Warnings before welding, aware of grade and wall: what high-strength tube does not forgive.

Each warning carries its source, or says that it is common practice without one.
"""

from __future__ import annotations

from dataclasses import dataclass

from engineering.errors import non_negative, one, positive
from engineering.steels import Grade
from engineering.tables import COMMON_PRACTICE, FROM_MEMORY, PUBLISHED, Table
from engineering.weld_heat import METHOD_B, cooling_time, heat_input_window, hold_before_inspection_h

HIGH_STRENGTH_MPA = 420.0  # from here on the cautions of high-strength steel are given
VERY_HIGH_STRENGTH_MPA = 690.0
THIN_MM = 4.0
LOW_HYDROGEN_ML = 5.0
_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Caution:
    """One warning in words, with a stable code and where it comes from."""

    code: str
    text: str
    source: str
    status: str


def cautions(
    steel: Grade, *, wall_mm: float, heat_input_kj_mm: float, preheat_c: float, hydrogen_ml: float | None = None,
    form: str = "run on plate", limits: Table | None = None,
) -> list[Caution]:  # fmt: skip
    """What to beware of when this wall of this steel is welded so.

    Args:
        steel: grade, from ``steels.grade``.
        wall_mm: wall, mm; heat_input_kj_mm: heat input of a run, kJ/mm; preheat_c: preheat or interpass, °C.
        hydrogen_ml: diffusible hydrogen of the filler, ml/100 g; None is not known, and is warned of.
        form: form of weld, a row of ``cooling_form``; limits: an office's own ``cooling_limits``.

    Returns:
        Warnings, most telling first; an empty list never means that no welding procedure is needed.
    """
    wall = one(positive, "wall_mm", wall_mm)
    strength = steel.yield_mpa(wall)
    hydrogen = None if hydrogen_ml is None else one(non_negative, "hydrogen_ml", hydrogen_ml)
    found = _cooling(strength, wall, heat_input_kj_mm, preheat_c, form, limits)
    found += _preheat_range(wall)
    if strength >= HIGH_STRENGTH_MPA:
        found += _high_strength(steel, strength, wall, heat_input_kj_mm, hydrogen)
    found += _delivery(steel)
    if wall < THIN_MM:
        found.append(Caution("burn_through", f"a wall of {wall:g} mm burns through easily: thin wire, short arc, "
                             "stepped runs, no weaving", _PRACTICE, COMMON_PRACTICE))  # fmt: skip
    return found


def _cooling(
    strength: float, wall: float, heat: float, preheat: float, form: str, limits: Table | None
) -> list[Caution]:
    window = heat_input_window(yield_mpa=strength, thickness_mm=wall, preheat_c=preheat, form=form, limits=limits)
    run = one(positive, "heat_input_kj_mm", heat)
    flat = cooling_time(heat_input_kj_mm=run, preheat_c=preheat, thickness_mm=wall).two_dimensional
    where = f"{run:.2f} kJ/mm in {wall:g} mm at {preheat:g} °C"
    if window.empty:
        text = f"no heat input keeps t8/5 between {window.shortest_s:g} and {window.longest_s:g} s here"
        return [Caution("no_window", text, window.source, window.status)]
    if run > window.most_kj_mm:
        thin = "; in a thin wall the time grows with the square of the heat" if flat else ""
        text = (f"{where} cools slower than {window.longest_s:g} s: the heated zone softens and loses toughness; "
                f"at most {window.most_kj_mm:.2f} kJ/mm{thin}")  # fmt: skip
        return [Caution("too_hot", text, window.source, window.status)]
    if run < window.least_kj_mm:
        text = (f"{where} cools faster than {window.shortest_s:g} s: the heat-affected zone hardens and may crack; "
                f"at least {window.least_kj_mm:.2f} kJ/mm, or more preheat")  # fmt: skip
        return [Caution("too_cold", text, window.source, window.status)]
    return []


def _preheat_range(wall: float) -> list[Caution]:
    low, high = METHOD_B["thickness_mm"]
    if low <= wall <= high:
        return []
    text = f"method B reaches from {low:g} to {high:g} mm: no preheat can be computed for {wall:g} mm"
    return [Caution("preheat_unknown", text, "EN 1011-2:2001 Annex C, range read in public copies", PUBLISHED)]


def _high_strength(steel: Grade, strength: float, wall: float, heat: float, hydrogen: float | None) -> list[Caution]:
    hold = hold_before_inspection_h(yield_mpa=strength, size_mm=wall, heat_input_kj_mm=heat)
    found = [
        Caution("fatigue", "as-welded joints of high-strength steel last no longer than in mild steel: the detail "
                "category does not depend on the grade", "EN 1993-1-9:2005 Tables 8.1 to 8.10, which name no grade for "
                "welded details", FROM_MEMORY),
        Caution("hold", f"cracks come late: final inspection not before {hold:g} h", "table hold_time", PUBLISHED),
    ]  # fmt: skip
    if hydrogen is None or hydrogen > LOW_HYDROGEN_ML:
        known = (
            "hydrogen of the filler not known" if hydrogen is None else f"{hydrogen:g} ml/100 g is too much hydrogen"
        )
        found.append(Caution("hydrogen", f"{known}: use at most {LOW_HYDROGEN_ML:g} ml/100 g, dry, in a dry joint",
                             _PRACTICE, COMMON_PRACTICE))  # fmt: skip
    if strength >= VERY_HIGH_STRENGTH_MPA:
        found.append(Caution("filler", "choose the filler on purpose: a softer one in root and tacks cracks less, and "
                             "the joint is then sized by the filler", _PRACTICE, COMMON_PRACTICE))  # fmt: skip
        found.append(Caution("undercut", "keep the toe smooth: an undercut that mild steel bears starts a crack here",
                             _PRACTICE, COMMON_PRACTICE))  # fmt: skip
    return found


def _delivery(steel: Grade) -> list[Caution]:
    if steel.family == "quenched and tempered":
        return [Caution("tempering", "no flame straightening, stress relief or preheat near the tempering temperature: "
                        "the strength is lost for good", _PRACTICE, COMMON_PRACTICE)]  # fmt: skip
    if steel.family == "thermomechanical":
        return [Caution("rolled", "heating above about 580 °C takes away the strength that rolling gave", _PRACTICE,
                        COMMON_PRACTICE)]  # fmt: skip
    if steel.family == "hollow section, cold formed":
        return [Caution("cold_corner", "on a rectangular section no weld within 5 wall thicknesses of a cold-formed "
                        "corner unless its radius allows it", "EN 1993-1-8:2005 Table 4.2", FROM_MEMORY)]  # fmt: skip
    return []
