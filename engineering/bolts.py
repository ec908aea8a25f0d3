"""Single bolts: sizes, property classes, preload, torque, resistances, slip, prying and fatigue in tension.

Units: N, mm, MPa, except where a name says kN or N·m. Sizes, classes and the US pretensions are tables with source and
status; an office passes its own ``table``.

References:
    EN 1993-1-8:2005 clauses 3.1.1, 3.6.1, 3.8, 3.9; EN 1090-2:2018 clause 8.5 for tightening;
    EN 1993-1-9:2005 Table 8.1; AISC 360-16/22 section J3. None was opened in full: the tables say
    what was read where.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from engineering import sn_curves, tables
from engineering.errors import InputError, non_negative, one, positive, within
from engineering.tables import Table

EN = "EN1993-1-8"
AISC = "AISC 360"
PRELOADABLE = ("8.8", "10.9")
KN_PER_KIP = 4.4482216
GAMMA_M2 = 1.25
GAMMA_M3 = 1.25


@dataclass(frozen=True)
class Size:
    """A bolt size: diameter and pitch in mm, nominal stress area in mm², and where the row comes from."""

    name: str
    d_mm: float
    pitch_mm: float
    stress_area_mm2: float
    source: str
    status: str

    @property
    def shank_area_mm2(self) -> float:
        """Gross area of the unthreaded shank, π d²/4, mm²."""
        return math.pi * self.d_mm**2 / 4


@dataclass(frozen=True)
class PropertyClass:
    """A bolt class: nominal yield and ultimate strength in MPa; ``shear_factor`` is None outside EN 1993-1-8."""

    name: str
    fyb_mpa: float
    fub_mpa: float
    shear_factor: float | None
    source: str
    status: str


def size(name: str, table: Table | None = None) -> Size:
    """The bolt size called ``name`` ("M20", "3/4") in ``table`` (None: the shipped one).

    Raises:
        InputError: ``unknown_row`` lists the sizes there are.
    """
    row = (table or tables.load("bolt_sizes")).row(name)
    return Size(name, float(row["d_mm"]), float(row["pitch_mm"]), float(row["stress_area_mm2"]), row.source, row.status)


def property_class(name: str, table: Table | None = None) -> PropertyClass:
    """The property class called ``name`` ("8.8", "A325") in ``table`` (None: the shipped one).

    Raises:
        InputError: ``unknown_row`` lists the classes there are.
    """
    row = (table or tables.load("bolt_classes")).row(name)
    factor = row.get("shear_factor")
    return PropertyClass(
        name,
        float(row["fyb_mpa"]),
        float(row["fub_mpa"]),
        None if factor is None else float(factor),
        row.source,
        row.status,
    )


def stress_area_mm2(d_mm: float, pitch_mm: float) -> float:
    """Stress area of a metric thread, π/4 (d − 0.9382 P)², mm², of ``d_mm`` and ``pitch_mm`` (ISO 898-1:2013, 9.1.6.1).

    Example: d = 20, P = 2.5 gives 244.79.
    """
    d, pitch = one(positive, "d_mm", d_mm), one(positive, "pitch_mm", pitch_mm)
    if pitch >= d / 2:
        raise InputError("pitch_mm", f"{pitch:g} mm is no thread pitch of a {d:g} mm bolt")
    return math.pi / 4 * (d - 0.9382 * pitch) ** 2


def preload_kn(size: Size | str, cls: PropertyClass | str, *, code: str = EN, us_table: Table | None = None) -> float:
    """Specified minimum preload of a tightened bolt of ``size`` and class ``cls``, kN.

    ``EN1993-1-8``: Fp,C = 0.7 fub As for classes 8.8 and 10.9 (EN 1993-1-8:2005, 3.9.1; EN 1090-2:2018, 8.5.1).
    ``AISC 360``: the tabulated pretension for A325 and A490 (Tables J3.1, J3.1M; ``us_table``), kip as kN.
    Other classes are not for preloading by these codes and raise. Example: M20, 8.8 gives 137.2.

    Raises:
        InputError: ``unknown_row`` for a class, size or code that has no preload.
    """
    bolt, strength = _size(size), _class(cls)
    if code == EN:
        if strength.name not in PRELOADABLE:
            raise InputError(
                "cls", f"{strength.name} is not preloaded by {EN}; only 8.8 and 10.9 are", code="unknown_row"
            )
        return 0.7 * strength.fub_mpa * bolt.stress_area_mm2 / 1000
    if code == AISC:
        row = (us_table or tables.load("bolt_preload_us")).row(f"{strength.name} {bolt.name}")
        return float(row["pretension"]) * (KN_PER_KIP if row["unit"] == "kip" else 1.0)
    raise InputError("code", f"{code!r} is unknown; known: {EN}, {AISC}", code="unknown_row")


def torque_nm(preload_kn: float, k: float, d_mm: float) -> float:
    """Tightening torque M = k d F, N·m, for ``preload_kn`` and the diameter ``d_mm``.

    ``k`` from the bolts' own certificate (EN 14399-1: 0.10 to 0.16 class K1, 0.10 to 0.23 class K2); 0.05 to 0.5 is
    taken. Dry, rusty or re-used threads spread far wider: torque is then no measure of preload.
    Example: 100 kN, k = 0.20, M20 gives 400.
    """
    return one(non_negative, "preload_kn", preload_kn) * one(within, "k", k, 0.05, 0.5) * one(positive, "d_mm", d_mm)


def torque_from_friction_nm(
    preload_kn: float, *, pitch_mm: float, flank_d_mm: float, mu_thread: float, mu_head: float, head_d_mm: float
) -> float:
    """Tightening torque from friction, F (0.16 P + 0.58 d2 μth + μb Dkm / 2), N·m (ISO 16047:2005, equation 1).

    ``preload_kn`` F, ``pitch_mm`` P, ``flank_d_mm`` pitch diameter d2, ``head_d_mm`` mean bearing diameter Dkm;
    friction ``mu_thread`` and ``mu_head`` from 0.02 to 0.5.
    """
    force = one(non_negative, "preload_kn", preload_kn)
    thread = 0.16 * one(positive, "pitch_mm", pitch_mm)
    flank = 0.58 * one(positive, "flank_d_mm", flank_d_mm) * one(within, "mu_thread", mu_thread, 0.02, 0.5)
    head = one(within, "mu_head", mu_head, 0.02, 0.5) * one(positive, "head_d_mm", head_d_mm) / 2
    return force * (thread + flank + head)


def shear_resistance_n(
    size: Size | str,
    cls: PropertyClass | str,
    *,
    planes: int = 1,
    thread_in_plane: bool = True,
    gamma_m2: float = GAMMA_M2,
) -> float:
    """Design shear resistance Fv,Rd = αv fub A / γM2 per plane times ``planes``, N (EN 1993-1-8:2005, Table 3.4).

    ``size`` and class ``cls``; ``gamma_m2`` γM2. ``thread_in_plane`` (the safe default): A = As, αv = 0.6 (4.6, 5.6,
    8.8) or 0.5 (4.8, 5.8, 6.8, 10.9);
    else A = shank and αv = 0.6. Not included: bearing of the plates, long joints (``long_joint_factor``), packing.
    Example: M20, 8.8 gives 94 080.

    Raises:
        InputError: ``unknown_row`` for a class outside EN 1993-1-8.
    """
    bolt, strength = _size(size), _class(cls)
    if strength.shear_factor is None:
        raise InputError("cls", f"{strength.name} has no shear factor in EN 1993-1-8", code="unknown_row")
    if planes not in (1, 2):
        raise InputError("planes", f"a bolt has 1 or 2 shear planes, got {planes!r}")
    factor, area = (strength.shear_factor, bolt.stress_area_mm2) if thread_in_plane else (0.6, bolt.shank_area_mm2)
    return planes * factor * strength.fub_mpa * area / one(positive, "gamma_m2", gamma_m2)


def tension_resistance_n(
    size: Size | str, cls: PropertyClass | str, *, countersunk: bool = False, gamma_m2: float = GAMMA_M2
) -> float:
    """Design tension resistance Ft,Rd = k2 fub As / γM2, N; k2 = 0.9, countersunk 0.63 (EN 1993-1-8:2005, Table 3.4).

    ``size`` and class ``cls``; ``countersunk`` head or not; ``gamma_m2`` γM2. Punching of the plate is not included.
    Example: M24, 8.8 gives 203 328.
    """
    bolt, strength = _size(size), _class(cls)
    if strength.shear_factor is None:
        raise InputError("cls", f"{strength.name} is not a class of EN 1993-1-8", code="unknown_row")
    return (
        (0.63 if countersunk else 0.9) * strength.fub_mpa * bolt.stress_area_mm2 / one(positive, "gamma_m2", gamma_m2)
    )


def interaction(shear_n: float, tension_n: float, *, shear_resistance_n: float, tension_resistance_n: float) -> float:
    """Utilisation under shear and tension together: the larger of Fv/Fv,Rd + Ft/(1.4 Ft,Rd) and Ft/Ft,Rd.

    EN 1993-1-8:2005, Table 3.4. ``shear_n``, ``tension_n`` and ``shear_resistance_n``, ``tension_resistance_n`` in N;
    1.0 is full use.
    """
    shear = one(non_negative, "shear_n", shear_n) / one(positive, "shear_resistance_n", shear_resistance_n)
    pull = one(non_negative, "tension_n", tension_n) / one(positive, "tension_resistance_n", tension_resistance_n)
    return max(shear + pull / 1.4, pull)


def long_joint_factor(length_mm: float, d_mm: float) -> float:
    """βLf on shear resistance where bolts of ``d_mm`` reach over ``length_mm`` along the force (EN 1993-1-8:2005, 3.8).

    1 up to 15 d, then 1 − (L − 15 d)/(200 d), never under 0.75.
    """
    length, d = one(non_negative, "length_mm", length_mm), one(positive, "d_mm", d_mm)
    return min(1.0, max(0.75, 1 - (length - 15 * d) / (200 * d)))


def slip_resistance_n(
    preload_n: float,
    *,
    friction: float,
    tension_n: float = 0.0,
    surfaces: int = 1,
    hole_factor: float = 1.0,
    gamma_m3: float = GAMMA_M3,
) -> float:
    """Slip resistance of one preloaded bolt, ks n μ (Fp,C − 0.8 Ft,Ed)/γM3, N; 0 once the tension has used it up.

    EN 1993-1-8:2005, 3.9.1 and 3.9.2 (category C; category B with ``gamma_m3`` 1.1). ``preload_n`` Fp,C and
    ``tension_n`` Ft,Ed in N; ``surfaces`` n, 1 or 2. ``friction`` μ by treatment of the
    surfaces: 0.5 blasted, 0.4 blasted and coated, 0.3 wire-brushed, 0.2 as rolled (Table 3.7). ``hole_factor`` ks:
    1.0 normal, 0.85 oversize, 0.76 or 0.63 long slots along or across (Table 3.6).
    """
    spare = one(non_negative, "preload_n", preload_n) - 0.8 * one(non_negative, "tension_n", tension_n)
    if surfaces not in (1, 2):
        raise InputError("surfaces", f"1 or 2 friction surfaces, got {surfaces!r}")
    grip = one(within, "friction", friction, 0.0, 0.7) * one(within, "hole_factor", hole_factor, 0.5, 1.0)
    return max(0.0, grip * surfaces * spare / one(positive, "gamma_m3", gamma_m3))


def prying_factor(m_mm: float, n_mm: float, *, stiff_web: bool = False) -> float:
    """Upper bound of bolt tension over its share of the applied tension, 1 + Q/T, from statics alone.

    The plate is a lever: the wall or web at ``m_mm`` from the bolt line, the edge at ``n_mm`` beyond it. The moment
    at the bolt line is at most T m (wall line free to turn), so Q ≤ T m/n. With ``stiff_web`` the plate is held against
    turning at the web as well and no stronger at the bolt line than there, so Q ≤ T m/(2n): first failure mode of the
    equivalent T-stub (EN 1993-1-8:2005, Table 6.2). The prying force acts at most 1.25 m away (same table), so n is
    counted up to that: no plate, however wide, goes under 1.8 (1.4 with ``stiff_web``). A thick plate pries less.
    """
    m, n = one(positive, "m_mm", m_mm), one(positive, "n_mm", n_mm)
    lever = m / min(n, 1.25 * m)
    return 1 + (lever / 2 if stiff_web else lever)


def tension_range_mpa(range_n: float, size: Size | str, *, prying: float = 1.0, joint_factor: float = 1.0) -> float:
    """Stress range on the stress area of a bolt in tension, MPa.

    ``range_n`` external load range per bolt, N, of ``size``; ``prying`` ≥ 1 multiplies it; ``joint_factor`` in (0, 1]
    is
    the part of it that reaches a preloaded bolt, 1 by default: preload is not credited unless it is shown to be there
    (EN 1993-1-9:2005, Table 8.1, detail 14). Example: 12 250 N on M20 gives 50.
    """
    part = one(within, "joint_factor", joint_factor, 1e-6, 1.0) * one(within, "prying", prying, 1.0, 100.0)
    return one(non_negative, "range_n", range_n) * part / _size(size).stress_area_mm2


def tension_cycles_to_failure(
    range_n: float,
    size: Size | str,
    *,
    prying: float = 1.0,
    joint_factor: float = 1.0,
    gamma_mf: float = 1.0,
    spectrum: bool = True,
    table: Table | None = None,
) -> float:
    """Cycles to failure of a bolt in tension: category 50 on the stress area with (30/d)^0.25 above 30 mm.

    EN 1993-1-9:2005, Table 8.1, detail 14 (row "bolt-tension" of ``table``, the catalogue of details). ``range_n``,
    ``size``, ``prying``, ``joint_factor`` as in ``tension_range_mpa``; ``gamma_mf``, ``spectrum`` as in
    ``sn_curves.cycles_to_failure``. Infinite under the cut-off. Example: 12 250 N on M20 gives 2 000 000.
    """
    bolt, row = _size(size), (table or tables.load("detail_categories")).row("bolt-tension")
    cycles = sn_curves.cycles_to_failure(
        tension_range_mpa(range_n, bolt, prying=prying, joint_factor=joint_factor),
        float(row["category"]),
        kind=row["kind"],
        gamma_mf=one(positive, "gamma_mf", gamma_mf),
        size_factor=sn_curves.size_factor(bolt.d_mm, row["size"]),
        spectrum=spectrum,
    )
    return float(cycles)


def _size(value: Size | str) -> Size:
    return value if isinstance(value, Size) else size(value)


def _class(value: PropertyClass | str) -> PropertyClass:
    return value if isinstance(value, PropertyClass) else property_class(value)
