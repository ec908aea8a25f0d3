"""Static strength of fillet welds: effective throat, EN 1993-1-8 directional and simplified methods, AISC 360 J2.

Forces per length in N/mm, stresses in MPa, lengths in mm; arguments broadcast as numpy arrays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from engineering import tables
from engineering.errors import FloatArray, InputError, finite, non_negative, one, positive, within
from engineering.tables import Table

GAMMA_M2 = 1.25  # EN 1993-1-8:2005 2.2, recommended
LEAST_THROAT_MM = 3.0  # EN 1993-1-8:2005 4.5.2(2), from memory
PHI, OMEGA = 0.75, 2.00  # ANSI/AISC 360-22 Table J2.5, fillet welds
E70_MPA = 482.6  # 70 ksi


def effective_throat_mm(
    leg_mm: ArrayLike,
    *,
    second_leg_mm: ArrayLike | None = None,
    gap_mm: ArrayLike = 0.0,
    penetration_mm: ArrayLike = 0.0,
    penetration_proven: bool = False,
    angle_deg: ArrayLike = 90.0,
) -> FloatArray:
    """Effective throat of a fillet, mm: shortest way from the root to the straight line between the toes.

    EN 1993-1-8:2005 4.5.2 and ANSI/AISC 360-22 J2.2a. With equal legs at 90°: leg/√2. The root gap is taken off the
    leg that costs more throat; AWS D1.1 lets a gap up to 2 mm go uncounted (from memory), which is not done here.

    Args:
        leg_mm, second_leg_mm: legs, mm; one leg given means equal legs.
        gap_mm: gap at the root, mm, smaller than either leg.
        penetration_mm: depth of fusion beyond the root along the throat, mm; counted only where
            ``penetration_proven`` (procedure tests show it is reached every time, EN 1993-1-8 4.5.2(3)).
        angle_deg: angle between the fusion faces, 60 to 120 degrees (EN 1993-1-8 4.3.2.1; outside it other rules hold).

    Returns:
        Throat, mm. Raises ``InputError`` where nothing is left, or penetration is claimed without proof.

    >>> float(effective_throat_mm(8).round(3))
    5.657
    """
    first = positive("leg_mm", leg_mm)
    second = first if second_leg_mm is None else positive("second_leg_mm", second_leg_mm)
    gap, penetration = non_negative("gap_mm", gap_mm), non_negative("penetration_mm", penetration_mm)
    angle = within("angle_deg", angle_deg, 60.0, 120.0, unit="degrees")
    if np.any(gap >= np.minimum(first, second)):
        raise InputError("gap_mm", "must be smaller than the leg: no throat is left")
    if np.any(penetration > 0) and not penetration_proven:
        raise InputError("penetration_mm", "counts only where procedure tests prove it: set penetration_proven")
    throat = np.minimum(_shortest(first - gap, second, angle), _shortest(first, second - gap, angle))
    return np.asarray(throat + penetration, dtype=np.float64)


def throat_to_wall(throat_mm: ArrayLike, wall_mm: ArrayLike) -> FloatArray:
    """Throat over wall, a/t: compare with ``full_strength_throat_mm(1, ...)`` of the steel."""
    return np.asarray(positive("throat_mm", throat_mm) / positive("wall_mm", wall_mm), dtype=np.float64)


def full_strength_throat_mm(
    wall_mm: ArrayLike, *, yield_mpa: ArrayLike, ultimate_mpa: ArrayLike, beta_w: ArrayLike, sides: int = 2,
    gamma_m2: float = GAMMA_M2,
) -> FloatArray:  # fmt: skip
    """Throat, mm, of transverse fillets on ``sides`` (1 or 2) that carries the yield force of the wall.

    a = t · (2/sides) · fy βw γM2 / (√2 fu), from the directional method with σ⊥ = τ⊥ (EN 1993-1-8:2005 4.5.3.2,
    γM0 = 1). On one side the bending from the eccentric root is not in it (4.12 asks for it, save round a tube).
    """
    if sides not in (1, 2):
        raise InputError("sides", f"must be 1 or 2, got {sides!r}")
    wall, strength = positive("wall_mm", wall_mm), _strength(ultimate_mpa, beta_w, gamma_m2)
    return np.asarray(wall * (2.0 / sides) * positive("yield_mpa", yield_mpa) / (np.sqrt(2.0) * strength))


def simplified_strength_mpa(
    *, ultimate_mpa: ArrayLike, beta_w: ArrayLike, gamma_m2: ArrayLike = GAMMA_M2
) -> FloatArray:
    """Design shear strength of a fillet, MPa: fvw,d = fu / (√3 βw γM2) (EN 1993-1-8:2005 4.5.3.3).

    >>> float(simplified_strength_mpa(ultimate_mpa=410, beta_w=0.85).round(1))
    222.8
    """
    return np.asarray(_strength(ultimate_mpa, beta_w, gamma_m2) / np.sqrt(3.0))


def simplified_utilisation(
    force_n_per_mm: ArrayLike, *, throat_mm: ArrayLike, ultimate_mpa: ArrayLike, beta_w: ArrayLike,
    gamma_m2: ArrayLike = GAMMA_M2,
) -> FloatArray:  # fmt: skip
    """Resultant force per length over a · fvw,d, whatever its direction (EN 1993-1-8:2005 4.5.3.3)."""
    strength = simplified_strength_mpa(ultimate_mpa=ultimate_mpa, beta_w=beta_w, gamma_m2=gamma_m2)
    return np.asarray(non_negative("force_n_per_mm", force_n_per_mm) / (positive("throat_mm", throat_mm) * strength))


def directional_utilisation(
    *, sigma_perp_mpa: ArrayLike, tau_perp_mpa: ArrayLike, tau_par_mpa: ArrayLike, ultimate_mpa: ArrayLike,
    beta_w: ArrayLike, gamma_m2: ArrayLike = GAMMA_M2,
) -> FloatArray:  # fmt: skip
    """Greater of the two conditions of EN 1993-1-8:2005 4.5.3.2(6) as shares of their limits; 1 is the limit.

    √(σ⊥² + 3(τ⊥² + τ∥²)) ≤ fu/(βw γM2) and |σ⊥| ≤ 0.9 fu/γM2; stresses on the throat, MPa.
    """
    sigma = finite("sigma_perp_mpa", sigma_perp_mpa)
    across, along = finite("tau_perp_mpa", tau_perp_mpa), finite("tau_par_mpa", tau_par_mpa)
    equivalent = np.sqrt(sigma**2 + 3 * (across**2 + along**2)) / _strength(ultimate_mpa, beta_w, gamma_m2)
    normal = np.abs(sigma) / (0.9 * _strength(ultimate_mpa, 1.0, gamma_m2))
    return np.maximum(equivalent, normal)


def directional_utilisation_of_forces(
    *, normal_n_per_mm: ArrayLike, across_n_per_mm: ArrayLike, along_n_per_mm: ArrayLike, throat_mm: ArrayLike,
    ultimate_mpa: ArrayLike, beta_w: ArrayLike, gamma_m2: ArrayLike = GAMMA_M2,
) -> FloatArray:  # fmt: skip
    """Directional method for one equal-leg fillet at 90° under forces per length, N/mm.

    ``normal`` pulls out of the plane that carries the weld, ``across`` lies in that plane square to the weld, ``along``
    runs with it. On the throat at 45°: σ⊥ = (n ± c)/(√2 a), τ⊥ = (n ∓ c)/(√2 a), τ∥ = l/a; as it is not said on which
    side of the part the fillet lies, the worse sign counts.
    """
    throat = positive("throat_mm", throat_mm)
    normal = np.abs(finite("normal_n_per_mm", normal_n_per_mm))
    across = np.abs(finite("across_n_per_mm", across_n_per_mm))
    along = finite("along_n_per_mm", along_n_per_mm) / throat
    both = [
        directional_utilisation(
            sigma_perp_mpa=(normal + sign * across) / (np.sqrt(2.0) * throat),
            tau_perp_mpa=(normal - sign * across) / (np.sqrt(2.0) * throat),
            tau_par_mpa=along, ultimate_mpa=ultimate_mpa, beta_w=beta_w, gamma_m2=gamma_m2,
        )
        for sign in (1.0, -1.0)
    ]  # fmt: skip
    return np.maximum(both[0], both[1])


def effective_length_mm(length_mm: ArrayLike, *, throat_mm: ArrayLike, ends_full_size: bool = False) -> FloatArray:
    """Length of fillet, mm, that may carry load: less 2a unless the ends are full size (EN 1993-1-8:2005 4.5.1).

    ``InputError`` where less than 30 mm or 6a is left: such a weld is not designed to carry load.
    """
    throat = positive("throat_mm", throat_mm)
    length = np.asarray(positive("length_mm", length_mm) - (0.0 if ends_full_size else 2 * throat))
    if np.any(length < np.maximum(30.0, 6 * throat)):
        raise InputError("length_mm", "leaves an effective length below the greater of 30 mm and 6 times the throat")
    return length


def long_lap_factor(length_mm: ArrayLike, *, throat_mm: ArrayLike) -> FloatArray:
    """Reduction for lap joints longer than 150 a: βLw = 1.2 - 0.2 L/(150 a), at most 1 (EN 1993-1-8:2005 4.11(2)).

    ``InputError`` beyond 900 a, where the formula runs to nothing.
    """
    ratio = positive("length_mm", length_mm) / (150.0 * positive("throat_mm", throat_mm))
    if np.any(ratio >= 6.0):
        raise InputError("length_mm", "beyond 900 times the throat nothing is left by this formula")
    return np.minimum(1.0, 1.2 - 0.2 * ratio)


def minimum_leg_mm(thinner_mm: float, *, table: Table | None = None) -> float:
    """Smallest fillet leg, mm, for the thinner part joined (AISC 360-22 Table J2.4; table ``weld_min_size``)."""
    thinner = one(positive, "thinner_mm", thinner_mm)
    for row in (table or tables.load("weld_min_size")).rows.values():
        if row["thinner_over_mm"] < thinner <= row.get("thinner_to_mm", np.inf):
            return float(row["leg_mm"])
    raise InputError("thinner_mm", f"no row of the table holds {thinner:g} mm", code="unknown_row")


def aisc_strength_n_per_mm(
    *, throat_mm: ArrayLike, electrode_mpa: ArrayLike = E70_MPA, angle_deg: ArrayLike = 0.0,
    directional_increase: bool = False, method: str = "LRFD",
) -> FloatArray:  # fmt: skip
    """Available strength of a fillet, N/mm: φ or 1/Ω times 0.60 FEXX kds a (ANSI/AISC 360-22 J2.4).

    Args:
        throat_mm: effective throat, mm.
        electrode_mpa: filler metal classification strength FEXX, MPa (482.6 is 70 ksi).
        angle_deg: angle between load and weld axis, 0 to 90 degrees.
        directional_increase: count kds = 1 + 0.5 sin^1.5 θ. Off unless asked for: it holds where every weld of the
            group can deform alike, and not at the ends of rectangular hollow sections (from memory).
        method: "LRFD" (φ = 0.75) or "ASD" (Ω = 2.00). The base metal is checked apart.
    """
    if method not in ("LRFD", "ASD"):
        raise InputError("method", f"must be LRFD or ASD, got {method!r}", code="unknown_row")
    angle = within("angle_deg", angle_deg, 0.0, 90.0, unit="degrees")
    increase = aisc_increase(angle) if directional_increase else np.ones_like(angle)
    nominal = 0.60 * positive("electrode_mpa", electrode_mpa) * increase * positive("throat_mm", throat_mm)
    return np.asarray(nominal * PHI if method == "LRFD" else nominal / OMEGA)


def aisc_increase(angle_deg: ArrayLike) -> FloatArray:
    """kds = 1 + 0.5 sin^1.5 θ, θ from 0 to 90 degrees between load and weld axis (ANSI/AISC 360-22 J2.4).

    >>> float(aisc_increase(60).round(2))
    1.4
    """
    angle = np.deg2rad(within("angle_deg", angle_deg, 0.0, 90.0, unit="degrees"))
    return np.asarray(1.0 + 0.5 * np.sin(angle) ** 1.5)


def aisc_mixed_strength_n(*, longitudinal_n: ArrayLike, transverse_n: ArrayLike) -> FloatArray:
    """Strength, N, of a concentric group of longitudinal and transverse fillets, each given without increase.

    Greater of Rl + Rt and 0.85 Rl + 1.5 Rt (ANSI/AISC 360-16 J2.4(b)(2), from memory).
    """
    along = non_negative("longitudinal_n", longitudinal_n)
    across = non_negative("transverse_n", transverse_n)
    return np.maximum(along + across, 0.85 * along + 1.5 * across)


def _strength(ultimate_mpa: ArrayLike, beta_w: ArrayLike, gamma_m2: ArrayLike) -> FloatArray:
    ultimate = positive("ultimate_mpa", ultimate_mpa)
    return np.asarray(ultimate / (positive("beta_w", beta_w) * positive("gamma_m2", gamma_m2)))


def _shortest(first: FloatArray, second: FloatArray, angle_deg: FloatArray) -> FloatArray:
    """Distance from the corner to the far side of a triangle with two legs, mm; a leg where the foot falls outside."""
    angle = np.deg2rad(angle_deg)
    face = np.sqrt(first**2 + second**2 - 2 * first * second * np.cos(angle))
    foot_inside = np.maximum(first, second) * np.cos(angle) <= np.minimum(first, second)
    return np.where(foot_inside, first * second * np.sin(angle) / face, np.minimum(first, second))
