"""Fatigue strength lines: how many cycles of a stress range a joint bears.

Three families, never mixed: EN 1993-1-9:2005 (categories in MPa), the IIW recommendations (FAT classes in MPa), and the
US categories of ANSI/AISC 360 Appendix 3 and AASHTO LRFD 6.6.1.2 (constants in ksi).

All are lower bounds on the nominal stress range. Stresses in MPa unless a name says ksi; lives in cycles; ``inf`` where
the line says that a range does no damage.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engineering.errors import FloatArray, InputError, finite, non_negative, one, positive
from engineering.tables import Row, Table, load

DIRECT = "direct"
SHEAR = "shear"
KINDS = (DIRECT, SHEAR)

REFERENCE_CYCLES = 2e6  # EN 1993-1-9 §7.1(1): the category is the range borne at 2 million cycles
LIMIT_CYCLES = 5e6  # §7.1(2): constant-amplitude limit, direct stress
CUT_OFF_CYCLES = 1e8  # §7.1(3): cut-off
LIMIT_RATIO = (REFERENCE_CYCLES / LIMIT_CYCLES) ** (1 / 3)  # 0.7368
CUT_OFF_RATIO = LIMIT_RATIO * (LIMIT_CYCLES / CUT_OFF_CYCLES) ** (1 / 5)  # 0.4047
SHEAR_CUT_OFF_RATIO = (REFERENCE_CYCLES / CUT_OFF_CYCLES) ** (1 / 5)  # 0.4573
HIGHEST_CATEGORY = {DIRECT: 160.0, SHEAR: 100.0}  # Figures 7.1 and 7.2

# A range that sits on a limit counts as above it: rounding must never turn damage into none.
_ROUNDING = 1 - 1e-12

MPA_PER_KSI = 6.894757
EDITIONS = ("360-10", "360-16", "360-22", "aashto")


class Sourced(float):
    """A value that carries the table row it came from (``.row``), so that a page can show source and status."""

    row: Row

    def __new__(cls, value: float, row: Row) -> Sourced:
        self = super().__new__(cls, value)
        self.row = row
        return self

    def __reduce__(self) -> tuple[type[Sourced], tuple[float, Row]]:
        return (Sourced, (float(self), self.row))


def is_shear(kind: ArrayLike) -> NDArray[np.bool_]:
    """True where ``kind`` is ``"shear"``, False where ``"direct"``; any other word raises ``InputError``."""
    try:
        words = np.asarray(kind)
    except ValueError:  # lists of different lengths
        words = np.asarray("")
    shear = words == SHEAR
    if not np.all(shear | (words == DIRECT)):
        raise InputError("kind", 'must be "direct" or "shear"', code="unknown_row")
    return np.asarray(shear, dtype=np.bool_)


def strength_ratio(
    range_mpa: ArrayLike, category_mpa: ArrayLike, kind: ArrayLike, gamma_mf: ArrayLike, size_factor: ArrayLike
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Stress range over reduced design category, and where it is shear; all arguments broadcast.

    Args:
        range_mpa: stress range, MPa, >= 0.
        category_mpa: detail category at 2 million cycles, MPa; at most 160 (direct) or 100 (shear).
        kind: "direct" or "shear".
        gamma_mf: partial factor on the category, > 0.
        size_factor: ks <= 1 for thick plates and large bolts.

    Returns:
        ratio = range * gamma_mf / (size_factor * category), and a boolean array.

    Source: EN 1993-1-9:2005 §7.1(1), §7.2.2 and §8(2).
    """
    shear = is_shear(kind)
    category = positive("category_mpa", category_mpa)
    if np.any(category > np.where(shear, HIGHEST_CATEGORY[SHEAR], HIGHEST_CATEGORY[DIRECT])):
        raise InputError("category_mpa", "no line above category 160 for direct stress or 100 for shear")
    factor = positive("size_factor", size_factor)
    if np.any(factor > 1):
        raise InputError("size_factor", "a size factor never raises the category: it must be at most 1")
    ratio = non_negative("range_mpa", range_mpa) * (positive("gamma_mf", gamma_mf) / (factor * category))
    return ratio, shear


