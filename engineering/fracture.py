"""At what depth a weld-toe surface crack breaks its joint: failure assessment diagram, Option 1.

Units: stress MPa, length mm, toughness MPa√m, temperature °C.

Sources: BS 7910:2013 clause 7 (Option 1), Annex P (reference stress), Annex R (plasticity interaction), Annex J
(toughness from impact energy). Root finding: ``scipy.optimize.elementwise``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engineering import stress_intensity, tables
from engineering.errors import FloatArray, InputError, finite, non_negative, positive, within
from engineering.stress_intensity import N_PER_MM15_IN_MPA_SQRT_M

STEEL_MODULUS_MPA = 210_000.0

FRACTURE = "fracture"
NET_SECTION = "net section"
THROUGH_WALL = "through the wall"
TOO_WIDE = "too wide for the plate"
REASONS = (FRACTURE, NET_SECTION, THROUGH_WALL, TOO_WIDE)

Yielding = Literal["continuous", "plateau", "unknown"]

_BLOCK = 256  # joints assessed at once, so that the arrays stay in the processor's cache
_STEPS = 32  # depths tried for the first failing one
_SHALLOWEST = 1e-3  # first depth tried, as a share of the deepest valid one


def strain_hardening_exponent(*, yield_mpa: ArrayLike, ultimate_mpa: ArrayLike) -> FloatArray:
    """N = 0.3 (1 − σY/σU), no unit (BS 7910:2013 7.3.3). ``yield_mpa`` not above ``ultimate_mpa``, both in MPa."""
    strength, ultimate = _strengths(yield_mpa, ultimate_mpa)
    return np.asarray(0.3 * (1.0 - strength / ultimate))


def largest_load_ratio(*, yield_mpa: ArrayLike, ultimate_mpa: ArrayLike) -> FloatArray:
    """Lr,max = (σY + σU)/(2 σY), no unit (BS 7910:2013 7.3.1). ``yield_mpa``, ``ultimate_mpa`` in MPa."""
    strength, ultimate = _strengths(yield_mpa, ultimate_mpa)
    return np.asarray((strength + ultimate) / (2.0 * strength))


def assessment_curve(
    load_ratio: ArrayLike,
    *,
    yield_mpa: ArrayLike,
    ultimate_mpa: ArrayLike,
    modulus_mpa: ArrayLike = STEEL_MODULUS_MPA,
    yielding: Yielding = "unknown",
) -> FloatArray:
    """Largest fracture ratio Kr at a load ratio Lr (Option 1); 0 beyond Lr,max. No unit.

    Args:
        load_ratio: Lr = reference stress over yield, ≥ 0.
        yield_mpa: yield strength.
        ultimate_mpa: tensile strength, ≥ yield.
        modulus_mpa: modulus of elasticity.
        yielding: ``continuous``, ``plateau`` (a yield plateau, usual in hot-rolled steel up to 800 MPa), or
            ``unknown``: the lower of the two.

    Continuous: Lr ≤ 1: (1 + Lr²/2)^−½ (0.3 + 0.7 exp(−μ Lr⁶)), μ = min(0.001 E/σY, 0.6).
    Plateau: Lr < 1: (1 + Lr²/2)^−½; Lr = 1: (λ + 1/(2λ))^−½, λ = 1 + E Δε/σY, Δε = 0.0375 (1 − 0.001 σY).
    Both above 1: f(1) Lr^((N−1)/(2N)). Source: BS 7910:2013 7.3.3 (plateau: from memory, to be confirmed).

    >>> f = assessment_curve(0.8, yield_mpa=355, ultimate_mpa=490, yielding="continuous")
    >>> round(float(f), 4)
    0.7829
    """
    lr = non_negative("load_ratio", load_ratio)
    strength, ultimate = _strengths(yield_mpa, ultimate_mpa)
    modulus = positive("modulus_mpa", modulus_mpa)
    held = np.minimum(lr, 1.0)
    elastic = (1.0 + 0.5 * held**2) ** -0.5
    mu = np.minimum(0.001 * modulus / strength, 0.6)
    smooth = elastic * (0.3 + 0.7 * np.exp(-mu * held**6))
    if np.any(strength > 1000.0) and yielding != "continuous":
        raise InputError("yield_mpa", "steel above 1000 MPa has no yield plateau; say yielding is continuous")
    lam = 1.0 + modulus * 0.0375 * (1.0 - 0.001 * np.minimum(strength, 1000.0)) / strength
    step = np.where(lr < 1.0, elastic, (lam + 0.5 / lam) ** -0.5)
    base = {"continuous": smooth, "plateau": step, "unknown": np.minimum(smooth, step)}[yielding]
    n = np.maximum(0.3 * (1.0 - strength / ultimate), 1e-3)  # no hardening at all: Lr,max is 1 and the tail is not used
    tail = np.exp(np.log(np.maximum(lr, 1.0)) * (n - 1.0) / (2.0 * n))
    return np.asarray(np.where(lr > largest_load_ratio(yield_mpa=strength, ultimate_mpa=ultimate), 0.0, base * tail))


def reference_stress(
    *,
    membrane_mpa: ArrayLike,
    bending_mpa: ArrayLike = 0.0,
    depth_mm: ArrayLike,
    wall_mm: ArrayLike,
    aspect: ArrayLike,
    half_width_mm: ArrayLike = np.inf,
) -> FloatArray:
    """Reference (net-section) stress in MPa of a plate with a semi-elliptical surface crack, bending restrained.

    Args:
        membrane_mpa: membrane stress Pm ≥ 0.
        bending_mpa: bending stress Pb ≥ 0.
        depth_mm: a.
        wall_mm: B.
        aspect: a/c.
        half_width_mm: W/2.

    (Pb + √(Pb² + 9 Pm² (1 − α)²)) / (3 (1 − α)²), α = (a/B)/(1 + B/c) where W ≥ 2 (c + B), else (a/B)(2c/W).
    Source: BS 7910:2013 P.6 (from memory: to be confirmed).
    """
    tension, bending = non_negative("membrane_mpa", membrane_mpa), non_negative("bending_mpa", bending_mpa)
    depth, wall = positive("depth_mm", depth_mm), positive("wall_mm", wall_mm)
    c = depth / positive("aspect", aspect)
    half_width = stress_intensity.positive_or_infinite("half_width_mm", half_width_mm)
    x = within("depth_mm", depth / wall, 0.0, 1.0 - 1e-9, unit="of the wall")
    alpha = x * np.where(half_width >= c + wall, c / (c + wall), c / half_width)
    left = 1.0 - alpha
    return np.asarray((bending + np.sqrt(bending**2 + 9.0 * (tension * left) ** 2)) / (3.0 * left**2))


def plasticity_interaction(*, primary_k: ArrayLike, secondary_k: ArrayLike, load_ratio: ArrayLike) -> FloatArray:
    """ρ added to Kr because residual and applied stress yield together; no unit.

    Args:
        primary_k: K of the applied stress, > 0.
        secondary_k: K of the residual stress, ≥ 0, same unit.
        load_ratio: Lr.

    χ = Ks Lr/Kp; ρ1 = 0.1 χ^0.714 − 0.007 χ² + 3e-5 χ⁵ for χ ≤ 4, 0.25 above; ρ = ρ1 to Lr = 0.8,
    4 ρ1 (1.05 − Lr) to 1.05, 0 above. Sources: BS 7910:2013 Annex R, as in JCSS Probabilistic Model Code part 3;
    0.25 above 4: from memory.
    """
    lr = non_negative("load_ratio", load_ratio)
    chi = non_negative("secondary_k", secondary_k) * lr / positive("primary_k", primary_k)
    held = np.minimum(chi, 4.0)
    rho1 = np.where(chi <= 4.0, 0.1 * held**0.714 - 0.007 * held**2 + 3e-5 * held**5, 0.25)
    return np.asarray(rho1 * np.clip(4.0 * (1.05 - lr), 0.0, 1.0))


def critical_depth(
    *,
    peak_stress_mpa: ArrayLike,
    yield_mpa: ArrayLike,
    ultimate_mpa: ArrayLike,
    toughness_mpa_sqrt_m: ArrayLike,
    wall_mm: ArrayLike,
    attachment_mm: ArrayLike,
    aspect: ArrayLike = stress_intensity.SHALLOWEST_ASPECT,
    bending_share: ArrayLike = 0.0,
    half_width_mm: ArrayLike = np.inf,
    residual_stress_mpa: ArrayLike | None = None,
    modulus_mpa: ArrayLike = STEEL_MODULUS_MPA,
    yielding: Yielding = "unknown",
) -> tuple[FloatArray, NDArray[np.str_]]:
    """Depth in mm at which a weld-toe surface crack first breaks the joint, and why.

    Args:
        peak_stress_mpa: largest stress at the surface, membrane and bending together; > 0.
        yield_mpa: yield strength.
        ultimate_mpa: tensile strength.
        toughness_mpa_sqrt_m: fracture toughness Kmat at the lowest service temperature.
        wall_mm: wall thickness.
        attachment_mm: length of the attachment with its weld legs; infinity is the safe choice.
        aspect: a/c, 0.2 to 1; 0.2 is the safe choice.
        bending_share: share of the peak stress that is bending; 0 is the safe choice.
        half_width_mm: half the width of the plate; infinity for a tube.
        residual_stress_mpa: residual tension across the crack, without toe magnification; ``None``: yield, as-welded.
        modulus_mpa: modulus of elasticity.
        yielding: see ``assessment_curve``.

    Reasons: ``fracture`` (toughness), ``net section`` (the section left yields: Lr ≥ 1), ``through the wall`` (nothing
    breaks before the range of the formula ends at 0.8 of the wall), ``too wide for the plate`` (it ends at c = b/2).
    Depth 0 means that the stress is too large for any crack. ``InputError`` as the functions used.
    """
    residual = yield_mpa if residual_stress_mpa is None else residual_stress_mpa
    given: dict[str, FloatArray] = {
        "peak": positive("peak_stress_mpa", peak_stress_mpa),
        "strength": positive("yield_mpa", yield_mpa),
        "ultimate": positive("ultimate_mpa", ultimate_mpa),
        "toughness": positive("toughness_mpa_sqrt_m", toughness_mpa_sqrt_m),
        "wall": positive("wall_mm", wall_mm),
        "attachment": stress_intensity.positive_or_infinite("attachment_mm", attachment_mm),
        "aspect": finite("aspect", aspect),
        "share": within("bending_share", bending_share, 0.0, 1.0),
        "half_width": stress_intensity.positive_or_infinite("half_width_mm", half_width_mm),
        "residual": non_negative("residual_stress_mpa", residual),
        "modulus": positive("modulus_mpa", modulus_mpa),
    }  # fmt: skip
    try:
        held = np.broadcast_arrays(*given.values())
    except ValueError as error:
        raise InputError("shape", f"the arrays do not fit together: {error}", code="shape") from error
    joints = _Joints(dict(zip(given, (each.ravel() for each in held), strict=True)), yielding)
    depth, reason = joints.first_failure()
    return depth.reshape(held[0].shape), reason.reshape(held[0].shape)


def toughness_from_charpy(*, energy_j: ArrayLike, wall_mm: ArrayLike) -> FloatArray:
    """Lower-bound Kmat in MPa√m at the temperature of the impact test.

    Args:
        energy_j: Charpy V energy in J, > 0.
        wall_mm: thickness, mm.

    Kmat = (12 √Cv − 20)(25/B)^¼ + 20. Source: BS 7910:2013 J.2.1 (from memory: to be confirmed).

    >>> round(float(toughness_from_charpy(energy_j=27, wall_mm=25)), 2)
    62.35
    """
    energy, wall = positive("energy_j", energy_j), positive("wall_mm", wall_mm)
    return np.asarray(np.maximum(12.0 * np.sqrt(energy) - 20.0, 0.0) * (25.0 / wall) ** 0.25 + 20.0)


def toughness_of_subgrade(
    subgrade: str,
    *,
    temperature_c: ArrayLike,
    wall_mm: ArrayLike,
    failure_chance: float = 0.05,
    table: tables.Table | None = None,
) -> FloatArray:
    """Kmat in MPa√m of a steel known only by its subgrade (JR, J0, J2, K2, NL, unknown).

    Args:
        subgrade: row of the table ``toughness``.
        temperature_c: lowest service temperature, -60 to 60 °C (common practice, no source: around the +10 to -50 °C
            of EN 1993-1-10:2005 table 2.1; from memory); outside raises ``InputError``.
        wall_mm: thickness; the front of the crack is counted as long as the wall is thick.
        failure_chance: chance that the true toughness is lower, 0 to 1 exclusive.
        table: an office's own table; ``None`` for the shipped one.

    Kmat = 20 + [11 + 77 exp(0.019 (T − T0 − 25))] (25/B)^¼ (ln 1/(1 − p))^¼, T0 = T27J − 18 °C, the 25 °C covering the
    scatter of that relation. Held to what T = T0 + 25 °C + 50 °C gives: above, ductile tearing governs and impact
    energy alone says nothing. Source: BS 7910:2013 J.2.3 (from memory: to be confirmed).
    """
    row = (table or tables.load("toughness")).row(subgrade)
    chance = positive("failure_chance", failure_chance)
    within("failure_chance", chance, 0.0, 1.0 - 1e-9)
    above = within("temperature_c", temperature_c, -60.0, 60.0, unit="°C") - (float(row["t27_c"]) - 18.0) - 25.0
    scatter = (25.0 / positive("wall_mm", wall_mm)) ** 0.25 * np.log(1.0 / (1.0 - chance)) ** 0.25
    return np.asarray(20.0 + (11.0 + 77.0 * np.exp(0.019 * np.minimum(above, 50.0))) * scatter)


def _strengths(yield_mpa: ArrayLike, ultimate_mpa: ArrayLike) -> tuple[FloatArray, FloatArray]:
    strength, ultimate = positive("yield_mpa", yield_mpa), positive("ultimate_mpa", ultimate_mpa)
    if np.any(strength > ultimate):
        raise InputError("ultimate_mpa", "must not be below the yield strength")
    return strength, ultimate


@dataclass(frozen=True)
class _Joints:
    """Flat arrays, one entry a joint, assessed together."""

    columns: dict[str, FloatArray]
    yielding: Yielding

    def take(self, index: NDArray[np.intp]) -> _Joints:
        return _Joints({name: value[index] for name, value in self.columns.items()}, self.yielding)

    def load_ratio(self, depth: FloatArray) -> FloatArray:
        own = self.columns
        stress = reference_stress(
            membrane_mpa=own["peak"] * (1.0 - own["share"]),
            bending_mpa=own["peak"] * own["share"],
            depth_mm=depth,
            wall_mm=own["wall"],
            aspect=own["aspect"],
            half_width_mm=own["half_width"],
        )
        return np.asarray(stress / own["strength"])

    def margin(self, depth: FloatArray) -> FloatArray:
        """How far the assessment curve lies above the point of a crack of this depth: negative where it breaks, NaN
        where bending presses its deepest point shut."""
        own, lr = self.columns, self.load_ratio(depth)
        crack = {
            "depth_mm": depth,
            "wall_mm": own["wall"],
            "aspect": own["aspect"],
            "half_width_mm": own["half_width"],
        }
        primary = stress_intensity.surface_crack_k(
            membrane_mpa=own["peak"] * (1.0 - own["share"]),
            bending_mpa=own["peak"] * own["share"],
            attachment_mm=own["attachment"],
            **crack,
        )
        open_, primary = primary > 0.0, np.maximum(primary, 1e-9)
        residual = stress_intensity.surface_crack_k(membrane_mpa=own["residual"], **crack)
        rho = plasticity_interaction(primary_k=primary, secondary_k=residual, load_ratio=lr)
        kr = (primary + residual) / (own["toughness"] * N_PER_MM15_IN_MPA_SQRT_M) + rho
        curve = assessment_curve(
            lr,
            yield_mpa=own["strength"],
            ultimate_mpa=own["ultimate"],
            modulus_mpa=own["modulus"],
            yielding=self.yielding,
        )
        return np.where(open_, curve - kr, np.nan)

    def first_failure(self) -> tuple[FloatArray, NDArray[np.str_]]:
        """The shallowest failing depth, searched step by step since toughness may govern and relent under bending."""
        own = self.columns
        deepest = stress_intensity.deepest_valid_mm(
            wall_mm=own["wall"], aspect=own["aspect"], half_width_mm=own["half_width"]
        )
        by_wall = deepest >= stress_intensity.DEEPEST_SHARE * own["wall"] * (1.0 - 1e-9)
        reason = np.where(by_wall, THROUGH_WALL, TOO_WIDE)
        sound, failing = deepest.copy(), deepest.copy()
        for first in range(0, deepest.size, _BLOCK):
            block = np.arange(first, min(first + _BLOCK, deepest.size))
            sound[block], failing[block] = self.take(block).bracket(deepest[block])
        depth, broken = deepest.copy(), np.flatnonzero(sound < deepest)
        if broken.size:
            these = self.take(broken)
            depth[broken] = these.between(sound[broken], failing[broken])
            reason[broken] = these.why(np.minimum(depth[broken] + 1e-9, failing[broken]))
        return depth, reason

    def bracket(self, deepest: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The last depth tried before the first failing one (0 if there is none), and that one; the deepest and the
        deepest where none fails."""
        tried = deepest * np.geomspace(_SHALLOWEST, 1.0, _STEPS)[:, None]
        margin = self.margin(tried)
        fails = np.concatenate([margin < 0.0, np.ones((1, deepest.size), dtype=bool)])
        step, every = np.argmax(fails, axis=0), np.arange(deepest.size)
        if np.any(np.isnan(margin) & (np.arange(_STEPS)[:, None] < step)):
            raise InputError(
                "bending_share", "bending presses the deepest point of so round and deep a crack shut; not answered"
            )
        sound = np.where(step > 0, tried[np.maximum(step - 1, 0), every], 0.0)
        return sound, tried[np.minimum(step, _STEPS - 1), every]

    def between(self, sound: FloatArray, failing: FloatArray) -> FloatArray:
        """Depth at which the margin is used up; 0 where the very first depth tried already fails."""
        depth = np.zeros_like(failing)
        inside = np.flatnonzero(sound > 0.0)
        if inside.size:
            from scipy.optimize import elementwise  # here, for it takes most of a second to load

            def margin(tried: FloatArray, index: FloatArray) -> FloatArray:
                return self.take(index.astype(np.intp)).margin(tried)

            found = elementwise.find_root(
                margin, (sound[inside], failing[inside]), args=(inside.astype(np.float64),), tolerances={"xrtol": 1e-9}
            )
            depth[inside] = found.x
        return depth

    def why(self, depth: FloatArray) -> NDArray[np.str_]:
        lr = self.load_ratio(np.maximum(depth, 1e-9 * self.columns["wall"]))
        return np.where(lr >= 1.0 - 1e-6, NET_SECTION, FRACTURE)
