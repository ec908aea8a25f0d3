"""Weld groups against worked textbook examples.

Bhandari, *Design of Machine Elements*, chapter 8: inputs and answers as run in a public set of solved examples.
Shigley, *Mechanical Engineering Design*, eccentric C-shaped weld: from memory. Line properties: closed forms.
"""

import math

import pytest

from engineering.weld_group import Line, Load, circle, group, rectangle, stresses

pytestmark = pytest.mark.published


def test_two_parallel_welds_under_an_eccentric_force():
    """Bhandari example 8.9: 7.5 kN at 125 mm, two welds of 50 mm 50 mm apart, 100 MPa: throat 4.538894 mm."""
    welds = group([Line(-25, -25, 25, -25, 1), Line(-25, 25, 25, 25, 1)])
    peak = stresses(welds, Load(fy_n=-7500, x_mm=125, y_mm=0)).peak_mpa
    assert peak / 100 == pytest.approx(4.538894, abs=5e-7)


def test_three_welds_under_an_eccentric_force():
    """Bhandari example 8.10: 60 kN 150 mm beyond welds of 50, 100, 50 mm, 100 MPa: throat 20.186421 mm."""
    welds = group([Line(0, 50, 50, 50, 1), Line(0, -50, 50, -50, 1), Line(0, -50, 0, 50, 1)])
    peak = stresses(welds, Load(fy_n=-60_000, x_mm=50 + 150, y_mm=0)).peak_mpa
    assert peak / 100 == pytest.approx(20.186421, abs=5e-7)


def test_three_welds_open_upwards_under_an_eccentric_force():
    """Bhandari example 8.11: 25 kN at 100 + 50 mm from the middle of welds 150, 100, 150 mm, 55 MPa: 4.630044 mm."""
    welds = group([Line(-50, 0, -50, 150, 1), Line(50, 0, 50, 150, 1), Line(-50, 0, 50, 0, 1)])
    peak = stresses(welds, Load(fy_n=-25_000, x_mm=150, y_mm=0)).peak_mpa
    assert peak / 55 == pytest.approx(4.630044, abs=5e-7)


def test_two_welds_bent_out_of_their_plane():
    """Bhandari example 8.13: 50 kN at 300 mm on two welds of 400 mm, 70 MPa as maximum shear: throat 2.198406 mm."""
    welds = group([Line(-5, -200, -5, 200, 1), Line(5, -200, 5, 200, 1)])
    found = stresses(welds, Load(fy_n=-50_000, mx_nmm=50_000 * 300))
    bending = float(abs(found.normal_mpa).max())
    direct = float(abs(found.along_mpa).max())
    assert math.hypot(bending / 2, direct) / 70 == pytest.approx(2.198406, abs=5e-7)


def test_c_shaped_weld_of_the_american_textbook():
    """Shigley, from memory: 6 mm fillets 56, 190, 56 mm, 25 kN: A 1280 mm², x 10.4 mm, J 7.07e6 mm⁴, 44.1 and 37.0."""
    throat = 0.707 * 6
    welds = group([Line(0, 0, 56, 0, throat), Line(0, 190, 56, 190, throat), Line(0, 0, 0, 190, throat)])
    assert welds.area_mm2 == pytest.approx(1280, abs=5)
    assert welds.x_mm == pytest.approx(10.4, abs=0.05)
    assert welds.polar_mm4 == pytest.approx(7.07e6, abs=0.005e6)
    found = stresses(welds, Load(fy_n=-25_000, x_mm=-100, y_mm=95)).resultant_mpa
    assert found.max() == pytest.approx(44.1, rel=0.005)
    assert found.min() == pytest.approx(37.0, rel=0.005)


def test_line_properties_of_a_ring_and_a_rectangle():
    """Textbook closed forms: ring J = 2πr³ and I = πr³; rectangle J = (b+d)³/6 and I = d²(3b+d)/6, per unit throat."""
    ring, box = circle(100, 1), rectangle(80, 120, 1)
    assert ring.polar_mm4 == pytest.approx(2 * math.pi * 100**3)
    assert ring.ixx_mm4 == pytest.approx(math.pi * 100**3)
    assert box.polar_mm4 == pytest.approx((80 + 120) ** 3 / 6)
    assert box.ixx_mm4 == pytest.approx(120**2 * (3 * 80 + 120) / 6)


def test_line_properties_of_a_c_shape():
    """Textbook closed form: J = (8b³ + 6bd² + d³)/12 - b⁴/(2b + d), per unit throat."""
    b, d = 56, 190
    shape = group([Line(0, 0, b, 0, 1), Line(0, d, b, d, 1), Line(0, 0, 0, d, 1)])
    assert shape.polar_mm4 == pytest.approx((8 * b**3 + 6 * b * d**2 + d**3) / 12 - b**4 / (2 * b + d))
