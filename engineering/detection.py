"""What size of crack a look finds, how likely a growing crack is found over a series of looks, how many looks it takes.

Units: sizes in mm, being the depth of the crack or its length at the surface as the row of the table says; chances as
fractions of 1.

Curve: chance(size) = 1 − 1/(1 + (size/x0)^b) (log-logistic; DNVGL-RP-C210 section 11). Table: ``detection``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from engineering import tables
from engineering.errors import FloatArray, InputError, non_negative, one, positive, within

METHODS = ("VT", "PT", "MT", "UT", "ET", "RT")
"""Visual, penetrant, magnetic particle, ultrasonic, eddy current, radiographic testing (ISO 9712)."""

ACCESS = ("easy", "moderate", "difficult")
CONDITIONS = ("good", "normal", "poor")
DIMENSIONS = ("depth", "length")

LENGTH_ASPECT = 0.6
"""Depth over half length by which a length at the surface is turned into a depth unless the caller knows better: the
mean of fresh toe cracks is 0.62 (JCSS Probabilistic Model Code part 3); joined cracks are longer and shallower."""

Dimension = Literal["depth", "length"]


@dataclass(frozen=True)
class Curve:
    """Chance of finding a crack against its size.

    Attributes:
        x0_mm: size found in one look out of two.
        b: steepness, no unit.
        dimension: what the size means: ``depth`` or ``length`` (at the surface, 2c).
        row: the row it comes from, with source, edition and status.
    """

    x0_mm: float
    b: float
    dimension: Dimension
    row: tables.Row

    def chance(self, size_mm: ArrayLike) -> FloatArray:
        """Chance that one look finds a crack of ``size_mm`` (≥ 0, in the curve's dimension)."""
        power = (non_negative("size_mm", size_mm) / self.x0_mm) ** self.b
        return np.asarray(power / (1.0 + power))

    def size_mm(self, chance: ArrayLike) -> FloatArray:
        """Size in mm that one look finds with ``chance`` (0 < chance < 1): x0 (chance/(1 − chance))^(1/b)."""
        wanted = _chance("chance", chance)
        return np.asarray(self.x0_mm * (wanted / (1.0 - wanted)) ** (1.0 / self.b))


@dataclass(frozen=True)
class Detectable:
    """A size of crack that a method is counted on to find.

    Attributes:
        size_mm: the size.
        dimension: ``depth`` or ``length`` (at the surface).
        row: the row of the table it comes from.
    """

    size_mm: float
    dimension: Dimension
    row: tables.Row


@dataclass(frozen=True)
class Looks:
    """How often to look over a growth window.

    Attributes:
        number: looks in the window.
        spacing: distance from one to the next, in the unit of the window.
        chance: chance that one of them finds the crack, at the worst timing.
    """

    number: int
    spacing: float
    chance: float


def curve(method: str, access: str, conditions: str, table: tables.Table | None = None) -> Curve:
    """The curve for a method at an access under conditions.

    Args:
        method: one of ``METHODS``.
        access: one of ``ACCESS``.
        conditions: one of ``CONDITIONS``.
        table: an office's own table; ``None`` for the shipped one.

    ``InputError``: ``unknown_row`` where the table says nothing of the combination, which is then *unknown*: no
    interval follows from it.
    """
    row = (table or tables.load("detection")).row(f"{method}-{access}-{conditions}")
    dimension = row["dimension"]
    if dimension not in DIMENSIONS:
        raise InputError(row.id, f"dimension must be one of {', '.join(DIMENSIONS)}, got {dimension!r}", code="shape")
    x0, b = positive("x0_mm", row["x0_mm"]), positive("b", row["b"])
    return Curve(x0_mm=float(x0), b=float(b), dimension=dimension, row=row)


def detectable_size(
    method: str, access: str, conditions: str, *, pod: float = 0.9, table: tables.Table | None = None
) -> Detectable:
    """The size that the method finds with the chance ``pod``, by default nine times in ten.

    Args:
        method: one of ``METHODS``.
        access: one of ``ACCESS``.
        conditions: one of ``CONDITIONS``.
        pod: chance of finding, between 0 and 1.
        table: an office's own table; ``None`` for the shipped one.

    ``InputError`` as ``curve``.

    >>> round(detectable_size("MT", "easy", "good").size_mm, 3)
    1.859
    """
    found = curve(method, access, conditions, table)
    return Detectable(size_mm=float(found.size_mm(pod)), dimension=found.dimension, row=found.row)


def as_depth_mm(detectable: Detectable, aspect: ArrayLike = LENGTH_ASPECT) -> FloatArray:
    """The detectable size as a crack depth in mm.

    Args:
        detectable: from ``detectable_size``.
        aspect: a/c, depth over half length (0 < a/c ≤ 1). Here the rounder crack is the safe side, since it is deeper
            by the time its length shows: not the same safe side as for growth.

    depth = length (a/c)/2 for a length, the size itself for a depth. It may be deeper than the wall; the method then
    protects nothing.
    """
    ratio = within("aspect", positive("aspect", aspect), 0.0, 1.0)
    if detectable.dimension == "depth":
        return np.full(ratio.shape, detectable.size_mm)
    return np.asarray(0.5 * detectable.size_mm * ratio)


def chance_of_finding(sizes_mm: ArrayLike, curve: Curve, *, never_found: float = 0.0) -> FloatArray:
    """Chance that at least one of a series of looks finds a growing crack.

    Args:
        sizes_mm: size at each look along the last axis (≥ 0, in the curve's dimension); leading axes are joints. No
            looks at all give 0.
        curve: chance at one look.
        never_found: share of cracks that no look of this kind would find (0 to 1): painted over, in a place nobody
            looks at. 0 counts every look as independent of the others, which flatters many looks by one person.

    (1 − never_found) (1 − Π (1 − chance(sizeᵢ))). Common practice; independence is an assumption.
    """
    share = one(within, "never_found", never_found, 0.0, 1.0)
    missed = 1.0 - curve.chance(sizes_mm)
    if missed.ndim == 0:
        raise InputError("sizes_mm", "needs the sizes at the looks as a series", code="shape")
    return np.asarray((1.0 - share) * (1.0 - np.prod(missed, axis=-1)))


def looks_needed(
    *,
    size_at: Callable[[FloatArray], FloatArray],
    window: float,
    curve: Curve,
    wanted: float,
    never_found: float = 0.0,
    most: int = 50,
) -> Looks:
    """The fewest evenly spaced looks over a growth window that find the crack with the wanted chance.

    Args:
        size_at: size in mm (in the curve's dimension) at times or cycles since the window opened.
        window: length of the window up to the critical size, in cycles or days; > 0.
        curve: chance at one look.
        wanted: chance wanted, between 0 and 1.
        never_found: as ``chance_of_finding``.
        most: largest number of looks tried, 1 or more.

    With n looks the spacing is window/n, so that n looks fall into the window whenever it opens. Counted is the worst
    timing, the first look just as the window opens: sizes at 0, 1, … n − 1 spacings.
    ``InputError`` where ``most`` looks do not reach the chance: no spacing of this method does the job.
    """
    length, goal = one(positive, "window", window), float(_chance("wanted", wanted))
    for number in range(1, int(one(within, "most", most, 1.0, 10_000.0)) + 1):
        spacing = length / number
        sizes = size_at(spacing * np.arange(number, dtype=np.float64))
        chance = float(chance_of_finding(sizes, curve, never_found=never_found))
        if chance >= goal:
            return Looks(number=number, spacing=spacing, chance=chance)
    raise InputError("wanted", f"a chance of {goal:g} is not reached by {most} looks, which give {chance:.3g}")


def _chance(argument: str, value: ArrayLike) -> FloatArray:
    chance = positive(argument, value)
    if np.any(chance >= 1.0):
        raise InputError(argument, f"must be a chance between 0 and 1, got {float(chance.max()):g}")
    return chance
