"""Growth of a surface crack at a weld toe: cycles between two depths, depth after a number of cycles.

Units: depth mm, range of stress MPa, range of K N/mm^1.5, growth mm per cycle.

Model: one semi-elliptical crack of constant a/c along the weld toe, grown at its deepest point by
da/dN = A ΔK^m (stage by stage), ΔK = [(1 − β) Mkm + β Mkb H] Δσ √(πa/Q) F with β the share of bending; F, H, Q after
Newman–Raju, Mk after BS 7910 (see ``engineering.stress_intensity``). The range is constant: a spectrum enters as its
equivalent range. All arguments broadcast over joints.

Method: the integral of da over da/dN is taken in ln a by Gauss–Legendre rules on pieces that end wherever the
magnification or the law changes its line, so that the integrand is smooth on every piece. Root finding:
``scipy.optimize.elementwise``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engineering.errors import FloatArray, InputError, non_negative, one, positive
from engineering.growth_law import DEFAULT_LAW, GrowthLaw, law
from engineering.toe_crack import Cracks

__all__ = ["DEFAULT_ASPECT", "DEFAULT_LAW", "GrowthLaw", "cycles_between", "law", "paris_cycles", "size_after"]

DEFAULT_ASPECT = 0.2
"""Depth over half length. Cracks along a toe start at many points and join: long and shallow, the safe side for
growth. Within 0.2 to 1 a smaller value never lengthens the life in tension."""


def paris_cycles(
    start_mm: ArrayLike, end_mm: ArrayLike, *, range_mpa: ArrayLike, a: float, m: float, factor: ArrayLike = 1.0
) -> FloatArray:
    """Cycles from one crack size to another in closed form, where ΔK = Y Δσ √(πa) with constant Y and one stage.

    Args:
        start_mm: first size; 0 cycles where it is not below ``end_mm``.
        end_mm: last size.
        range_mpa: range of stress.
        a: constant A, mm per cycle and N/mm^1.5.
        m: exponent.
        factor: Y, no unit.

    N = (end^(1−m/2) − start^(1−m/2)) / (A (Y Δσ √π)^m (1 − m/2)); for m = 2, N = ln(end/start) / (A (Y Δσ)² π).

    >>> round(float(paris_cycles(1, 10, range_mpa=100, a=5.21e-13, m=3)))
    471388
    """
    start = positive("start_mm", start_mm)
    end = np.maximum(positive("end_mm", end_mm), start)
    drive = positive("factor", factor) * positive("range_mpa", range_mpa) * np.sqrt(np.pi)
    constant = one(positive, "a", a) * drive ** one(positive, "m", m)
    power = 1.0 - m / 2.0
    # expm1 keeps its digits as the power nears 0, where the quotient tends to the logarithm.
    growth = np.log(end / start)
    return np.asarray((growth if power == 0.0 else start**power * np.expm1(power * growth) / power) / constant)


def cycles_between(
    start_mm: ArrayLike,
    end_mm: ArrayLike,
    *,
    range_mpa: ArrayLike,
    law: GrowthLaw,
    wall_mm: ArrayLike,
    attachment_mm: ArrayLike,
    aspect: ArrayLike = DEFAULT_ASPECT,
    bending_share: ArrayLike = 0.0,
    half_width_mm: ArrayLike = np.inf,
    threshold: bool = False,
) -> FloatArray:
    """Cycles for a weld-toe surface crack to grow from one depth to another.

    Args:
        start_mm: first depth.
        end_mm: last depth; 0 cycles where it is not above ``start_mm``.
        range_mpa: range of stress at the surface (membrane and bending together), or the equivalent range; > 0.
        law: growth law.
        wall_mm: thickness of the cracked wall.
        attachment_mm: length of the attachment along the stress with its weld legs; infinity is the safe choice.
        aspect: a/c, constant, 0.2 to 1.
        bending_share: share of the range that is bending, 0 to 1; 0 is the safe choice.
        half_width_mm: half the width of the plate; infinity for a tube.
        threshold: whether a range of K below the law's threshold stops the crack; infinite cycles then.

    Range of validity: depths up to ``stress_intensity.deepest_valid_mm`` (a/t ≤ 0.8, c/b ≤ 0.5). ``InputError`` beyond
    it, and where bending presses the deepest point shut, which this model cannot answer.
    Within 0.5 % of a tight solution of the differential equation. Sources: see the module.
    """
    cracks = Cracks.of(range_mpa, wall_mm, attachment_mm, aspect, bending_share, half_width_mm, start_mm, end_mm)
    start = cracks.valid_depth("start_mm", start_mm)
    end = cracks.valid_depth("end_mm", end_mm)
    return cracks.cycles(np.log(start), np.log(end), law, threshold).reshape(cracks.shape)


def counts_between(
    start_mm: ArrayLike,
    end_mm: ArrayLike,
    *,
    ranges_mpa: ArrayLike,
    counts: ArrayLike,
    law: GrowthLaw,
    wall_mm: ArrayLike,
    attachment_mm: ArrayLike,
    aspect: ArrayLike = DEFAULT_ASPECT,
    bending_share: ArrayLike = 0.0,
    half_width_mm: ArrayLike = np.inf,
) -> FloatArray:
    """Counts of a spectrum for a weld-toe surface crack to grow from one depth to another.

    Growth by one count is Σ n_k A ΔK_k^m, each range in its own stage of the law: no equivalent range, which a law in
    stages does not have. No threshold: under a spectrum, growth below it is not ruled out (safe side).

    Args:
        start_mm: (n,) first depth.
        end_mm: (n,) last depth; 0 counts where it is not above ``start_mm``.
        ranges_mpa: (n, K) ranges of stress at the surface, >= 0; a range of 0 grows nothing.
        counts: (n, K) how often each range comes by one count; pad with 0. Each row needs one that grows.
        law: growth law.
        wall_mm: thickness of the cracked wall.
        attachment_mm: length of the attachment along the stress with its weld legs; infinity is the safe choice.
        aspect: a/c, constant, 0.2 to 1.
        bending_share: share of the ranges that is bending, 0 to 1; 0 is the safe choice.
        half_width_mm: half the width of the plate; infinity for a tube.

    Returns:
        (n,) counts. Range of validity and errors as ``cycles_between``; interaction between large and small ranges
        (retardation) is left out, the safe side.
    """
    ranges, number = non_negative("ranges_mpa", ranges_mpa), non_negative("counts", counts)
    if ranges.ndim != 2 or ranges.shape != number.shape:
        raise InputError("ranges_mpa", "ranges_mpa and counts must both have the shape (cracks, bins)", code="shape")
    if not np.all(np.any((ranges > 0) & (number > 0), axis=1)):
        raise InputError("counts", "each crack needs at least one range above 0 that occurs", code="not_positive")
    unit = np.ones(len(ranges))
    cracks = Cracks.of(unit, wall_mm, attachment_mm, aspect, bending_share, half_width_mm, start_mm, end_mm)
    start, end = cracks.valid_depth("start_mm", start_mm), cracks.valid_depth("end_mm", end_mm)
    return cracks.counts(np.log(start), np.log(end), law, ranges, number)


def size_after(
    start_mm: ArrayLike,
    cycles: ArrayLike,
    *,
    range_mpa: ArrayLike,
    law: GrowthLaw,
    wall_mm: ArrayLike,
    attachment_mm: ArrayLike,
    aspect: ArrayLike = DEFAULT_ASPECT,
    bending_share: ArrayLike = 0.0,
    half_width_mm: ArrayLike = np.inf,
    threshold: bool = False,
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Depth in mm after ``cycles`` cycles, and whether the end of the model's range was reached.

    Arguments as ``cycles_between``, of which this is the inverse:

    Args:
        start_mm: depth at the outset.
        cycles: cycles from then on, ≥ 0.
        range_mpa: see ``cycles_between``.
        law: see ``cycles_between``.
        wall_mm: see ``cycles_between``.
        attachment_mm: see ``cycles_between``.
        aspect: see ``cycles_between``.
        bending_share: see ``cycles_between``.
        half_width_mm: see ``cycles_between``.
        threshold: see ``cycles_between``.

    Where the second result is true the depth is the deepest the model answers for, and the true one is at least that.
    """
    cracks = Cracks.of(range_mpa, wall_mm, attachment_mm, aspect, bending_share, half_width_mm, start_mm, cycles)
    low = np.log(cracks.valid_depth("start_mm", start_mm))
    wanted = np.broadcast_to(non_negative("cycles", cycles), cracks.shape).ravel()
    high = np.maximum(np.log(cracks.deepest), low)
    reached = cracks.cycles(low, high, law, threshold) <= wanted
    ln_depth = np.where(reached, high, low)
    inside = np.flatnonzero(~reached & (wanted > 0.0) & (high > low))

    def excess(ln_end: FloatArray, index: FloatArray, ln_start: FloatArray, target: FloatArray) -> FloatArray:
        # A stopped crack takes infinite cycles; any figure beyond the target says the same to the root finder.
        spent = cracks.take(index.astype(np.intp)).cycles(ln_start, ln_end, law, threshold)
        return np.asarray(np.minimum(spent, 2.0 * target + 1.0) - target)

    if inside.size:
        from scipy.optimize import elementwise  # here, for it takes most of a second to load

        parameters = (inside.astype(np.float64), low[inside], wanted[inside])
        found = elementwise.find_root(
            excess, (low[inside], high[inside]), args=parameters, tolerances={"xatol": 1e-12, "xrtol": 1e-12}
        )
        ln_depth[inside] = found.x
    depth = np.where(reached, cracks.deepest, np.exp(ln_depth))
    return depth.reshape(cracks.shape), reached.reshape(cracks.shape)