def damage_per_cycle(ratio: FloatArray, shear: NDArray[np.bool_], *, spectrum: bool = True) -> FloatArray:
    """Miner damage of one cycle, 1/N, from the ratio of range to design category (EN 1993-1-9:2005 §7.1).

    Direct: ratio^3/2e6 down to 5 million cycles; then, in a spectrum, the slope m = 5 to the cut-off at 100 million and
    0 below it; under constant amplitude 0 below the 5-million limit. Shear: ratio^5/2e6 to the cut-off in both cases.

    Args:
        ratio, shear: from ``strength_ratio``.
        spectrum: False for constant amplitude.
    """
    squared = ratio * ratio
    fifth = squared * squared * ratio
    direct_limit = LIMIT_RATIO * _ROUNDING
    below = fifth / (LIMIT_RATIO**5 * LIMIT_CYCLES) if spectrum else np.zeros_like(ratio)
    direct = np.where(ratio >= direct_limit, squared * ratio / REFERENCE_CYCLES, below)
    lowest = np.where(shear, SHEAR_CUT_OFF_RATIO, CUT_OFF_RATIO) * _ROUNDING
    return np.where(ratio >= lowest, np.where(shear, fifth / REFERENCE_CYCLES, direct), 0.0)


def cycles_to_failure(
    range_mpa: ArrayLike,
    category_mpa: ArrayLike,
    *,
    kind: ArrayLike = DIRECT,
    gamma_mf: ArrayLike = 1.0,
    size_factor: ArrayLike = 1.0,
    spectrum: bool = True,
) -> FloatArray:
    """Cycles to failure N at a nominal stress range, EN 1993-1-9:2005 §7.1 (Figures 7.1 and 7.2).

    Args:
        range_mpa: stress range, MPa, >= 0.
        category_mpa: detail category, MPa (range borne at 2 million cycles).
        kind: "direct" or "shear", one or an array.
        gamma_mf: partial factor, see ``partial_factor``.
        size_factor: ks, see ``size_factor``.
        spectrum: True where the range is one of several (second slope, cut-off); False for constant amplitude, where a
            direct range below the 5-million limit does no damage.

    Returns:
        Cycles, broadcast over all arguments; ``inf`` below the cut-off (or the constant-amplitude limit).

    Errors: ``InputError`` for NaN, negative range, category <= 0 or above 160 (direct) / 100 (shear), factor > 1.
    Example: category 71 at 100 MPa gives 715 822 cycles.
    """
    ratio, shear = strength_ratio(range_mpa, category_mpa, kind, gamma_mf, size_factor)
    rate = damage_per_cycle(ratio, shear, spectrum=spectrum)
    return np.divide(1.0, rate, out=np.full_like(rate, np.inf), where=rate > 0)


def limits_mpa(category_mpa: float, *, kind: str = DIRECT) -> tuple[float | None, float]:
    """Constant-amplitude limit (None for shear, which has none) and cut-off, MPa. EN 1993-1-9:2005 §7.1(2), (3).

    Args:
        category_mpa: detail category, MPa.
        kind: "direct" or "shear".

    Example: category 71 has 52.31 and 28.73 MPa.
    """
    category = one(positive, "category_mpa", category_mpa)
    _, shear = strength_ratio(0.0, category, kind, 1.0, 1.0)
    if shear.ndim:
        raise InputError("kind", f"needs one kind of stress, got {shear.size} of them", code="shape")
    if shear:
        return None, category * SHEAR_CUT_OFF_RATIO
    return category * LIMIT_RATIO, category * CUT_OFF_RATIO


def partial_factor(concept: str = "safe_life", consequence: str = "high", table: Table | None = None) -> Sourced:
    """Partial factor gamma_Mf on the category, EN 1993-1-9:2005 Table 3.1; the safe default is the largest.

    Args:
        concept: "safe_life" (no reliance on inspection) or "damage_tolerant" (inspected and maintained).
        consequence: "low" or "high".
        table: the office's own table, or None for the shipped one.

    Returns:
        The factor as a ``float`` with its ``.row``. Errors: ``InputError`` (``unknown_row``).
    """
    row = (table or load("partial_factors")).row(f"{concept}-{consequence}")
    return Sourced(float(row["gamma_mf"]), row)


def size_factor(size_mm: ArrayLike, kind: str) -> FloatArray:
    """Size factor ks on the category, EN 1993-1-9:2005 §7.2.2 with Tables 8.3 and 8.1.

    Args:
        size_mm: plate thickness ("transverse_butt") or bolt diameter ("bolt_tension"), mm, > 0.
        kind: "transverse_butt": (25/t)^0.2 above 25 mm; "bolt_tension": (30/d)^0.25 above 30 mm; "none": 1.

    Returns:
        ks, never above 1. Example: t = 40 mm gives 0.9103, a 36 mm bolt 0.9554.
    """
    size = positive("size_mm", size_mm)
    if kind == "none":
        return np.ones_like(size)
    laws = {"transverse_butt": (25.0, 0.2), "bolt_tension": (30.0, 0.25)}
    if not isinstance(kind, str) or kind not in laws:
        raise InputError("kind", f"must be one of none, {', '.join(laws)}; got {kind!r}", code="unknown_row")
    reference, exponent = laws[kind]
    return np.minimum(1.0, (reference / size) ** exponent)


