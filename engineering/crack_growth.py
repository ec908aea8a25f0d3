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

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import elementwise

from engineering import stress_intensity
from engineering.errors import FloatArray, InputError, non_negative, positive, within
from engineering.growth_law import DEFAULT_LAW, GrowthLaw, law

__all__ = ["DEFAULT_ASPECT", "DEFAULT_LAW", "GrowthLaw", "cycles_between", "law", "paris_cycles", "size_after"]

DEFAULT_ASPECT = 0.2
"""Depth over half length. Cracks along a toe start at many points and join: long and shallow, the safe side for
growth. Within 0.2 to 1 a smaller value never lengthens the life in tension."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(10)
_BLOCK = 4096  # joints worked at once, so that the arrays stay in the processor's cache


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
    constant = float(positive("a", a)) * drive ** float(positive("m", m))
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
    cracks = _Cracks.of(range_mpa, wall_mm, attachment_mm, aspect, bending_share, half_width_mm, start_mm, end_mm)
    start = cracks.valid_depth("start_mm", start_mm)
    end = cracks.valid_depth("end_mm", end_mm)
    return cracks.cycles(np.log(start), np.log(end), law, threshold).reshape(cracks.shape)


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
    cracks = _Cracks.of(range_mpa, wall_mm, attachment_mm, aspect, bending_share, half_width_mm, start_mm, cycles)
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
        parameters = (inside.astype(np.float64), low[inside], wanted[inside])
        found = elementwise.find_root(
            excess, (low[inside], high[inside]), args=parameters, tolerances={"xatol": 1e-12, "xrtol": 1e-12}
        )
        ln_depth[inside] = found.x
    depth = np.where(reached, cracks.deepest, np.exp(ln_depth))
    return depth.reshape(cracks.shape), reached.reshape(cracks.shape)


@dataclass(frozen=True)
class _Cracks:
    """Flat arrays, one entry a joint, of what the range of K at the deepest point needs."""

    shape: tuple[int, ...]
    columns: dict[str, FloatArray]
    bent: bool
    narrow: bool

    @classmethod
    def of(
        cls,
        range_mpa: ArrayLike,
        wall_mm: ArrayLike,
        attachment_mm: ArrayLike,
        aspect: ArrayLike,
        bending_share: ArrayLike,
        half_width_mm: ArrayLike,
        *shapes: ArrayLike,
    ) -> _Cracks:
        given: list[FloatArray] = [
            positive("range_mpa", range_mpa),
            positive("wall_mm", wall_mm),
            stress_intensity.positive_or_infinite("attachment_mm", attachment_mm),
            within("aspect", aspect, stress_intensity.SHALLOWEST_ASPECT, stress_intensity.ROUNDEST_ASPECT),
            within("bending_share", bending_share, 0.0, 1.0),
            stress_intensity.positive_or_infinite("half_width_mm", half_width_mm),
        ]
        try:
            shape = np.broadcast_shapes(*(np.shape(each) for each in (*given, *shapes)))
        except ValueError as error:
            raise InputError("shape", f"the arrays do not fit together: {error}", code="shape") from error
        stress, wall, length, ratio, share, half_width = (np.broadcast_to(each, shape).ravel() for each in given)
        m1, m2, m3 = stress_intensity.membrane_terms(ratio)
        g1, g2 = stress_intensity.bending_terms(ratio)
        columns = {
            "ln_drive": np.log(stress) + 0.5 * np.log(np.pi / stress_intensity.flaw_shape(ratio)),
            "wall": wall,
            "ln_wall": np.log(wall),
            "m1": m1, "m2": m2, "m3": m3, "g1": g1, "g2": g2,
            "share": share,
            "deepest": stress_intensity.deepest_valid_mm(wall_mm=wall, aspect=ratio, half_width_mm=half_width),
            "opening": 0.5 * np.pi / (ratio * half_width),
        }  # fmt: skip
        bent = bool(np.any(share > 0.0))
        for loading in ("membrane", "bending") if bent else ("membrane",):
            pieces = stress_intensity.toe_pieces(length / wall, loading)
            columns[f"{loading}_limit"] = np.log(pieces.limit)
            for number in (0, 1):
                columns[f"{loading}_v{number}"] = np.log(pieces.v[number])
                columns[f"{loading}_w{number}"] = pieces.w[number]
        return cls(shape=shape, columns=columns, bent=bent, narrow=bool(np.any(np.isfinite(half_width))))

    @property
    def deepest(self) -> FloatArray:
        return self.columns["deepest"]

    @property
    def loadings(self) -> tuple[str, ...]:
        return ("membrane", "bending") if self.bent else ("membrane",)

    def take(self, index: NDArray[np.intp] | slice) -> _Cracks:
        return _Cracks(self.shape, {name: value[index] for name, value in self.columns.items()}, self.bent, self.narrow)

    def valid_depth(self, argument: str, depth_mm: ArrayLike) -> FloatArray:
        depth = np.broadcast_to(positive(argument, depth_mm), self.shape).ravel()
        beyond = depth > self.deepest * (1.0 + 1e-9)
        if np.any(beyond):
            first = int(np.argmax(beyond))
            raise InputError(
                argument, f"{depth[first]:g} mm is deeper than the formula holds for, {self.deepest[first]:g} mm"
            )
        return depth

    def cycles(self, low: FloatArray, high: FloatArray, law: GrowthLaw, threshold: bool) -> FloatArray:
        total = np.zeros(low.shape)
        for first in range(0, low.size, _BLOCK):
            block = slice(first, first + _BLOCK)
            total[block] = self.take(block)._block_cycles(low[block], high[block], law, threshold)
        return total

    def _block_cycles(self, low: FloatArray, high: FloatArray, law: GrowthLaw, threshold: bool) -> FloatArray:
        joint, left, right = self._panels(low, high)
        toe = self._toe_lines(joint, 0.5 * (left + right))
        ends = np.stack([left, right], axis=1)
        ln_k = self._ln_k(joint, toe, ends)
        for transition in law.transitions:
            joint, toe, ends, ln_k = self._split(joint, toe, ends, ln_k, float(np.log(transition)))
        middle, half = 0.5 * ends.sum(axis=1), 0.5 * (ends[:, 1] - ends[:, 0])
        u = middle[:, None] + half[:, None] * _NODES
        inner = self._ln_k(joint, toe, u)
        panel = half * (np.exp(u - law.ln_rate(inner)) @ _WEIGHTS)
        total = np.bincount(joint, weights=panel, minlength=low.size)
        if threshold and law.threshold > 0.0:
            lowest = np.minimum(ln_k.min(axis=1), inner.min(axis=1))
            total[joint[lowest < np.log(law.threshold)]] = np.inf
        return np.asarray(total)

    def _panels(self, low: FloatArray, high: FloatArray) -> tuple[NDArray[np.intp], FloatArray, FloatArray]:
        """Pieces of ln a of every joint: cut where a magnification changes its line or comes down to 1."""
        cuts = [low, high]
        for loading in self.loadings:
            cuts.append(self.columns[f"{loading}_limit"] + self.columns["ln_wall"])
            for number in (0, 1):
                v, w = self.columns[f"{loading}_v{number}"], self.columns[f"{loading}_w{number}"]
                cuts.append(self.columns["ln_wall"] - v / w)
        held = np.sort(np.clip(np.stack(cuts, axis=1), low[:, None], np.maximum(low, high)[:, None]), axis=1)
        joint, piece = np.nonzero(held[:, 1:] > held[:, :-1])
        return joint, held[joint, piece], held[joint, piece + 1]

    def _toe_lines(self, joint: NDArray[np.intp], middle: FloatArray) -> dict[str, tuple[FloatArray, FloatArray]]:
        """ln v and w of each magnification on each piece; both 0 where it is 1."""
        lines = {}
        ln_z = middle - self.columns["ln_wall"][joint]
        for loading in self.loadings:
            first = ln_z <= self.columns[f"{loading}_limit"][joint]
            v, w = (
                np.where(first, self.columns[f"{loading}_{name}0"][joint], self.columns[f"{loading}_{name}1"][joint])
                for name in ("v", "w")
            )
            above = v + w * ln_z > 0.0
            lines[loading] = (np.where(above, v, 0.0), np.where(above, w, 0.0))
        return lines

    def _ln_k(
        self, joint: NDArray[np.intp], toe: dict[str, tuple[FloatArray, FloatArray]], u: FloatArray
    ) -> FloatArray:
        """ln of the range of K at ln depths ``u`` (pieces × places)."""
        own: Any = {name: self.columns[name][joint][:, None] for name in ("ln_drive", "ln_wall", "m1", "m2", "m3")}
        ln_z = u - own["ln_wall"]
        square = np.exp(2.0 * ln_z)
        result = own["ln_drive"] + 0.5 * u + np.log(own["m1"] + square * (own["m2"] + square * own["m3"]))
        v, w = (part[:, None] for part in toe["membrane"])
        if self.bent:
            share, g1, g2 = (self.columns[name][joint][:, None] for name in ("share", "g1", "g2"))
            vb, wb = (part[:, None] for part in toe["bending"])
            bending = share * np.exp(vb + wb * ln_z) * (1.0 + g1 * np.sqrt(square) + g2 * square)
            mixed = (1.0 - share) * np.exp(v + w * ln_z) + bending
            if np.any(mixed <= 0.0):
                raise InputError(
                    "bending_share", "bending presses the deepest point of so round and deep a crack shut; not answered"
                )
            result += np.log(mixed)
        else:
            result += v + w * ln_z
        if self.narrow:
            opening = self.columns["opening"][joint][:, None]
            result -= 0.5 * np.log(np.cos(opening * np.exp(u + 0.5 * ln_z)))
        return np.asarray(result)

    def _split(
        self,
        joint: NDArray[np.intp],
        toe: dict[str, tuple[FloatArray, FloatArray]],
        ends: FloatArray,
        ln_k: FloatArray,
        level: float,
    ) -> tuple[NDArray[np.intp], dict[str, tuple[FloatArray, FloatArray]], FloatArray, FloatArray]:
        """Cut every piece on which ln K passes ``level``; ln K is nearly straight in ln a, so few steps find where."""
        crossed = np.flatnonzero((ln_k[:, 0] - level) * (ln_k[:, 1] - level) < 0.0)
        if not crossed.size:
            return joint, toe, ends, ln_k
        there = {name: (v[crossed], w[crossed]) for name, (v, w) in toe.items()}
        left, right = ends[crossed].T.copy()
        below, above = (ln_k[crossed] - level).T.copy()
        for _ in range(3):
            cut = left - below * (right - left) / (above - below)
            here = self._ln_k(joint[crossed], there, cut[:, None])[:, 0] - level
            same = here * below > 0.0
            left, below = np.where(same, cut, left), np.where(same, here, below)
            right, above = np.where(same, right, cut), np.where(same, above, here)
        upper_ends, upper_k = ends[crossed].copy(), ln_k[crossed].copy()
        upper_ends[:, 0], upper_k[:, 0] = cut, level
        ends, ln_k = ends.copy(), ln_k.copy()
        ends[crossed, 1], ln_k[crossed, 1] = cut, level
        return (
            np.concatenate([joint, joint[crossed]]),
            {name: (np.concatenate([v, v[crossed]]), np.concatenate([w, w[crossed]])) for name, (v, w) in toe.items()},
            np.concatenate([ends, upper_ends]),
            np.concatenate([ln_k, upper_k]),
        )
