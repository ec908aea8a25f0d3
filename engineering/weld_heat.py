"""Heat in welding: carbon equivalents, preheat, heat input, cooling time t8/5 and the window that keeps it sound.

Composition in percent by mass, thickness in mm, heat input in kJ/mm, temperature in °C, time in s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from engineering import tables
from engineering.errors import FloatArray, InputError, one, positive, within
from engineering.tables import Row, Table

METHOD_B = {  # EN 1011-2:2001 C.3, range of validity
    "cet": (0.20, 0.50), "thickness_mm": (10.0, 90.0), "hydrogen_ml": (1.0, 20.0), "heat_input_kj_mm": (0.5, 4.0),
}  # fmt: skip
METHOD_B_YIELD_MPA = 1000.0
_ELEMENTS = ("c", "mn", "si", "cr", "mo", "v", "ni", "cu", "b")


@dataclass(frozen=True)
class Composition:
    """Percent by mass; an element left out is taken as 0, so give every figure of the certificate."""

    c: float
    mn: float = 0.0
    si: float = 0.0
    cr: float = 0.0
    mo: float = 0.0
    v: float = 0.0
    ni: float = 0.0
    cu: float = 0.0
    b: float = 0.0

    def __post_init__(self) -> None:
        for name in _ELEMENTS:
            within(name, getattr(self, name), 0.0, 20.0, unit="%")


@dataclass(frozen=True)
class CoolingTime:
    """t8/5 in s; ``two_dimensional`` where the heat fills the thickness, that is below ``transition_mm``."""

    seconds: FloatArray
    two_dimensional: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    transition_mm: FloatArray


@dataclass(frozen=True)
class Window:
    """Heat input, kJ/mm, between which t8/5 lies within its limits; empty where ``least`` exceeds ``most``."""

    least_kj_mm: float
    most_kj_mm: float
    shortest_s: float
    longest_s: float
    source: str
    status: str

    @property
    def empty(self) -> bool:
        return self.least_kj_mm > self.most_kj_mm


def carbon_equivalent(steel: Composition) -> float:
    """CE = C + Mn/6 + (Cr+Mo+V)/5 + (Ni+Cu)/15, % (IIW; EN 1011-2:2001 C.2.1).

    >>> round(carbon_equivalent(Composition(c=0.23, mn=1.35, v=0.11)), 3)
    0.477
    """
    return steel.c + steel.mn / 6 + (steel.cr + steel.mo + steel.v) / 5 + (steel.ni + steel.cu) / 15


def cet(steel: Composition) -> float:
    """CET = C + (Mn+Mo)/10 + (Cr+Cu)/20 + Ni/40, % (EN 1011-2:2001 C.3.2.1)."""
    return steel.c + (steel.mn + steel.mo) / 10 + (steel.cr + steel.cu) / 20 + steel.ni / 40


def pcm(steel: Composition) -> float:
    """Pcm = C + Si/30 + (Mn+Cu+Cr)/20 + Ni/60 + Mo/15 + V/10 + 5B, % (Ito and Bessyo)."""
    return (
        steel.c + steel.si / 30 + (steel.mn + steel.cu + steel.cr) / 20
        + steel.ni / 60 + steel.mo / 15 + steel.v / 10 + 5 * steel.b
    )  # fmt: skip


def governing_cet(parent: ArrayLike, weld: ArrayLike) -> FloatArray:
    """CET, %, to enter method B: the parent's, or the weld metal's plus 0.03 where that is higher.

    EN 1011-2:2001 C.3: where the parent exceeds the weld metal by less than 0.03 the weld metal's plus 0.03 holds.
    """
    return np.maximum(positive("parent", parent), positive("weld", weld) + 0.03)


def preheat_c(
    *, cet: ArrayLike, thickness_mm: ArrayLike, hydrogen_ml: ArrayLike, heat_input_kj_mm: ArrayLike,
    yield_mpa: ArrayLike = 355.0,
) -> FloatArray:  # fmt: skip
    """Preheat temperature Tp, °C, by EN 1011-2:2001 Annex C method B (C.8).

    Tp = 697 CET + 160 tanh(d/35) + 62 HD^0.35 + (53 CET - 32) Q - 328. A result below the temperature of the part means
    that none is asked for; it is returned as it comes out.

    Args:
        cet: % (see ``governing_cet``), 0.20 to 0.50.
        thickness_mm: d, 10 to 90 mm (a single thickness, not the combined one).
        hydrogen_ml: HD, ml in 100 g of deposited metal, 1 to 20.
        heat_input_kj_mm: Q, 0.5 to 4.0 kJ/mm.
        yield_mpa: of the parent, at most 1000 MPa.

    Raises:
        InputError: outside that range; thin tube is outside it, which does not mean that it needs no preheat.

    >>> float(preheat_c(cet=0.35, thickness_mm=20, hydrogen_ml=5, heat_input_kj_mm=1.5).round(4))
    87.3011
    """
    value = within("cet", cet, *METHOD_B["cet"], unit="%")
    d = within("thickness_mm", thickness_mm, *METHOD_B["thickness_mm"], unit="mm")
    hydrogen = within("hydrogen_ml", hydrogen_ml, *METHOD_B["hydrogen_ml"], unit="ml/100 g")
    heat = within("heat_input_kj_mm", heat_input_kj_mm, *METHOD_B["heat_input_kj_mm"], unit="kJ/mm")
    if np.any(positive("yield_mpa", yield_mpa) > METHOD_B_YIELD_MPA):
        raise InputError("yield_mpa", f"method B reaches to {METHOD_B_YIELD_MPA:g} MPa")
    return np.asarray(
        697 * value + 160 * np.tanh(d / 35) + 62 * hydrogen**0.35 + (53 * value - 32) * heat - 328, dtype=np.float64
    )


def heat_input_kj_mm(
    *, voltage_v: ArrayLike, current_a: ArrayLike, speed_mm_s: ArrayLike, process: str, table: Table | None = None
) -> FloatArray:
    """Heat input Q = k U I / v / 1000, kJ/mm (EN 1011-1:2009); k by process number from ``process_efficiency``.

    Args:
        voltage_v: arc voltage, V; current_a: current, A; speed_mm_s: travel speed, mm/s.
        process: ISO 4063 number, such as "111", "135", "141"; ``InputError`` where it is not in the table.

    >>> float(heat_input_kj_mm(voltage_v=24, current_a=200, speed_mm_s=4, process="135").round(3))
    0.96
    """
    factor = float((table or tables.load("process_efficiency")).row(str(process))["efficiency"])
    power = positive("voltage_v", voltage_v) * positive("current_a", current_a)
    return np.asarray(factor * power / positive("speed_mm_s", speed_mm_s) / 1000.0)


def cooling_time(
    *, heat_input_kj_mm: ArrayLike, preheat_c: ArrayLike, thickness_mm: ArrayLike, f2: ArrayLike = 1.0,
    f3: ArrayLike = 1.0,
) -> CoolingTime:  # fmt: skip
    """Cooling time from 800 to 500 °C by EN 1011-2:2001 Annex D, for unalloyed and low-alloy steel.

    Three-dimensional: (6700 - 5T) Q [1/(500-T) - 1/(800-T)] F3; two-dimensional:
    (4300 - 4.3T) 10⁵ Q²/d² [1/(500-T)² - 1/(800-T)²] F2. The two-dimensional holds below the transition thickness,
    where both are equal; it is then the longer of the two.

    Args:
        heat_input_kj_mm: Q, kJ/mm; preheat_c: T, temperature of the part before the run, -50 to 450 °C.
        thickness_mm: d, mm.
        f2, f3: shape factors, over 0 to 1, see ``shape_factors``.
    """
    heat, d = positive("heat_input_kj_mm", heat_input_kj_mm), positive("thickness_mm", thickness_mm)
    thick, thin = _coefficients(preheat_c, f2, f3)
    three, two = thick * heat, thin * heat**2 / d**2
    return CoolingTime(np.maximum(three, two), np.asarray(two > three), np.sqrt(thin / thick * heat))


def heat_input_for(
    seconds: ArrayLike, *, preheat_c: ArrayLike, thickness_mm: ArrayLike, f2: ArrayLike = 1.0, f3: ArrayLike = 1.0
) -> FloatArray:
    """Heat input, kJ/mm, that gives a cooling time t8/5, s: the inverse of ``cooling_time``, with its range."""
    time, d = positive("seconds", seconds), positive("thickness_mm", thickness_mm)
    thick, thin = _coefficients(preheat_c, f2, f3)
    return np.minimum(time / thick, d * np.sqrt(time / thin))


def shape_factors(form: str, *, table: Table | None = None) -> Row:
    """Factors ``f2_low, f2_high, f3_low, f3_high`` of a form of weld, from the table ``cooling_form``."""
    return (table or tables.load("cooling_form")).row(form)


def heat_input_window(
    *, yield_mpa: float, thickness_mm: float, preheat_c: float, form: str = "run on plate",
    limits: Table | None = None, forms: Table | None = None,
) -> Window:  # fmt: skip
    """Heat input, kJ/mm, that keeps t8/5 above the time that hardens and below the time that costs toughness.

    The limits come from the table ``cooling_limits`` by yield strength, MPa. Where a shape factor is a range, its low
    end sets the least and its high end the most heat, so that the window is the narrower one.
    """
    row = _limits_row(one(positive, "yield_mpa", yield_mpa), limits or tables.load("cooling_limits"))
    factor = shape_factors(form, table=forms)
    least = heat_input_for(row["shortest_s"], preheat_c=preheat_c, thickness_mm=thickness_mm,
                           f2=factor["f2_low"], f3=factor["f3_low"])  # fmt: skip
    most = heat_input_for(row["longest_s"], preheat_c=preheat_c, thickness_mm=thickness_mm,
                          f2=factor["f2_high"], f3=factor["f3_high"])  # fmt: skip
    return Window(float(least), float(most), float(row["shortest_s"]), float(row["longest_s"]), row.source, row.status)


def hold_before_inspection_h(
    *, yield_mpa: float, size_mm: float, heat_input_kj_mm: float | None = None, table: Table | None = None
) -> float:
    """Least time, h, from the end of welding to the final inspection, from the table ``hold_time``.

    Args:
        yield_mpa: nominal yield of the parent, MPa; size_mm: throat of a fillet or thickness of the weld, mm.
        heat_input_kj_mm: kJ/mm; None takes the longer of the times.
    """
    strength, size = one(positive, "yield_mpa", yield_mpa), one(positive, "size_mm", size_mm)
    heat = None if heat_input_kj_mm is None else one(positive, "heat_input_kj_mm", heat_input_kj_mm)
    hours = [
        float(row["hold_h"])
        for row in (table or tables.load("hold_time")).rows.values()
        if _in_band(row, "yield", strength, "mpa")
        and _in_band(row, "size", size, "mm")
        and (heat is None or _in_band(row, "heat", heat, "kj_mm"))
    ]
    if not hours:
        raise InputError("yield_mpa", "no row of the hold-time table covers this weld", code="unknown_row")
    return max(hours)


def _coefficients(preheat_c: ArrayLike, f2: ArrayLike, f3: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Factors of Q (three-dimensional, s mm/kJ) and of Q²/d² (two-dimensional, s mm⁴/kJ²)."""
    start = within("preheat_c", preheat_c, -50.0, 450.0, unit="°C")
    flat, deep = within("f2", positive("f2", f2), 0.0, 1.0), within("f3", positive("f3", f3), 0.0, 1.0)
    low, high = 1 / (500 - start), 1 / (800 - start)
    return (6700 - 5 * start) * (low - high) * deep, (4300 - 4.3 * start) * 1e5 * (low**2 - high**2) * flat


def _limits_row(yield_mpa: float, table: Table) -> Row:
    for row in table.rows.values():
        if row["yield_over_mpa"] < yield_mpa <= row["yield_to_mpa"]:
            return row
    raise InputError("yield_mpa", f"no cooling times are tabulated for {yield_mpa:g} MPa", code="unknown_row")


def _in_band(row: Row, name: str, value: float, unit: str) -> bool:
    low, high = row.get(f"{name}_over_{unit}", 0.0), row.get(f"{name}_to_{unit}", np.inf)
    return bool(low < value <= high)