def eccentric_step_factor(thick_mm: float, thin_mm: float, eccentricity_mm: float) -> float:
    """Size factor of a butt weld between plates whose middle planes do not meet, EN 1993-1-9:2005 Table 8.3 detail 17.

    ks = (25/t1)^0.2 / (1 + 6 e/t1 * t1^1.5/(t1^1.5 + t2^1.5)), the first factor only above 25 mm. The stress
    is that in the thinner plate.

    Args:
        thick_mm: t2, thickness of the thicker plate, mm.
        thin_mm: t1, thickness of the thinner plate, mm.
        eccentricity_mm: e, distance between the middle planes, mm, >= 0.
    """
    thin, thick = one(positive, "thin_mm", thin_mm), one(positive, "thick_mm", thick_mm)
    if thin > thick:
        raise InputError("thin_mm", f"must not exceed thick_mm ({thick:g} mm), got {thin:g}")
    eccentricity = one(non_negative, "eccentricity_mm", eccentricity_mm)
    share = thin**1.5 / (thin**1.5 + thick**1.5)
    thickness = float(size_factor(thin, "transverse_butt"))
    return float(thickness / (1 + 6 * eccentricity / thin * share))


def effective_range(highest_mpa: ArrayLike, lowest_mpa: ArrayLike, *, stress_free: bool = False) -> FloatArray:
    """Stress range to use, MPa, from the highest and lowest stress of a cycle (tension positive).

    The whole range by default: welds as made hold tension up to yield, so compression counts in full. Only where the
    detail is not welded or is stress-relieved (``stress_free=True``) does the compressive part count 0.6.

    Args:
        highest_mpa: highest stress of the cycle, MPa.
        lowest_mpa: lowest stress of the cycle, MPa; never above the highest.
        stress_free: True only for details not welded, or stress-relieved.

    Source: EN 1993-1-9:2005 §7.2.1.
    """
    high, low = np.broadcast_arrays(finite("highest_mpa", highest_mpa), finite("lowest_mpa", lowest_mpa))
    if np.any(high < low):
        raise InputError("highest_mpa", "must not be less than lowest_mpa")
    if not stress_free:
        return np.asarray(high - low)
    tension = np.maximum(high, 0) - np.maximum(low, 0)
    compression = np.minimum(high, 0) - np.minimum(low, 0)
    return np.asarray(tension + 0.6 * compression)


def largest_range_mpa(yield_mpa: ArrayLike, *, kind: str = DIRECT) -> FloatArray:
    """Largest nominal range the lines may be used for: 1.5 fy, or 1.5 fy/sqrt(3) in shear. EN 1993-1-9:2005 §8(1).

    Args:
        yield_mpa: yield strength fy, MPa.
        kind: "direct" or "shear".
    """
    shear = is_shear(kind)
    return np.asarray(1.5 * positive("yield_mpa", yield_mpa) / np.where(shear, np.sqrt(3.0), 1.0))


def iiw_cycles_to_failure(
    range_mpa: ArrayLike,
    fat_class: str,
    *,
    gamma_m: ArrayLike = 1.0,
    size_factor: ArrayLike = 1.0,
    spectrum: bool = True,
    table: Table | None = None,
) -> FloatArray:
    """Cycles to failure on an IIW line for steel, nominal stress (IIW-2259-15 §3.2, §4.2).

    Direct: m = 3 to 10 million cycles, then m = 5 in a spectrum. Shear: m = 5 throughout a spectrum. Under constant
    amplitude the line falls on with m = 22 beyond its knee (10 million direct, 100 million shear): IIW gives no range
    that does no damage, so only a range of 0 returns ``inf``.

    Args:
        range_mpa: stress range, MPa, >= 0.
        fat_class: row of the table, such as "FAT90" or "FAT80-shear".
        gamma_m: partial factor on the class.
        size_factor: f(t) <= 1.
        spectrum: False for constant amplitude.
        table: the office's own table, or None.

    Example: FAT90 at its knee, 52.63 MPa, gives 10 million cycles.
    """
    row = (table or load("iiw_fat")).row(fat_class)
    m, knee = float(row["m"]), float(row["knee_cycles"])
    ratio, _ = strength_ratio(range_mpa, row["fat_mpa"], DIRECT, gamma_m, size_factor)
    knee_ratio = (REFERENCE_CYCLES / knee) ** (1 / m)
    beyond = 5.0 if spectrum else 22.0
    slope = np.where(ratio >= knee_ratio, m, beyond)
    with np.errstate(divide="ignore", over="ignore"):  # range 0, or a tiny one to the 22nd power: endless life
        return np.asarray(knee * (knee_ratio / ratio) ** slope)


