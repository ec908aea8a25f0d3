"""Stress intensity against published solutions."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ellipe

from engineering import stress_intensity as si

pytestmark = pytest.mark.published

# a/c, a/t, F at the surface, F at the deepest point: finite elements, tension, nu = 0.3.
RAJU_NEWMAN_1979 = [
    (0.2, 0.2, 0.617, 1.173), (0.2, 0.4, 0.724, 1.359), (0.2, 0.6, 0.899, 1.642), (0.2, 0.8, 1.190, 1.851),
    (0.4, 0.2, 0.767, 1.138), (0.4, 0.4, 0.896, 1.225), (0.4, 0.6, 1.080, 1.370), (0.4, 0.8, 1.318, 1.447),
    (0.6, 0.2, 0.916, 1.110), (0.6, 0.4, 1.015, 1.145), (0.6, 0.6, 1.172, 1.230), (0.6, 0.8, 1.353, 1.264),
    (1.0, 0.2, 1.174, 1.049), (1.0, 0.4, 1.229, 1.062), (1.0, 0.6, 1.355, 1.107), (1.0, 0.8, 1.464, 1.112),
]  # fmt: skip


@pytest.mark.parametrize(("aspect", "depth", "surface", "deepest"), RAJU_NEWMAN_1979)
@pytest.mark.parametrize("place", ["surface", "deepest"])
def test_within_five_percent_of_raju_and_newman_1979_finite_elements(aspect, depth, surface, deepest, place):
    """Raju and Newman, Engineering Fracture Mechanics 11 (1979) 817, table of tension (values from memory)."""
    angle, expected = (0.0, surface) if place == "surface" else (90.0, deepest)
    found = si.surface_crack_factor(depth_ratio=depth, aspect=aspect, angle_deg=angle)
    assert float(found) == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize("aspect", [0.2, 0.4, 0.6, 0.8, 1.0])
def test_shape_factor_is_the_square_of_the_elliptic_integral(aspect):
    """Irwin 1962: Q = E(k)², exact; the fit is good to 0.15 %."""
    assert float(si.flaw_shape(aspect)) == pytest.approx(ellipe(1.0 - aspect**2) ** 2, rel=0.0015)


@pytest.mark.parametrize(
    ("half_width", "angle", "expected"), [(np.inf, 90, 7.2896), (np.inf, 0, 5.7422), (50, 90, 7.2954), (50, 0, 5.7467)]
)
def test_worked_example_of_the_nasa_tm_85793_equations(half_width, angle, expected):
    """a = 2, c = 4, t = 10 mm, 100 MPa: K in MPa√m, public copy of NASA TM-85793 with these results."""
    k = si.surface_crack_k(
        membrane_mpa=100, depth_mm=2, wall_mm=10, aspect=0.5, angle_deg=angle, half_width_mm=half_width
    )
    assert round(float(si.in_mpa_sqrt_m(k)), 4) == expected


@pytest.mark.parametrize(("angle", "bending", "expected"), [(90, 0, 240.475), (0, 0, 167.831), (90, 1, 210.322)])
def test_newman_raju_1981_evaluated_apart(angle, bending, expected):
    """a = 2, c = 5, t = 20 mm, 100 MPa, wide plate: the 1981 equations evaluated by a second hand, N/mm^1.5."""
    stresses = {"membrane_mpa": 100 * (1 - bending), "bending_mpa": 100 * bending}
    k = si.surface_crack_k(**stresses, depth_mm=2, wall_mm=20, aspect=0.4, angle_deg=angle)
    assert round(float(k), 3) == expected


@pytest.mark.parametrize(("angle", "factor"), [(90, 1.04), (0, 1.144)])
def test_shallow_half_circle(angle, factor):
    """Newman and Raju 1981: limits of F for a half-circular crack in a deep body."""
    assert float(si.surface_crack_factor(depth_ratio=0, aspect=1, angle_deg=angle)) == pytest.approx(factor, abs=1e-9)


# L/B, z/B, membrane, bending
TOE = [
    (0.5, 0.01, 1.7632, 1.6218), (1.0, 0.01, 2.1260, 1.8759), (1.0, 0.1, 1.1724, 1.0532), (1.0, 0.5, 1.0, 1.0),
    (3.0, 0.01, 2.5637, 1.8759), (3.0, 0.1, 1.3155, 1.0532), (1.0, 0.0075, 2.3243, 2.0509),
    (3.0, 0.015, 2.2609, 1.6543), (0.5, 0.0075, 1.9276, 1.7731), (1.0, 0.25, 1.0218, 1.0),
]  # fmt: skip


@pytest.mark.parametrize(("length", "z", "membrane", "bending"), TOE)
def test_weld_toe_magnification_of_bs_7910_annex_m_evaluated_apart(length, z, membrane, bending):
    """Two-dimensional Mk, formula as printed in JCSS Probabilistic Model Code part 3 table A.2.1."""
    for loading, expected in (("membrane", membrane), ("bending", bending)):
        found = si.toe_magnification(depth_mm=20 * z, wall_mm=20, attachment_mm=20 * length, loading=loading)
        assert float(found) == pytest.approx(expected, abs=6e-5)


@pytest.mark.parametrize(("share", "factor"), [(0.2, 1.0254), (0.5, 1.1892), (0.8, 1.7989)])
def test_through_crack_in_a_plate(share, factor):
    """Feddersen's secant, 2a/W = 0.2, 0.5, 0.8 (formula in Tada's handbook, values computed apart)."""
    k = si.through_crack_k(stress_mpa=1, half_length_mm=50 * share, width_mm=100)
    assert round(float(k) / np.sqrt(np.pi * 50 * share), 4) == factor


@pytest.mark.parametrize(("share", "factor"), [(0.1, 1.0060), (0.2, 1.0246), (0.4, 1.1094), (0.6, 1.3033)])
def test_through_crack_against_isida(share, factor):
    """Isida 1971 (series solution; values from memory), within 0.3 %."""
    k = si.through_crack_k(stress_mpa=1, half_length_mm=50 * share, width_mm=100)
    assert float(k) / np.sqrt(np.pi * 50 * share) == pytest.approx(factor, rel=0.003)


@pytest.mark.parametrize(("share", "factor"), [(0.1, 1.1837), (0.2, 1.3707), (0.5, 2.8264)])
def test_edge_crack_in_tension(share, factor):
    """Gross and Srawley polynomial, in Tada's handbook (values computed apart)."""
    k = si.edge_crack_k(stress_mpa=1, depth_mm=100 * share, width_mm=100)
    assert round(float(k) / np.sqrt(np.pi * 100 * share), 4) == factor


