"""Many weld-toe cracks at once: the integral behind ``engineering.crack_growth``, and nothing else.

Worked in z = ln(depth/wall). Every crack is cut into pieces that end wherever the toe magnification or the law changes
its line, so that the integrand is smooth on a piece and a Gauss–Legendre rule of four places is enough.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engineering import stress_intensity
from engineering.errors import FloatArray, InputError, positive, within
from engineering.growth_law import GrowthLaw

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)
_LONGEST = 1.0  # length of a piece in z for which four places are enough (error under 1e-4)
_LONGEST_OF_SPECTRUM = 0.1  # shorter: every bin of a spectrum passes the law's transitions at its own depth
_BACK = np.log([0.3, 0.45, 0.58, 0.68, 0.76])  # further cuts where bending makes K fall ever faster towards the back
_BLOCK = 4096  # cracks worked at once, so that the arrays stay in the processor's cache
_LOADINGS: tuple[Literal["membrane", "bending"], ...] = ("membrane", "bending")
_PIECE_COLUMNS = ("ln_drive", "ln_wall", "m1", "m2", "m3")

Columns = dict[str, FloatArray]


@dataclass(frozen=True)
class Cracks:
    """Flat columns, one entry a crack, of what the range of K at the deepest point needs.

    Attributes:
        shape: shape of the arrays the columns were flattened from.
        columns: the columns by name.
    """

    shape: tuple[int, ...]
    columns: Columns

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
    ) -> Cracks:
        """Cracks from the arguments of ``crack_growth.cycles_between``, broadcast with the ``shapes`` as well."""
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
        ln_wall = np.log(wall)
        columns = {
            "ln_drive": np.log(stress) + 0.5 * (ln_wall + np.log(np.pi / stress_intensity.flaw_shape(ratio))),
            "ln_wall": ln_wall,
            "share": share,
            "deepest": stress_intensity.deepest_valid_mm(wall_mm=wall, aspect=ratio, half_width_mm=half_width),
            "opening": 0.5 * np.pi * wall / (ratio * half_width),
        }
        columns.update(zip(("m1", "m2", "m3"), stress_intensity.membrane_terms(ratio), strict=True))
        columns.update(zip(("g1", "g2"), stress_intensity.bending_terms(ratio), strict=True))
        for loading in _LOADINGS[: 2 if np.any(share > 0.0) else 1]:
            pieces = stress_intensity.toe_pieces(length / wall, loading)
            columns[f"{loading}_limit"] = np.log(pieces.limit)
            for number in (0, 1):
                columns[f"{loading}_v{number}"] = np.log(pieces.v[number])
                columns[f"{loading}_w{number}"] = pieces.w[number]
        return cls(shape=shape, columns=columns)

    @property
    def deepest(self) -> FloatArray:
        """Depth in mm up to which the model answers."""
        return self.columns["deepest"]

    def take(self, index: NDArray[np.intp]) -> Cracks:
        """The cracks at these places of the flat columns."""
        return Cracks(self.shape, _take(self.columns, index))

    def valid_depth(self, argument: str, depth_mm: ArrayLike) -> FloatArray:
        """``depth_mm`` flattened; ``InputError`` where it is beyond what the model answers for."""
        depth = np.broadcast_to(positive(argument, depth_mm), self.shape).ravel()
        beyond = depth > self.deepest * (1.0 + 1e-9)
        if np.any(beyond):
            first = int(np.argmax(beyond))
            raise InputError(
                argument, f"{depth[first]:g} mm is deeper than the formula holds for, {self.deepest[first]:g} mm"
            )
        return depth

    def cycles(self, ln_low: FloatArray, ln_high: FloatArray, law: GrowthLaw, threshold: bool) -> FloatArray:
        """Cycles from one ln depth (mm) to another, 0 where it is not above; flat."""
        total = np.zeros(ln_low.shape)
        low, high = ln_low - self.columns["ln_wall"], ln_high - self.columns["ln_wall"]
        bent = self.columns["share"] > 0.0
        for group in (np.flatnonzero(~bent), np.flatnonzero(bent)):
            for first in range(0, group.size, _BLOCK):
                block = group[first : first + _BLOCK]
                pieces = _Pieces.cut(self.take(block).columns, low[block], high[block])
                total[block] = pieces.cycles(law, threshold, block.size)
        return total

    def counts(
        self, ln_low: FloatArray, ln_high: FloatArray, law: GrowthLaw, ranges: FloatArray, counts: FloatArray
    ) -> FloatArray:
        """Counts of a spectrum from one ln depth (mm) to another; the cracks must be of range 1 MPa.

        ``ranges`` (cracks, bins) in MPa and how often each comes by one count: growth by one count is their sum.
        """
        total = np.zeros(ln_low.shape)
        low, high = ln_low - self.columns["ln_wall"], ln_high - self.columns["ln_wall"]
        with np.errstate(divide="ignore"):
            ln_ranges = np.log(ranges)
        bent = self.columns["share"] > 0.0
        for group in (np.flatnonzero(~bent), np.flatnonzero(bent)):
            for first in range(0, group.size, _BLOCK):
                block = group[first : first + _BLOCK]
                pieces = _Pieces.cut(self.take(block).columns, low[block], high[block], longest=_LONGEST_OF_SPECTRUM)
                total[block] = pieces.counts(law, ln_ranges[block], counts[block], block.size)
        return total


@dataclass(frozen=True)
class _Pieces:
    """Stretches of cracks with smooth growth.

    ``crack`` is the place of the crack in its block; ``ends`` the two ends in z, ``v``, ``w`` the line of each
    magnification, ln Mk = v + w z, both 0 where it is 1.
    """

    crack: NDArray[np.intp]
    columns: Columns
    ends: FloatArray

    @classmethod
    def cut(cls, block: Columns, low: FloatArray, high: FloatArray, *, longest: float = _LONGEST) -> _Pieces:
        """Cut where a magnification changes its line or comes down to 1, and where longer than ``longest``."""
        loadings = _LOADINGS[: 2 if block["share"].size and block["share"][0] > 0.0 else 1]
        cuts = [low, high]
        for loading in loadings:
            cuts.append(block[f"{loading}_limit"])
            cuts.extend(-block[f"{loading}_v{number}"] / block[f"{loading}_w{number}"] for number in (0, 1))
        if len(loadings) > 1:
            cuts.extend(np.where(block["share"] > 0.5, cut, low) for cut in _BACK)
        held = np.sort(np.clip(np.stack(cuts), low, np.maximum(low, high)), axis=0)
        piece, crack = np.nonzero(held[1:] > held[:-1])
        left, right = held[piece, crack], held[piece + 1, crack]
        parts = np.ceil((right - left) / longest).astype(np.intp)
        if np.any(parts > 1):
            step = np.repeat((right - left) / parts, parts)
            crack, left = np.repeat(crack, parts), np.repeat(left, parts)
            left = left + step * (np.arange(left.size) - np.repeat(np.cumsum(parts) - parts, parts))
            right = left + step
        names = [*_PIECE_COLUMNS]
        if len(loadings) > 1:
            names += ["share", "g1", "g2"]
        if np.any(block["opening"] > 0.0):
            names.append("opening")
        columns = _take({name: block[name] for name in names}, crack)
        for loading in loadings:
            columns.update(_line(block, loading, crack, 0.5 * (left + right)))
        return cls(crack=crack, columns=columns, ends=np.stack([left, right]))

    def take(self, index: NDArray[np.intp]) -> _Pieces:
        return _Pieces(self.crack[index], _take(self.columns, index), self.ends[:, index])

    def cycles(self, law: GrowthLaw, threshold: bool, size: int) -> FloatArray:
        """Cycles of each of the ``size`` cracks of the block."""
        half = 0.5 * (self.ends[1] - self.ends[0])
        z = self.ends[0] + half * (1.0 + _NODES[:, None])
        ln_k = self.ln_k(z)
        smooth = ~_passes(law, ln_k)
        total = self._sum(law, z, half, ln_k, smooth, size)
        if not np.all(smooth):
            cut = self.take(np.flatnonzero(~smooth)).split_at(law)
            half = 0.5 * (cut.ends[1] - cut.ends[0])
            z = cut.ends[0] + half * (1.0 + _NODES[:, None])
            total += cut._sum(law, z, half, cut.ln_k(z), np.ones(half.shape, dtype=bool), size)
        if threshold and law.threshold > 0.0:
            lowest = np.minimum(ln_k.min(axis=0), self.ln_k(self.ends).min(axis=0))
            total[self.crack[lowest < np.log(law.threshold)]] = np.inf
        return total

    def counts(self, law: GrowthLaw, ln_ranges: FloatArray, counts: FloatArray, size: int) -> FloatArray:
        """Counts of a spectrum for each of the ``size`` cracks of the block; pieces are short, so that a bin which
        passes from one stage of the law to the next within one costs no accuracy that matters."""
        half = 0.5 * (self.ends[1] - self.ends[0])
        z = self.ends[0] + half * (1.0 + _NODES[:, None])
        ln_k = self.ln_k(z)
        growth = np.zeros(ln_k.shape)
        for column in range(counts.shape[1]):
            each = ln_k + ln_ranges[self.crack, column]
            ln_a, m = law.stage_constants(each)
            growth += counts[self.crack, column] * np.exp(ln_a + m * each)
        spent = half * (_WEIGHTS @ (np.exp(z + self.columns["ln_wall"]) / growth))
        return np.bincount(self.crack, weights=spent, minlength=size).astype(np.float64)

    def _sum(
        self, law: GrowthLaw, z: FloatArray, half: FloatArray, ln_k: FloatArray, which: NDArray[np.bool_], size: int
    ) -> FloatArray:
        # Pieces lie in one stage each, except where bending lets K rise and fall again within one.
        ln_a, m = law.stage_constants(ln_k if "share" in self.columns else ln_k.mean(axis=0))
        spent = half * (_WEIGHTS @ np.exp(z + (self.columns["ln_wall"] - ln_a) - m * ln_k))
        return np.bincount(self.crack, weights=np.where(which, spent, 0.0), minlength=size).astype(np.float64)

    def ln_k(self, z: FloatArray) -> FloatArray:
        """ln of the range of K, N/mm^1.5, at places ``z`` (places × pieces)."""
        own = self.columns
        square = np.exp(2.0 * z)
        factor = own["m1"] + square * (own["m2"] + square * own["m3"])
        if "share" in own:
            relief = 1.0 + square * own["g2"] + np.sqrt(square) * own["g1"]
            bending = own["share"] * relief * np.exp(own["bending_v"] + own["bending_w"] * z)
            mixed = (1.0 - own["share"]) * np.exp(own["membrane_v"] + own["membrane_w"] * z) + bending
            if np.any(mixed <= 0.0):
                raise InputError(
                    "bending_share", "bending presses the deepest point of so round and deep a crack shut; not answered"
                )
            result = own["ln_drive"] + 0.5 * z + np.log(factor * mixed)
        else:
            result = (own["ln_drive"] + own["membrane_v"]) + (0.5 + own["membrane_w"]) * z + np.log(factor)
        if "opening" in own:
            result -= 0.5 * np.log(np.cos(own["opening"] * np.exp(1.5 * z)))
        return np.asarray(result)

    def split_at(self, law: GrowthLaw) -> _Pieces:
        """The pieces cut wherever one stage of the law hands over to the next."""
        pieces = self
        for transition in law.transitions:
            pieces = pieces._split(float(np.log(transition)))
        return pieces

    def _split(self, level: float) -> _Pieces:
        """Cut every piece on which ln K passes ``level``; ln K is nearly straight in z, so few steps find where."""
        ends_k = self.ln_k(self.ends) - level
        crossed = np.flatnonzero(ends_k[0] * ends_k[1] < 0.0)
        if not crossed.size:
            return self
        there = self.take(crossed)
        left, right = there.ends
        below, above = ends_k[:, crossed]
        for _ in range(2):
            cut = left - below * (right - left) / (above - below)
            here = there.ln_k(cut) - level
            same = here * below > 0.0
            left, below = np.where(same, cut, left), np.where(same, here, below)
            right, above = np.where(same, right, cut), np.where(same, above, here)
        ends, upper = self.ends.copy(), there.ends.copy()
        ends[1, crossed], upper[0] = cut, cut
        return _Pieces(
            crack=np.concatenate([self.crack, there.crack]),
            columns={name: np.concatenate([self.columns[name], there.columns[name]]) for name in self.columns},
            ends=np.concatenate([ends, upper], axis=1),
        )


def _passes(law: GrowthLaw, ln_k: FloatArray) -> NDArray[np.bool_]:
    """Whether a piece passes from one stage to another: its ends are drawn on from the two places nearest to them."""
    reach = (1.0 + _NODES[0]) / (_NODES[1] - _NODES[0])
    first, last = ln_k[0] - reach * (ln_k[1] - ln_k[0]), ln_k[-1] + reach * (ln_k[-1] - ln_k[-2])
    low, high = np.minimum(first, last), np.maximum(first, last)
    passes = np.zeros(low.shape, dtype=bool)
    for level in np.log(law.transitions):
        passes |= (low < level) & (level < high)
    return passes


def _take(columns: Columns, index: NDArray[np.intp]) -> Columns:
    return {name: value[index] for name, value in columns.items()}


def _line(block: Columns, loading: str, crack: NDArray[np.intp], middle: FloatArray) -> Columns:
    """ln v and w of a magnification on each piece."""
    first = middle <= block[f"{loading}_limit"][crack]
    v, w = (
        np.where(first, block[f"{loading}_{name}0"][crack], block[f"{loading}_{name}1"][crack]) for name in ("v", "w")
    )
    above = v + w * middle > 0.0
    return {f"{loading}_v": np.where(above, v, 0.0), f"{loading}_w": np.where(above, w, 0.0)}
