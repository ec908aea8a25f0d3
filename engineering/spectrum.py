"""From a recording to a stress spectrum: conversion, screening, rainflow counting, and bins for each operating cycle.

Rainflow counting is our own, vectorised: reversals that close a cycle are taken out in rounds, all at once, until none
is left. It gives exact ranges (a counter that sorts into classes rounds them), is a few times faster than the compiled
counter it was measured against, and holds only the open reversals between chunks. The tests compare it with two public
libraries. Stresses in MPa.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from engineering.errors import FloatArray, InputError, finite, non_negative, one, positive
from engineering.figures import grouped
from engineering.screening import Screening, screen

__all__ = [
    "Cycles",
    "Histogram",
    "Rainflow",
    "Screening",
    "blocks",
    "count",
    "histogram",
    "screen",
    "strain_to_stress",
]

HALF = "half"  # open reversals count as half cycles: ASTM E1049-85 §5.4.4
CLOSED = "closed"  # the recording repeats for ever, so that all cycles close: ASTM E1049-85 §5.4.5
RESIDUES = (HALF, CLOSED)

SLICE = 1_000_000  # samples worked on at a time
MOST_OPEN = 2_000_000  # open reversals held before counting gives up
MOST_BINS = 1_000_000

_SLOW_ROUND = 100  # a round that closes less than one reversal in so many hands over to the plain stack


class Cycles(NamedTuple):
    """Counted cycles: range (MPa), mean (MPa) and count (1 or 0.5) of each."""

    ranges: FloatArray
    means: FloatArray
    counts: FloatArray


class Histogram(NamedTuple):
    """Ranges (MPa, the upper edge of each bin: the safe side) and the count in each; bins without counts left out."""

    ranges: FloatArray
    counts: FloatArray


def strain_to_stress(microstrain: ArrayLike, E_mpa: float = 210_000) -> FloatArray:
    """Stress, MPa, from strain in microstrain: sigma = E * strain / 1e6.

    Holds for one direction of stress (a gauge along it) and elastic steel; ``E_mpa`` = 210 000 MPa is that of
    EN 1993-1-1:2005 §3.2.6. Example: 1000 microstrain is 210 MPa.
    """
    return finite("microstrain", microstrain) * one(positive, "E_mpa", E_mpa) * 1e-6


def count(series: ArrayLike, *, residue: str = HALF) -> Cycles:
    """All rainflow cycles of a recording, exact (no bins).

    Args:
        series: stresses in time order, MPa; plateaus and points between reversals are skipped.
        residue: "half": what stays open counts half, ASTM E1049-85 §5.4.4; "closed": the recording is taken to repeat,
            so that every cycle closes, §5.4.5.

    Returns:
        ranges, means, counts; closed cycles in the order found, then the residue. Two equal half cycles may appear as
        one whole cycle: the total by range and mean is what the standard fixes.

    Errors: ``InputError`` for NaN (screen first), more than one dimension, unknown residue.
    Example: -2, 1, -3, 5, -1, 3, -4, 4, -2 gives one cycle of range 4 and seven halves, 4.0 cycles in all.
    """
    _known_residue(residue)
    open_points, closed = _close(_reversals(_flat("series", series)))
    return _cycles(closed, open_points, residue)


class Rainflow:
    """Counts a recording of any length, fed in chunks of any length; the chunks' boundaries leave no trace.

    Held between chunks: the histogram and the open reversals, never the samples. Each cycle's exact range is put into
    the bin that ends at or just above it. Means are not kept: welds as made are judged by range alone.

    Args:
        bin_width_mpa: width of a bin, MPa.
        residue: "half" or "closed", as for ``count``.
        resolution_mpa: 0 counts the samples as they are. A positive figure rounds each sample to a multiple of it,
            which puts a firm bound on the open reversals (a recording that dies away for ever keeps all of them open).
    """

    def __init__(self, *, bin_width_mpa: float, residue: str = HALF, resolution_mpa: float = 0.0) -> None:
        _known_residue(residue)
        self.bin_width_mpa = one(positive, "bin_width_mpa", bin_width_mpa)
        self.resolution_mpa = one(non_negative, "resolution_mpa", resolution_mpa)
        self.residue = residue
        self.samples = 0
        self._open: FloatArray = np.empty(0)
        self._bins: FloatArray = np.zeros(0)

    def feed(self, samples: ArrayLike) -> Rainflow:
        """Counts on with the next samples, MPa; returns itself. Errors: ``InputError``, and nothing is counted."""
        new = _flat("samples", samples)
        if self.resolution_mpa:
            new = np.round(new / self.resolution_mpa) * self.resolution_mpa
        points, bins = self._open, self._bins
        for start in range(0, len(new), SLICE):
            points, closed = _close(_reversals(np.concatenate((points, new[start : start + SLICE]))))
            for low, high in closed:
                bins = _add(bins, _bin(np.abs(high - low), self.bin_width_mpa), 1.0)
            if len(points) > MOST_OPEN:
                raise InputError("samples", f"more than {grouped(MOST_OPEN)} reversals stay open; set resolution_mpa")
        self._open, self._bins = points, bins
        self.samples += len(new)
        return self

    @property
    def open_reversals(self) -> FloatArray:
        """Reversals, MPa, that no cycle has closed yet."""
        return self._open.copy()

    def result(self) -> Histogram:
        """Histogram so far, residue counted in; feeding may go on afterwards."""
        rest = _cycles([], self._open, self.residue)
        bins = _add(self._bins, _bin(rest.ranges, self.bin_width_mpa), rest.counts)
        used = np.flatnonzero(bins)
        return Histogram(np.asarray(used * self.bin_width_mpa, dtype=np.float64), bins[used])


def histogram(ranges: ArrayLike, counts: ArrayLike, bin_width_mpa: float, operating_cycles: float) -> Histogram:
    """Counts for one operating cycle by range: each bin stands for all its ranges with its upper edge (safe side).

    Args:
        ranges: stress ranges, MPa, >= 0.
        counts: how often each occurred in the recording.
        bin_width_mpa: width of a bin, MPa, > 0.
        operating_cycles: operating cycles (rides, lifts, trips) that the recording covers, > 0.

    The overstatement of damage on a line of slope m is at most (1 + width/range)^m.
    """
    cycles = one(positive, "operating_cycles", operating_cycles)
    width = one(positive, "bin_width_mpa", bin_width_mpa)
    number, sizes = non_negative("counts", counts), non_negative("ranges", ranges)
    if number.shape != sizes.shape or sizes.ndim != 1:
        raise InputError("counts", "ranges and counts must be two lists of the same length", code="shape")
    bins = _add(np.zeros(0), _bin(sizes, width), number)
    used = np.flatnonzero(bins)
    return Histogram(np.asarray(used * width, dtype=np.float64), bins[used] / cycles)


def blocks(ranges: ArrayLike, counts: ArrayLike, size: int = 4, m: float = 3.0) -> Histogram:
    """A spectrum of at most ``size`` ranges that does at least the same damage on every line of the standards.

    Args:
        ranges, counts: the spectrum: ranges in MPa, how often each occurs.
        size: number of ranges wanted.
        m: slope by which the overstatement is measured.

    Neighbouring ranges are put together under the largest of them (damage grows with range, so this never loses any);
    the cuts are those that overstate sum n S^m least, found exactly. Always ``size`` long: padded with range 0, count
    0. At most 2,000 distinct ranges: put them into a ``histogram`` first.
    """
    sizes, number = non_negative("ranges", ranges), non_negative("counts", counts)
    if size < 1:
        raise InputError("size", f"must be at least 1, got {size}", code="not_positive")
    if number.shape != sizes.shape or sizes.ndim != 1:
        raise InputError("counts", "ranges and counts must be two lists of the same length", code="shape")
    sizes, where = np.unique(sizes[number > 0], return_inverse=True)
    if len(sizes) > 2_000:
        raise InputError("ranges", "more than 2,000 distinct ranges: make a histogram first")
    number = np.bincount(where, weights=number[number > 0], minlength=len(sizes)).astype(float)
    upto = np.concatenate(([0.0], np.cumsum(number)))
    ends = _best_cuts(sizes, upto, min(size, len(sizes)), m)
    out_ranges, out_counts = np.zeros(size), np.zeros(size)
    for slot, (first, last) in enumerate(pairwise(ends)):
        out_ranges[slot], out_counts[slot] = sizes[last - 1], upto[last] - upto[first]
    return Histogram(out_ranges, out_counts)


def _best_cuts(sizes: FloatArray, upto: FloatArray, groups: int, m: float) -> list[int]:
    """Ends of the groups (0 first) that make sum over groups of count * largest^m least: dynamic programming."""
    power = sizes**m
    total = len(sizes)
    cost = np.concatenate(([0.0], upto[1:] * power))  # one group for the first j ranges
    came: list[list[int]] = []
    for _ in range(groups - 1):
        best = cost.copy()
        source = [0] * (total + 1)
        for j in range(1, total + 1):
            tried = cost[:j] + (upto[j] - upto[:j]) * power[j - 1]
            source[j] = int(np.argmin(tried))
            best[j] = tried[source[j]]
        cost = best
        came.append(source)
    ends = [total]
    for source in reversed(came):
        ends.append(source[ends[-1]])
    return sorted({0, *ends})


def _reversals(points: FloatArray) -> FloatArray:
    """First point, every reversal, last point; repeats of a value count once."""
    step = np.diff(points)
    moved = step != 0
    if not moved.all():
        points, step = np.concatenate((points[:1], points[1:][moved])), step[moved]
    if len(points) < 3:
        return points
    rising = step > 0
    keep = np.ones(len(points), dtype=bool)
    np.not_equal(rising[1:], rising[:-1], out=keep[1:-1])
    return points[keep]


def _close(points: FloatArray) -> tuple[FloatArray, list[tuple[FloatArray, FloatArray]]]:
    """Takes out every pair of reversals that closes a cycle: (open points, [(from, to) arrays of closed cycles]).

    A range closes where both its neighbours are at least as large. Such ranges touch only where they are equal, and
    then every other one is taken, so that all of a round can go at once. The last point may still move on, but only
    outwards from where it closed a cycle, or turn there: so a chunk's end changes nothing.
    """
    closed = []
    while len(points) >= 4:
        size = np.abs(np.diff(points))
        at = np.flatnonzero((size[1:-1] <= size[:-2]) & (size[1:-1] <= size[2:])) + 1
        if not len(at):
            break
        touching = np.diff(at) == 1
        if touching.any():
            place = np.arange(len(at))
            run_start = np.maximum.accumulate(np.where(np.concatenate(([True], ~touching)), place, 0))
            at = at[(place - run_start) % 2 == 0]
        if len(points) > 1_000 and len(at) * _SLOW_ROUND < len(points):
            points, pairs = _close_one_by_one(points)
            closed.append(pairs)
            break
        closed.append((points[at], points[at + 1]))
        keep = np.ones(len(points), dtype=bool)
        keep[at] = keep[at + 1] = False
        points = points[keep]
    return points, closed


def _close_one_by_one(points: FloatArray) -> tuple[FloatArray, tuple[FloatArray, FloatArray]]:
    """The same with a plain stack: for spirals, where a round would close one pair only."""
    stack: list[float] = []
    start: list[float] = []
    end: list[float] = []
    for point in points.tolist():
        stack.append(point)
        while len(stack) >= 4:
            size = abs(stack[-2] - stack[-3])
            if size > abs(stack[-1] - stack[-2]) or size > abs(stack[-3] - stack[-4]):
                break
            start.append(stack[-3])
            end.append(stack[-2])
            del stack[-3:-1]
    return np.array(stack), (np.array(start), np.array(end))


def _cycles(closed: list[tuple[FloatArray, FloatArray]], open_points: FloatArray, residue: str) -> Cycles:
    if residue == CLOSED and len(open_points) > 1:
        top = int(np.argmax(open_points))  # begin and end the endless repeat at its highest peak: all then closes
        again = np.concatenate((open_points[top:], open_points[: top + 1]))
        open_points, more = _close(_reversals(again))
        closed = [*closed, *more]
    starts = np.concatenate([pair[0] for pair in closed] or [np.empty(0)])
    ends = np.concatenate([pair[1] for pair in closed] or [np.empty(0)])
    halves = max(len(open_points) - 1, 0)
    weights = np.concatenate((np.ones(len(starts)), np.full(halves, 0.5)))
    starts, ends = np.concatenate((starts, open_points[:-1])), np.concatenate((ends, open_points[1:]))
    return Cycles(np.abs(ends - starts), (ends + starts) / 2, weights)


def _bin(ranges: FloatArray, width: float) -> np.ndarray:
    """Number of the bin that ends at or just above each range."""
    number = np.ceil(ranges / width * (1 - 1e-12))  # a range that sits on an edge stays there, rounding or not
    if np.any(number > MOST_BINS):
        raise InputError(
            "bin_width_mpa", f"a range of {ranges.max():g} MPa needs more than {grouped(MOST_BINS)} such bins"
        )
    return number.astype(np.int64)


def _add(bins: FloatArray, where: np.ndarray, weight: float | FloatArray) -> FloatArray:
    weights = np.broadcast_to(np.asarray(weight, dtype=float), where.shape)
    new = np.bincount(where, weights=weights, minlength=len(bins)).astype(float)
    new[: len(bins)] += bins
    return new


def _flat(argument: str, series: ArrayLike) -> FloatArray:
    values = finite(argument, series)
    if values.ndim != 1:
        raise InputError(argument, "must be one list of samples in time order", code="shape")
    return values


def _known_residue(residue: str) -> None:
    if residue not in RESIDUES:
        raise InputError("residue", f"must be one of {', '.join(RESIDUES)}; got {residue!r}", code="unknown_row")
