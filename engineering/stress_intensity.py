"""Stress intensity of cracks in plates, at weld toes and in tubes, elastic, mode I.

Units: stress MPa, length mm, K in N/mm^1.5 (1 MPa√m = 31.6228 N/mm^1.5). A range of stress gives a range of K.

Sources:
    Newman and Raju, *Engineering Fracture Mechanics* 15 (1981) and NASA TM-85793: surface crack in a plate.
    BS 7910:2013 Annex M, two-dimensional weld-toe magnification (as copied in JCSS Probabilistic Model Code,
    part 3, table A.2.1): 45° toe without radius.
    Tada, Paris and Irwin, *The Stress Analysis of Cracks Handbook*: through and edge cracks, tube at R/t = 10.
    Zahoor, *Ductile Fracture Handbook* (1989): circumferential through-wall crack in a tube.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from engineering.errors import FloatArray, InputError, finite, non_negative, positive, within

N_PER_MM15_IN_MPA_SQRT_M = 1000.0**0.5
"""N/mm^1.5 in one MPa√m."""

DEEPEST_SHARE = 0.8
"""Largest crack depth over wall thickness that the surface-crack formula is used for (Newman–Raju, a/t ≤ 0.8)."""

WIDEST_SHARE = 0.5
"""Largest half crack length over half plate width that the formula is used for (Newman–Raju, c/b ≤ 0.5)."""

SHALLOWEST_ASPECT = 0.2
ROUNDEST_ASPECT = 1.0

Loading = Literal["membrane", "bending"]


def positive_or_infinite(argument: str, value: ArrayLike) -> FloatArray:
    """``value`` as a float array, all > 0, +infinity allowed (a plate without an edge); else ``InputError``."""
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(argument, f"needs a number, got {value!r}", code="not_a_number") from error
    positive(argument, np.where(np.isposinf(array), 1.0, array))
    return array


def flaw_shape(aspect: ArrayLike) -> FloatArray:
    """Shape factor Q of an ellipse of depth a and half length c, from ``aspect`` = a/c (0 < a/c ≤ 2), no unit.

    Q = 1 + 1.464 (a/c)^1.65, or with c/a where a/c > 1: within 0.15 % of the square of the elliptic integral E(k).
    Source: Newman–Raju 1981. ``InputError`` outside the range.
    """
    ratio = within("aspect", positive("aspect", aspect), 0.0, 2.0)
    return np.asarray(1.0 + 1.464 * np.minimum(ratio, 1.0 / ratio) ** 1.65)


def membrane_terms(aspect: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """M1, M2, M3 of Newman–Raju 1981, so that F(deepest, wide plate) = M1 + M2 (a/t)² + M3 (a/t)⁴ for a/c ≤ 1."""
    inverse = 1.0 / aspect
    flat = aspect <= 1.0
    # The high power is taken of a ratio held at 1 so that the unused branch stays finite.
    held = np.minimum(aspect, 1.0)
    m1 = np.where(flat, 1.13 - 0.09 * aspect, np.sqrt(inverse) * (1.0 + 0.04 * inverse))
    m2 = np.where(flat, -0.54 + 0.89 / (0.2 + aspect), 0.2 * inverse**4)
    m3 = np.where(flat, 0.5 - 1.0 / (0.65 + aspect) + 14.0 * (1.0 - held) ** 24, -0.11 * inverse**4)
    return m1, m2, m3


def bending_terms(aspect: FloatArray) -> tuple[FloatArray, FloatArray]:
    """G1, G2 of Newman–Raju 1981: H(deepest) = 1 + G1 (a/t) + G2 (a/t)² for a/c ≤ 1."""
    return -1.22 - 0.12 * aspect, 0.55 - 1.05 * aspect**0.75 + 0.47 * aspect**1.5


def deepest_valid_mm(*, wall_mm: ArrayLike, aspect: ArrayLike, half_width_mm: ArrayLike = np.inf) -> FloatArray:
    """Depth in mm up to which the surface-crack formula is used: the smaller of 0.8 t and 0.5 b (a/c).

    Args:
        wall_mm: wall thickness t.
        aspect: a/c, 0.2 to 1.
        half_width_mm: half the plate width b; infinity for a tube or a wide plate.
    """
    wall = positive("wall_mm", wall_mm)
    shape = within("aspect", aspect, SHALLOWEST_ASPECT, ROUNDEST_ASPECT)
    half_width = positive_or_infinite("half_width_mm", half_width_mm)
    # A hair short of the limit, so that the ratio taken of it again is never above the limit by rounding.
    return (1.0 - 1e-12) * np.minimum(DEEPEST_SHARE * wall, WIDEST_SHARE * half_width * shape)


def surface_crack_factor(
    *, depth_ratio: ArrayLike, aspect: ArrayLike, angle_deg: ArrayLike = 90.0, width_ratio: ArrayLike = 0.0
) -> FloatArray:
    """Boundary factor F of a semi-elliptical surface crack in tension; K = S √(πa/Q) F. No unit.

    Args:
        depth_ratio: a/t, 0 to 0.8.
        aspect: a/c, 0.2 to 2.
        angle_deg: position on the front, 0 at the surface, 90 at the deepest point.
        width_ratio: c/b, half crack length over half plate width, 0 to 0.5.

    Within about 5 % of finite elements (Newman–Raju 1981). ``InputError`` outside the ranges.

    >>> f = surface_crack_factor(depth_ratio=0.2, aspect=0.2)
    >>> round(float(f), 4)
    1.1784
    """
    x = within("depth_ratio", depth_ratio, 0.0, DEEPEST_SHARE)
    ratio = within("aspect", aspect, SHALLOWEST_ASPECT, 2.0)
    phi = np.radians(within("angle_deg", angle_deg, 0.0, 180.0, unit="°"))
    width = within("width_ratio", width_ratio, 0.0, WIDEST_SHARE)
    m1, m2, m3 = membrane_terms(ratio)
    sine, cosine = np.sin(phi), np.cos(phi)
    inverse = 1.0 / ratio
    flat = ratio <= 1.0
    front = np.where(flat, (ratio * cosine) ** 2 + sine**2, (inverse * sine) ** 2 + cosine**2) ** 0.25
    surface = 1.0 + (0.1 + 0.35 * np.where(flat, 1.0, inverse) * x**2) * (1.0 - sine) ** 2
    finite_width = np.cos(0.5 * np.pi * width * np.sqrt(x)) ** -0.5
    return np.asarray((m1 + m2 * x**2 + m3 * x**4) * front * surface * finite_width)


def bending_correction(*, depth_ratio: ArrayLike, aspect: ArrayLike, angle_deg: ArrayLike = 90.0) -> FloatArray:
    """Factor H by which the tension factor F is multiplied under bending; no unit.

    Args:
        depth_ratio: a/t, 0 to 0.8.
        aspect: a/c, 0.2 to 1.
        angle_deg: 0 at the surface, 90 at the deepest point.

    H = H1 + (H2 − H1) sin^p φ (Newman–Raju 1981). It falls below 0 for round deep cracks, whose deepest point lies in
    the pressed half of the wall.
    """
    x = within("depth_ratio", depth_ratio, 0.0, DEEPEST_SHARE)
    ratio = within("aspect", aspect, SHALLOWEST_ASPECT, ROUNDEST_ASPECT)
    phi = np.radians(within("angle_deg", angle_deg, 0.0, 180.0, unit="°"))
    g1, g2 = bending_terms(ratio)
    h1 = 1.0 - 0.34 * x - 0.11 * ratio * x
    h2 = 1.0 + g1 * x + g2 * x**2
    return np.asarray(h1 + (h2 - h1) * np.maximum(np.sin(phi), 0.0) ** (0.2 + ratio + 0.6 * x))


def surface_crack_k(
    *,
    membrane_mpa: ArrayLike,
    bending_mpa: ArrayLike = 0.0,
    depth_mm: ArrayLike,
    wall_mm: ArrayLike,
    aspect: ArrayLike,
    angle_deg: ArrayLike = 90.0,
    half_width_mm: ArrayLike = np.inf,
    attachment_mm: ArrayLike | None = None,
) -> FloatArray:
    """K in N/mm^1.5 of a semi-elliptical surface crack: (Mkm Sm + Mkb H Sb) √(πa/Q) F.

    Args:
        membrane_mpa: membrane stress (or range) Sm at the crack's place without the crack.
        bending_mpa: outer-fibre bending stress (or range) Sb.
        depth_mm: crack depth a, at most 0.8 of the wall.
        wall_mm: wall thickness t.
        aspect: a/c, 0.2 to 1 (to 2 in pure tension without a weld toe).
        angle_deg: 0 at the surface, 90 at the deepest point.
        half_width_mm: half the plate width b; c/b at most 0.5.
        attachment_mm: length of the attachment with its weld legs; ``None`` away from a weld toe. With a toe only the
            deepest point is answered for.

    Sources: Newman–Raju 1981; BS 7910:2013 M.

    >>> k = surface_crack_k(membrane_mpa=100, depth_mm=2, wall_mm=20, aspect=0.4)
    >>> round(float(k), 2)
    240.48
    """
    depth, wall = positive("depth_mm", depth_mm), positive("wall_mm", wall_mm)
    ratio = finite("aspect", aspect)
    tension, bending = finite("membrane_mpa", membrane_mpa), finite("bending_mpa", bending_mpa)
    width = depth / ratio / positive_or_infinite("half_width_mm", half_width_mm)
    x = depth / wall
    toe_m: FloatArray = np.asarray(1.0)
    toe_b = toe_m
    if attachment_mm is not None:
        if np.any(finite("angle_deg", angle_deg) != 90.0):
            raise InputError("angle_deg", "at a weld toe only the deepest point (90) is answered for")
        toe_m = toe_magnification(depth_mm=depth, wall_mm=wall, attachment_mm=attachment_mm, loading="membrane")
        toe_b = toe_magnification(depth_mm=depth, wall_mm=wall, attachment_mm=attachment_mm, loading="bending")
    stress = toe_m * tension
    if np.any(bending != 0.0):
        stress = stress + toe_b * bending * bending_correction(depth_ratio=x, aspect=ratio, angle_deg=angle_deg)
    factor = surface_crack_factor(depth_ratio=x, aspect=ratio, angle_deg=angle_deg, width_ratio=width)
    return np.asarray(stress * np.sqrt(np.pi * depth / flaw_shape(ratio)) * factor)


@dataclass(frozen=True)
class ToePieces:
    """The two power laws of the weld-toe magnification v (z/B)^w, and the depth ratio z/B where the second begins."""

    limit: FloatArray
    v: tuple[FloatArray, FloatArray]
    w: tuple[FloatArray, FloatArray]


def toe_pieces(length_ratio: FloatArray, loading: Loading) -> ToePieces:
    """Coefficients of the two-dimensional weld-toe magnification for ``length_ratio`` = L/B (BS 7910:2013 M).

    The published lines for membrane meet neither at L/B = 2, where Mk is up to 2 % more than just beyond it, nor at
    their limit of depth. Infinity, which says that the length is not known, takes the greatest of them at every depth.
    """
    if loading == "membrane":
        unknown = np.isinf(length_ratio)
        near, held = (length_ratio <= 2.0) | unknown, np.minimum(length_ratio, 2.0)
        limit = np.where(near, 0.05 * held**0.55, 0.073)
        v = np.where(near, 0.51 * held**0.27, 0.615), np.full_like(held, 0.83)
        w = np.full_like(held, -0.31), np.where(near, -0.15 * held**0.46, -0.20)
        crossing = (v[0] / v[1]) ** (1.0 / (w[1] - w[0]))
        return ToePieces(limit=np.where(unknown, crossing, limit), v=v, w=w)
    near, held = length_ratio <= 1.0, np.minimum(length_ratio, 1.0)
    return ToePieces(
        limit=0.03 * held**0.55,
        v=(0.45 * held**0.21, np.full_like(held, 0.68)),
        w=(np.full_like(held, -0.31), np.where(near, -0.19 * held**0.21, -0.19)),
    )


def toe_magnification(
    *, depth_mm: ArrayLike, wall_mm: ArrayLike, attachment_mm: ArrayLike, loading: Loading
) -> FloatArray:
    """Weld-toe magnification Mk ≥ 1 of K at the deepest point; no unit.

    Args:
        depth_mm: crack depth z.
        wall_mm: thickness B of the cracked wall.
        attachment_mm: length L of the attachment along the stress, weld legs included; infinity is the safe choice
            where it is not known.
        loading: ``membrane`` or ``bending``.

    Mk = v (z/B)^w, 45° toe without radius; the two pieces differ by up to 1 % where they meet.
    Source: BS 7910:2013 M (two-dimensional solutions).

    >>> round(float(toe_magnification(depth_mm=0.2, wall_mm=20, attachment_mm=20, loading="membrane")), 3)
    2.126
    """
    depth, wall = positive("depth_mm", depth_mm), positive("wall_mm", wall_mm)
    length = positive_or_infinite("attachment_mm", attachment_mm)
    z, length_ratio = np.broadcast_arrays(depth / wall, length / wall)
    pieces = toe_pieces(length_ratio, loading)
    first = z <= pieces.limit
    v, w = (np.where(first, pair[0], pair[1]) for pair in (pieces.v, pieces.w))
    return np.asarray(np.maximum(1.0, v * z**w))


def through_crack_k(*, stress_mpa: ArrayLike, half_length_mm: ArrayLike, width_mm: ArrayLike = np.inf) -> FloatArray:
    """K in N/mm^1.5 of a crack of length 2a through the middle of a plate of width W in tension: S √(πa sec(πa/W)).

    Args:
        stress_mpa: gross stress.
        half_length_mm: a; 2a/W at most 0.8.
        width_mm: W; infinity for a wide plate.

    Source: Feddersen, in Tada's handbook; within 0.3 % for 2a/W ≤ 0.7.
    """
    half = positive("half_length_mm", half_length_mm)
    share = within("half_length_mm", half / positive_or_infinite("width_mm", width_mm), 0.0, 0.4, unit="of the width")
    return np.asarray(finite("stress_mpa", stress_mpa) * np.sqrt(np.pi * half / np.cos(np.pi * share)))


def edge_crack_k(
    *, stress_mpa: ArrayLike, depth_mm: ArrayLike, width_mm: ArrayLike, loading: Loading = "membrane"
) -> FloatArray:
    """K in N/mm^1.5 of a straight crack of depth a from one edge of a plate of width W, ends free to turn.

    Args:
        stress_mpa: gross membrane stress, or outer-fibre bending stress.
        depth_mm: a; a/W at most 0.6.
        width_mm: W.
        loading: ``membrane`` or ``bending``.

    Source: Tada's handbook (polynomials after Gross and Srawley; within 2.3 % of Tada's own closed forms).
    """
    depth = positive("depth_mm", depth_mm)
    x = within("depth_mm", depth / positive("width_mm", width_mm), 0.0, 0.6, unit="of the width")
    series = (1.12, -0.231, 10.55, -21.72, 30.39) if loading == "membrane" else (1.122, -1.40, 7.33, -13.08, 14.0)
    factor = sum(c * x**power for power, c in enumerate(series))
    return np.asarray(finite("stress_mpa", stress_mpa) * np.sqrt(np.pi * depth) * factor)


def tube_crack_factor(
    *, half_angle_deg: ArrayLike, radius_to_wall: ArrayLike, loading: Loading = "membrane"
) -> FloatArray:
    """Factor F of a circumferential through-wall crack in a tube; K = F S √(π R θ). No unit.

    Args:
        half_angle_deg: half the angle θ that the crack spans, over 0 to 99° (θ/π ≤ 0.55).
        radius_to_wall: mean radius over wall thickness R/t, 5 to 20.
        loading: ``membrane`` (axial force) or ``bending`` (of the tube as a beam, S at the extreme fibre).

    Ft = 1 + A (5.3303 x^1.5 + 18.773 x^4.24), Fb = 1 + A (4.5967 x^1.5 + 2.6422 x^4.24), x = θ/π,
    A = (0.125 R/t − 0.25)^¼ to R/t = 10, (0.4 R/t − 3)^¼ above. Source: Zahoor 1989 (from memory: to be confirmed;
    within 3 % of Tada's R/t = 10 formula).
    """
    x = within("half_angle_deg", positive("half_angle_deg", half_angle_deg), 0.0, 99.0, unit="°") / 180.0
    ratio = within("radius_to_wall", radius_to_wall, 5.0, 20.0)
    thick = np.where(ratio <= 10.0, 0.125 * ratio - 0.25, np.maximum(0.4 * ratio - 3.0, 0.0)) ** 0.25
    first, second = (5.3303, 18.773) if loading == "membrane" else (4.5967, 2.6422)
    return np.asarray(1.0 + thick * (first * x**1.5 + second * x**4.24))


def tube_crack_factor_tada(*, half_angle_deg: ArrayLike, loading: Loading = "membrane") -> FloatArray:
    """Factor F of a circumferential through-wall crack in a tube of R/t = 10; a second source for comparison.

    Ft = 1 + 7.5 x^1.5 − 15 x^2.5 + 33 x^3.5, Fb = 1 + 6.8 x^1.5 − 13.6 x^2.5 + 20 x^3.5, x = θ/π ≤ 0.55.
    Source: Tada's handbook (from memory: to be confirmed).
    """
    x = within("half_angle_deg", positive("half_angle_deg", half_angle_deg), 0.0, 99.0, unit="°") / 180.0
    c = (7.5, -15.0, 33.0) if loading == "membrane" else (6.8, -13.6, 20.0)
    return np.asarray(1.0 + c[0] * x**1.5 + c[1] * x**2.5 + c[2] * x**3.5)


def tube_crack_k(
    *,
    membrane_mpa: ArrayLike,
    bending_mpa: ArrayLike = 0.0,
    half_angle_deg: ArrayLike,
    mean_radius_mm: ArrayLike,
    wall_mm: ArrayLike,
) -> FloatArray:
    """K in N/mm^1.5 of a circumferential through-wall crack in a tube: (Ft Sm + Fb Sb) √(π R θ).

    Args:
        membrane_mpa: axial stress.
        bending_mpa: beam bending stress at the extreme fibre, crack centred there.
        half_angle_deg: θ, up to 99°.
        mean_radius_mm: R.
        wall_mm: t; R/t from 5 to 20.

    Source: see ``tube_crack_factor``.
    """
    radius = positive("mean_radius_mm", mean_radius_mm)
    ratio = radius / positive("wall_mm", wall_mm)
    theta = np.radians(positive("half_angle_deg", half_angle_deg))
    ft = tube_crack_factor(half_angle_deg=half_angle_deg, radius_to_wall=ratio)
    fb = tube_crack_factor(half_angle_deg=half_angle_deg, radius_to_wall=ratio, loading="bending")
    tension, bending = finite("membrane_mpa", membrane_mpa), finite("bending_mpa", bending_mpa)
    return np.asarray((ft * tension + fb * bending) * np.sqrt(np.pi * radius * theta))


def in_mpa_sqrt_m(k: ArrayLike) -> FloatArray:
    """K from N/mm^1.5 to MPa√m."""
    return non_negative("k", k) / N_PER_MM15_IN_MPA_SQRT_M
