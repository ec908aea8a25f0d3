"""Stress in a group of line welds by the elastic line method.

Each weld is a line that carries its throat as width; the group is rigid between its welds, so that stress varies
linearly. Axes x, y lie in the plane of the group, z out of it, right-handed. Forces in N, moments in N·mm, lengths in
mm, stresses in MPa on the throat. The method is that of the strength-of-materials textbooks (direct share plus moment
times distance over second moment); it is on the safe side of the instantaneous-centre method.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from engineering.errors import FloatArray, InputError, finite, one, positive

_ROUND = 720  # points on a circle; the peak between two of them is higher by less than 1 part in 100 000
_FLAT = 1e-9  # share of the polar second moment below which a group counts as one straight line


@dataclass(frozen=True)
class Line:
    """A straight weld from (x1, y1) to (x2, y2), mm, with its throat, mm."""

    x1_mm: float
    y1_mm: float
    x2_mm: float
    y2_mm: float
    throat_mm: float

    @property
    def length_mm(self) -> float:
        return math.hypot(self.x2_mm - self.x1_mm, self.y2_mm - self.y1_mm)


@dataclass(frozen=True)
class Circle:
    """A weld all round a tube: radius to the weld, centre and throat, mm."""

    radius_mm: float
    throat_mm: float
    x_mm: float = 0.0
    y_mm: float = 0.0

    @property
    def length_mm(self) -> float:
        return 2 * math.pi * self.radius_mm


@dataclass(frozen=True)
class Load:
    """Force, N, and moment, N·mm, on the group; the force acts at (x, y), mm, None meaning at the centroid."""

    fx_n: float = 0.0
    fy_n: float = 0.0
    fz_n: float = 0.0
    mx_nmm: float = 0.0
    my_nmm: float = 0.0
    mz_nmm: float = 0.0
    x_mm: float | None = None
    y_mm: float | None = None


@dataclass(frozen=True)
class Group:
    """Section values of a group, all with the throat as width.

    Attributes: area mm²; centroid mm; second moments about axes through the centroid, mm⁴, ``ixx`` that of y², ``iyy``
    that of x², ``ixy`` that of x·y.
    """

    welds: tuple[Line | Circle, ...]
    area_mm2: float
    x_mm: float
    y_mm: float
    ixx_mm4: float
    iyy_mm4: float
    ixy_mm4: float

    @property
    def polar_mm4(self) -> float:
        return self.ixx_mm4 + self.iyy_mm4

    @property
    def length_mm(self) -> float:
        return math.fsum(weld.length_mm for weld in self.welds)


@dataclass(frozen=True)
class Stresses:
    """Stress on the throat at points of the group, MPa, as forces per throat area.

    ``along`` runs with the weld, ``across`` lies in the plane square to it, ``normal`` stands out of the plane.
    """

    weld: FloatArray
    x_mm: FloatArray
    y_mm: FloatArray
    throat_mm: FloatArray
    along_mpa: FloatArray
    across_mpa: FloatArray
    normal_mpa: FloatArray

    @property
    def resultant_mpa(self) -> FloatArray:
        return np.sqrt(self.along_mpa**2 + self.across_mpa**2 + self.normal_mpa**2)

    @property
    def peak_mpa(self) -> float:
        """Largest resultant stress, MPa."""
        return float(self.resultant_mpa.max())

    @property
    def peak_n_per_mm(self) -> float:
        """Largest resultant force per length of weld, N/mm."""
        return float((self.resultant_mpa * self.throat_mm).max())


def group(welds: Sequence[Line | Circle]) -> Group:
    """Section values of the welds taken together; ``InputError`` for no weld, no length or no throat."""
    if not welds:
        raise InputError("welds", "a group needs at least one weld", code="shape")
    parts = [_part(weld) for weld in welds]
    area = math.fsum(part[0] for part in parts)
    x_bar = math.fsum(part[0] * part[1] for part in parts) / area
    y_bar = math.fsum(part[0] * part[2] for part in parts) / area
    ixx = math.fsum(part[3] + part[0] * (part[2] - y_bar) ** 2 for part in parts)
    iyy = math.fsum(part[4] + part[0] * (part[1] - x_bar) ** 2 for part in parts)
    ixy = math.fsum(part[5] + part[0] * (part[1] - x_bar) * (part[2] - y_bar) for part in parts)
    return Group(tuple(welds), area, x_bar, y_bar, ixx, iyy, ixy)


def rectangle(width_mm: float, depth_mm: float, throat_mm: float) -> Group:
    """A weld all round a rectangle, centred on the origin: width along x, depth along y, throat, mm."""
    half_x = one(positive, "width_mm", width_mm) / 2
    half_y = one(positive, "depth_mm", depth_mm) / 2
    corners = [(-half_x, -half_y), (half_x, -half_y), (half_x, half_y), (-half_x, half_y)]
    pairs = zip(corners, corners[1:] + corners[:1], strict=True)
    return group([Line(*start, *end, throat_mm) for start, end in pairs])


def circle(radius_mm: float, throat_mm: float) -> Group:
    """A weld all round a tube, centred on the origin: radius to the weld and throat, mm."""
    return group([Circle(radius_mm, throat_mm)])


def stress_at(welds: Group, load: Load, x_mm: ArrayLike, y_mm: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Stress components (sx, sy, sz), MPa, at points (mm) of the group.

    sx = Fx/A - Mz y/J, sy = Fy/A + Mz x/J, sz = Fz/A + a y + b x with a, b from Mx = ∫ sz y dA, My = -∫ sz x dA.
    ``InputError`` (``welds``) where a single straight weld is asked to carry a moment about its own axis.
    """
    mx, my, mz = _moments(welds, load)
    slope_y, slope_x = _bending(welds, mx, my)
    x, y = finite("x_mm", x_mm) - welds.x_mm, finite("y_mm", y_mm) - welds.y_mm
    area, polar = welds.area_mm2, welds.polar_mm4
    return (
        np.asarray(load.fx_n / area - mz * y / polar),
        np.asarray(load.fy_n / area + mz * x / polar),
        np.asarray(load.fz_n / area + slope_y * y + slope_x * x),
    )