def us_cycles_to_failure(
    range_ksi: ArrayLike, category: str, *, edition: str, spectrum: bool = True, table: Table | None = None
) -> FloatArray:
    """Cycles to failure on a US line, ranges in ksi (1 ksi = 6.894757 MPa).

    AISC 360-10 and AASHTO: N = C/S^3 (exact cube root). AISC 360-16 and -22 print S = 1000 (C/1e9 / N)^0.333, so
    N = C/1e9 (1000/S)^(1/0.333), longer by about 1 %. Category F (throat shear): S = (150e10/N)^(1/6), printed in the
    later editions as 100 (1.5/N)^0.167.

    Args:
        range_ksi: nominal stress range, ksi, >= 0.
        category: "A" ... "G" with "B'", "C'", "E'".
        edition: "360-10", "360-16", "360-22" or "aashto"; no default, because they differ.
        spectrum: True runs the line on below the threshold (some larger range may have passed it); False gives ``inf``
            at or below the threshold: constant amplitude.
        table: the office's own table, or None.

    Source: ANSI/AISC 360 Appendix 3 Eq. A-3-1; AASHTO LRFD Eq. 6.6.1.2.5-2. More than 20 000 cycles only.
    """
    row = _us_row(category, edition, table)
    ranges = non_negative("range_ksi", range_ksi)
    coefficient, exponent = _us_form(row, edition)
    with np.errstate(divide="ignore", over="ignore"):  # a range of 0 never fails
        cycles = (coefficient / ranges) ** (1 / exponent)
    return cycles if spectrum else np.where(ranges <= float(row["threshold_ksi"]), np.inf, cycles)


def us_allowable_range_ksi(cycles: ArrayLike, category: str, *, edition: str, table: Table | None = None) -> FloatArray:
    """Allowable stress range F_SR, ksi, at a number of cycles; never below the threshold (constant amplitude).

    Same forms, source, category, edition and table as ``us_cycles_to_failure``; cycles > 0.
    Example: C at 2 million cycles gives 13.006 ksi (360-10) or 13.063 ksi (360-16, -22).
    """
    row = _us_row(category, edition, table)
    coefficient, exponent = _us_form(row, edition)
    return np.maximum(coefficient * positive("cycles", cycles) ** -exponent, float(row["threshold_ksi"]))


def us_allowable_range_mpa(cycles: ArrayLike, category: str, *, edition: str, table: Table | None = None) -> FloatArray:
    """Allowable stress range, MPa, as the metric equations print it.

    Arguments as for ``us_allowable_range_ksi`` (cycles, category, edition, table).
    AISC 360-16 and -22, Eq. A-3-1M: 6900 (C/1e9 / n)^0.333 and, category F, 690 (1.5/n)^0.167, with the thresholds
    printed in MPa. 360-10 and AASHTO: the ksi result times 6.894757. Example: B at 150 000 cycles gives 298.248 MPa
    (360-22).
    """
    row = _us_row(category, edition, table)
    coefficient, exponent = _us_form(row, edition)
    mpa_per_ksi = 6.9 if edition in ("360-16", "360-22") else MPA_PER_KSI
    allowed = mpa_per_ksi * coefficient * positive("cycles", cycles) ** -exponent
    return np.maximum(allowed, float(row["threshold_mpa"]))


def _us_row(category: str, edition: str, table: Table | None) -> Row:
    if edition not in EDITIONS:
        raise InputError("edition", f"must be one of {', '.join(EDITIONS)}; got {edition!r}", code="unknown_row")
    return (table or load("us_categories")).row(category)


def _us_form(row: Row, edition: str) -> tuple[float, float]:
    """(k, p) of S = k N^-p in ksi, as the edition prints it."""
    m, constant = float(row["m"]), float(row["constant_ksi"])
    if edition in ("360-16", "360-22"):
        printed, scale = (0.333, 1000.0) if m == 3 else (0.167, 100.0)
        return scale * (constant / scale**m) ** printed, printed
    return constant ** (1 / m), 1 / m
