"""Miner damage from stress spectra, and its inverse: cycles until a share of it is used.

Linear damage, D = sum(n_i/N_i), on the lines of EN 1993-1-9:2005 (Annex A.5). Stresses in MPa; damage is a plain
number, 1 being the life used up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from engineering import sn_curves
from engineering.errors import FloatArray, InputError, non_negative, one, positive

CHUNK_ROWS = 32_768  # keeps the working arrays inside the processor's cache


def per_operating_cycle(
    ranges_mpa: ArrayLike,
    counts: ArrayLike,
    category_mpa: ArrayLike,
    kind: ArrayLike = sn_curves.DIRECT,
    gamma_mf: ArrayLike = 1.0,
    size_factor: ArrayLike = 1.0,
    *,
    spectrum: bool = True,
) -> FloatArray:
    """Miner damage that one operating cycle does to each of n joints: D = sum over k of n_k/N(range_k).

    Args:
        ranges_mpa: (n, K) stress ranges, MPa, >= 0.
        counts: (n, K) how often each range occurs in one operating cycle, >= 0; pad with count 0.
        category_mpa: (n,) or one detail category, MPa.
        kind: (n,) or one of "direct", "shear".
        gamma_mf: (n,) or one partial factor.
        size_factor: (n,) or one size factor ks.
        spectrum: False only where every joint sees a single range of constant amplitude.

    Returns:
        (n,) damage per operating cycle; 0 where every range lies below the cut-off.

    Errors: ``InputError`` naming the argument (NaN, negative, wrong shape, unknown kind).
    Source: EN 1993-1-9:2005 Annex A.5. Example: category 71, one range of 100 MPa: 1/715 822.
    """
    ranges, number = np.asarray(ranges_mpa), np.asarray(counts)
    if ranges.ndim != 2 or ranges.shape != number.shape:
        raise InputError("ranges_mpa", "ranges_mpa and counts must both have the shape (joints, bins)", code="shape")
    per_joint = {"category_mpa": category_mpa, "kind": kind, "gamma_mf": gamma_mf, "size_factor": size_factor}
    columns = {name: _column(name, value, len(ranges)) for name, value in per_joint.items()}
    damage = np.empty(len(ranges))
    for start in range(0, len(ranges), CHUNK_ROWS):
        rows = slice(start, start + CHUNK_ROWS)
        arguments = [value if value.ndim == 0 else value[rows, None] for value in columns.values()]
        ratio, shear = sn_curves.strength_ratio(non_negative("ranges_mpa", ranges[rows]), *arguments)
        each = sn_curves.damage_per_cycle(ratio, shear, spectrum=spectrum)
        damage[rows] = np.einsum("ij,ij->i", each, non_negative("counts", number[rows]))
    return damage


@dataclass(frozen=True)
class Block:
    """One line of a damage sum: range (MPa), count, cycles to failure at that range, and its share of damage."""

    range_mpa: float
    count: float
    cycles_to_failure: float
    damage: float


def working(
    ranges_mpa: ArrayLike,
    counts: ArrayLike,
    category_mpa: float,
    *,
    kind: str = sn_curves.DIRECT,
    gamma_mf: float = 1.0,
    size_factor: float = 1.0,
    spectrum: bool = True,
) -> list[Block]:
    """The damage sum of one joint line by line, largest range first, for a page that shows its working.

    Args:
        ranges_mpa: stress ranges, MPa.
        counts: how often each occurs.
        category_mpa, kind, gamma_mf, size_factor, spectrum: of the one joint, as for ``per_operating_cycle``.

    The damages add up to the result of ``per_operating_cycle``.
    """
    ranges, number = (
        np.atleast_1d(non_negative("ranges_mpa", ranges_mpa)),
        np.atleast_1d(non_negative("counts", counts)),
    )
    if ranges.shape != number.shape or ranges.ndim != 1:
        raise InputError("ranges_mpa", "ranges_mpa and counts must be two lists of the same length", code="shape")
    life = sn_curves.cycles_to_failure(
        ranges, category_mpa, kind=kind, gamma_mf=gamma_mf, size_factor=size_factor, spectrum=spectrum
    )
    order = np.argsort(-ranges, kind="stable")
    return [Block(float(ranges[i]), float(number[i]), float(life[i]), float(number[i] / life[i])) for i in order]


def equivalent_range(ranges_mpa: ArrayLike, counts: ArrayLike, m: float) -> FloatArray:
    """Range of constant amplitude that does the same damage in the same number of cycles on a line of slope m, MPa.

    S_eq = (sum n S^m / sum n)^(1/m), over the last axis. One slope only: no limit and no cut-off enter.

    Args:
        ranges_mpa: stress ranges, MPa, >= 0.
        counts: how often each occurs, >= 0.
        m: slope of the line, > 0.

    Errors: ``InputError`` where all counts are 0 or the shapes do not go together.
    Source: EN 1993-1-9:2005 §1.3.2.9 and Annex A.
    Example: the spectrum of ASTM E1049 Figure 6 gives 6.4911 for m = 3.
    """
    slope = one(positive, "m", m)
    ranges, number = non_negative("ranges_mpa", ranges_mpa), non_negative("counts", counts)
    try:
        shape = np.broadcast_shapes(ranges.shape, number.shape)
    except ValueError as error:
        raise InputError(
            "counts", f"{number.shape} of them do not go with {ranges.shape} ranges", code="shape"
        ) from error
    if not shape:
        raise InputError("ranges_mpa", "needs a row of ranges with their counts, got one number", code="shape")
    total = np.sum(np.broadcast_to(number, shape), axis=-1)
    if np.any(total == 0):
        raise InputError("counts", "at least one count must be greater than 0", code="not_positive")
    highest = np.max(ranges, axis=-1, keepdims=True, initial=np.finfo(float).tiny)  # scaled: no overflow for any m
    mean = np.sum(number * (ranges / highest) ** slope, axis=-1) / total
    return np.asarray(np.squeeze(highest, axis=-1) * mean ** (1 / slope))


def cycles_to_share(share: ArrayLike, damage_per_cycle: ArrayLike) -> FloatArray:
    """Operating cycles until a share of the damage is used: share / damage per cycle; ``inf`` where that damage is 0.

    Args:
        share: share of Miner damage, >= 0 (0.3 and 0.5 for a first detailed look are common practice, no source).
        damage_per_cycle: damage of one operating cycle, >= 0.
    """
    wanted, rate = np.broadcast_arrays(non_negative("share", share), non_negative("damage_per_cycle", damage_per_cycle))
    life: FloatArray = np.divide(wanted, rate, out=np.full(rate.shape, np.inf), where=rate > 0)
    return life


def interaction(
    direct_mpa: ArrayLike,
    direct_category_mpa: ArrayLike,
    shear_mpa: ArrayLike,
    shear_category_mpa: ArrayLike,
    *,
    gamma_ff: ArrayLike = 1.0,
    gamma_mf: ArrayLike = 1.0,
) -> FloatArray:
    """Use of a joint under direct and shear ranges together: (S/(Sc/g))^3 + (T/(Tc/g))^5; more than 1 is too much.

    Args:
        direct_mpa: equivalent direct range at 2 million cycles, MPa.
        direct_category_mpa: direct category, MPa.
        shear_mpa: equivalent shear range at 2 million cycles, MPa.
        shear_category_mpa: shear category, MPa.
        gamma_ff: partial factor on the ranges.
        gamma_mf: partial factor on the categories.

    Source: EN 1993-1-9:2005 §8(3). Example: 71 of 71 MPa and no shear gives 1.
    """
    load = positive("gamma_ff", gamma_ff)
    direct, _ = sn_curves.strength_ratio(direct_mpa, direct_category_mpa, sn_curves.DIRECT, gamma_mf, 1.0)
    shear, _ = sn_curves.strength_ratio(shear_mpa, shear_category_mpa, sn_curves.SHEAR, gamma_mf, 1.0)
    return np.asarray((load * direct) ** 3 + (load * shear) ** 5)


def _column(argument: str, value: ArrayLike, rows: int) -> np.ndarray:
    column = np.asarray(value)
    if column.ndim > 1 or (column.ndim == 1 and len(column) != rows):
        raise InputError(argument, f"must be one value or one for each of the {rows} joints", code="shape")
    return column