@pytest.mark.parametrize("share", [0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6])
def test_edge_crack_against_tadas_closed_form(share):
    """Tada 1973, √(2/πx tan πx/2)/cos πx/2 times 0.752 + 2.02 x + 0.37 (1 − sin πx/2)³ in tension and
    0.923 + 0.199 (1 − sin πx/2)⁴ in bending (from memory). Each fit claims 0.5 %; they lie 1.4 and 2.3 % apart."""
    half = np.pi * share / 2
    root, cosine, sine = np.sqrt(np.tan(half) / half), np.cos(half), np.sin(half)
    expected = {
        "membrane": root * (0.752 + 2.02 * share + 0.37 * (1 - sine) ** 3) / cosine,
        "bending": root * (0.923 + 0.199 * (1 - sine) ** 4) / cosine,
    }
    for loading, factor in expected.items():
        k = si.edge_crack_k(stress_mpa=1, depth_mm=100 * share, width_mm=100, loading=loading)
        assert float(k) / np.sqrt(np.pi * 100 * share) == pytest.approx(
            factor, rel=0.014 if loading == "membrane" else 0.023
        )


@pytest.mark.parametrize(
    ("share", "loading", "zahoor", "tada"),
    [
        (0.1, "membrane", 1.170, 1.200), (0.1, "bending", 1.146, 1.178),
        (0.2, "membrane", 1.497, 1.521), (0.2, "bending", 1.414, 1.436),
        (0.3, "membrane", 1.990, 1.981), (0.3, "bending", 1.771, 1.743),
    ],
)  # fmt: skip
def test_two_formulas_for_a_crack_round_a_tube_agree_within_three_percent(share, loading, zahoor, tada):
    """Zahoor 1989 against Tada's handbook, R/t = 10 (both from memory; values computed apart)."""
    first = si.tube_crack_factor(half_angle_deg=180 * share, radius_to_wall=10, loading=loading)
    second = si.tube_crack_factor_tada(half_angle_deg=180 * share, loading=loading)
    assert float(first) == pytest.approx(zahoor, abs=6e-4)
    assert float(second) == pytest.approx(tada, abs=6e-4)
    assert float(first) == pytest.approx(float(second), rel=0.03)