def stresses(welds: Group, load: Load) -> Stresses:
    """Stress at both ends of every line, where a linear field is greatest, and round every circle."""
    index, x, y, along_x, along_y, throat = _points(welds)
    sx, sy, sz = stress_at(welds, load, x, y)
    return Stresses(
        weld=index,
        x_mm=x,
        y_mm=y,
        throat_mm=throat,
        along_mpa=sx * along_x + sy * along_y,
        across_mpa=sy * along_x - sx * along_y,
        normal_mpa=sz,
    )


def _part(weld: Line | Circle) -> tuple[float, float, float, float, float, float]:
    """Area, centre and own second moments (y², x², xy) of one weld."""
    throat = one(positive, "throat_mm", weld.throat_mm)
    if isinstance(weld, Circle):
        radius = one(positive, "radius_mm", weld.radius_mm)
        finite("centre", [weld.x_mm, weld.y_mm])
        own = math.pi * radius**3 * throat
        return 2 * math.pi * radius * throat, weld.x_mm, weld.y_mm, own, own, 0.0
    finite("line", [weld.x1_mm, weld.y1_mm, weld.x2_mm, weld.y2_mm])
    length = one(positive, "length_mm", weld.length_mm)
    area, dx, dy = length * throat, weld.x2_mm - weld.x1_mm, weld.y2_mm - weld.y1_mm
    centre = (weld.x1_mm + weld.x2_mm) / 2, (weld.y1_mm + weld.y2_mm) / 2
    return area, *centre, area * dy * dy / 12, area * dx * dx / 12, area * dx * dy / 12


def _moments(welds: Group, load: Load) -> tuple[float, float, float]:
    """Moments about the centroid, N·mm."""
    finite("load", [load.fx_n, load.fy_n, load.fz_n, load.mx_nmm, load.my_nmm, load.mz_nmm])
    x = 0.0 if load.x_mm is None else one(finite, "x_mm", load.x_mm) - welds.x_mm
    y = 0.0 if load.y_mm is None else one(finite, "y_mm", load.y_mm) - welds.y_mm
    mx, my = load.mx_nmm + y * load.fz_n, load.my_nmm - x * load.fz_n
    return mx, my, load.mz_nmm + x * load.fy_n - y * load.fx_n


def _bending(welds: Group, mx: float, my: float) -> tuple[float, float]:
    """Slopes of sz along y and x, MPa/mm."""
    if mx == 0.0 and my == 0.0:
        return 0.0, 0.0
    ixx, iyy, ixy = welds.ixx_mm4, welds.iyy_mm4, welds.ixy_mm4
    determinant = ixx * iyy - ixy**2
    if determinant > _FLAT * welds.polar_mm4**2:
        return (mx * iyy + my * ixy) / determinant, (-my * ixx - mx * ixy) / determinant
    # one straight line: it resists bending about the axis square to it only
    direction = math.atan2(2 * ixy, iyy - ixx) / 2
    along_x, along_y = math.cos(direction), math.sin(direction)
    about_own_axis = mx * along_x + my * along_y
    if abs(about_own_axis) > _FLAT * math.hypot(mx, my):
        raise InputError("welds", "one straight weld cannot carry a moment about its own axis", code="shape")
    slope = (mx * along_y - my * along_x) / welds.polar_mm4
    return slope * along_y, slope * along_x


def _points(welds: Group) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Weld number, place, direction of the weld and throat at every point looked at."""
    rows: list[FloatArray] = []
    for number, weld in enumerate(welds.welds):
        if isinstance(weld, Circle):
            angle = np.arange(_ROUND) * (2 * math.pi / _ROUND)
            x, y = weld.x_mm + weld.radius_mm * np.cos(angle), weld.y_mm + weld.radius_mm * np.sin(angle)
            along_x, along_y = -np.sin(angle), np.cos(angle)
        else:
            x, y = np.array([weld.x1_mm, weld.x2_mm]), np.array([weld.y1_mm, weld.y2_mm])
            along_x = np.full(2, (weld.x2_mm - weld.x1_mm) / weld.length_mm)
            along_y = np.full(2, (weld.y2_mm - weld.y1_mm) / weld.length_mm)
        ones = np.ones_like(x)
        rows.append(np.stack([number * ones, x, y, along_x, along_y, weld.throat_mm * ones]))
    index, x, y, along_x, along_y, throat = np.concatenate(rows, axis=1)
    return index, x, y, along_x, along_y, throat
