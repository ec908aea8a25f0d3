"""Sections: scaling, limits of the closed forms, and the stress range under a lateral load."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from engineering.errors import InputError
from engineering.sections import parse, plate, range_mpa, rhs, tube

SIZES = st.floats(20, 800)
POWERS = {
    "area_mm2": 2, "second_moment_mm4": 4, "second_moment_weak_mm4": 4, "elastic_modulus_mm3": 3,
    "elastic_modulus_weak_mm3": 3, "plastic_modulus_mm3": 3, "plastic_modulus_weak_mm3": 3, "torsion_constant_mm4": 4,
    "torsion_modulus_mm3": 3, "radius_mm": 1, "mass_kg_per_m": 2,
}  # fmt: skip


@given(outer=SIZES, share=st.floats(0.02, 0.45), scale=st.floats(0.2, 5))
def test_every_value_of_a_tube_scales_with_its_power_of_length(outer, share, scale):
    small, large = tube(outer, share * outer), tube(scale * outer, scale * share * outer)
    for name, power in POWERS.items():
        assert getattr(large, name) == pytest.approx(getattr(small, name) * scale**power, rel=1e-9)


@given(outer=SIZES, share=st.floats(0.02, 0.4), more=st.floats(0.001, 0.09))
def test_a_thicker_wall_never_weakens_a_tube(outer, share, more):
    thin, thick = tube(outer, share * outer), tube(outer, (share + more) * outer)
    assert thick.elastic_modulus_mm3 > thin.elastic_modulus_mm3
    assert thick.area_mm2 > thin.area_mm2


@pytest.mark.parametrize(("depth", "width", "wall", "forming"), [(200, 100, 6.3, "hot"), (150, 150, 8, "cold"),
                                                                 (300, 100, 12.5, "cold")])  # fmt: skip
def test_a_box_with_round_corners_agrees_with_quadrature_over_its_depth(depth, width, wall, forming):
    box = rhs(depth, width, wall, forming=forming)
    out = {"hot": 1.5, "cold": 2.5 if wall <= 10 else 3.0}[forming] * wall
    inn = {"hot": 1.0, "cold": 1.5 if wall <= 10 else 2.0}[forming] * wall

    def chord(y, h, b, r):
        over = abs(y) - (h / 2 - r)
        return b if over <= 0 else b - 2 * (r - math.sqrt(max(0.0, r * r - over * over)))

    def solid(h, b, r, power):
        knee = h / 2 - r
        return 2 * sum(quad(lambda y: chord(y, h, b, r) * y**power, *piece, limit=200)[0]
                       for piece in ((0, knee), (knee, h / 2)))  # fmt: skip

    inside = (depth - 2 * wall, width - 2 * wall, inn)
    area, plastic, second = (solid(depth, width, out, n) - solid(*inside, n) for n in (0, 1, 2))
    assert box.area_mm2 == pytest.approx(area, rel=1e-6)
    assert box.second_moment_mm4 == pytest.approx(second, rel=1e-6)
    assert box.plastic_modulus_mm3 == pytest.approx(plastic, rel=1e-6)


@given(depth=st.floats(40, 400), width=st.floats(40, 400), share=st.floats(0.02, 0.14))
def test_cold_forming_makes_the_weaker_section(depth, width, share):
    wall = share * min(depth, width)
    cold, hot = rhs(depth, width, wall), rhs(depth, width, wall, forming="hot")
    assert cold.area_mm2 < hot.area_mm2
    assert cold.elastic_modulus_mm3 < hot.elastic_modulus_mm3
    assert rhs(width, depth, wall).second_moment_mm4 == pytest.approx(cold.second_moment_weak_mm4)


def test_names_are_read_as_they_are_written():
    assert parse("chs 219,1 × 8") == tube(219.1, 8)
    assert parse("SHS 100x5 hot") == parse("SHS 100x100x5 HF")
    assert parse("RHS 200x100x6.3") == rhs(200, 100, 6.3, forming="cold")
    assert parse("PL 200x10") == plate(200, 10)


def test_stress_range_of_a_tube_under_a_lateral_load():
    pipe = tube(219.1, 8)
    stress = range_mpa(pipe, force_range_n=[1000.0, 2000.0], arm_mm=3000.0)
    assert stress == pytest.approx(np.array([1000, 2000]) * 3000 / pipe.elastic_modulus_mm3)
    assert range_mpa(pipe, force_range_n=1000, arm_mm=3000, position_deg=60) == pytest.approx(stress[0] / 2)
    assert range_mpa(pipe, force_range_n=0, arm_mm=1, axial_range_n=-5306) == pytest.approx(5306 / pipe.area_mm2)


@given(force=st.floats(-1e5, 1e5), arm=st.floats(0, 1e4), angle=st.floats(-720, 720))
def test_no_clock_position_sees_more_than_the_worst(force, arm, angle):
    pipe = tube(168.3, 6.3)
    worst = range_mpa(pipe, force_range_n=force, arm_mm=arm)
    assert 0 <= range_mpa(pipe, force_range_n=force, arm_mm=arm, position_deg=angle) <= worst + 1e-12


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: tube(-1, 2), "outer_mm"),
        (lambda: tube(100, 0), "wall_mm"),
        (lambda: tube(100, 50), "wall_mm"),
        (lambda: tube(math.nan, 5), "outer_mm"),
        (lambda: rhs(100, 100, 5, forming="warm"), "forming"),
        (lambda: rhs(100, 20, 8), "wall_mm"),
        (lambda: plate(10, 20), "thickness_mm"),
        (lambda: parse("HEB 200"), "text"),
        (lambda: parse("CHS 219.1"), "text"),
        (lambda: parse("CHS 219.1x8x8"), "text"),
        (lambda: parse("RHS 200x6.3"), "text"),
        (lambda: range_mpa(tube(100, 5), force_range_n=math.nan, arm_mm=1), "force_range_n"),
        (lambda: range_mpa(plate(100, 5), force_range_n=1, arm_mm=1, position_deg=0), "position_deg"),
        (lambda: range_mpa(plate(100, 5), force_range_n=1, arm_mm=1, axis="y"), "axis"),
    ],
)
def test_bad_input_names_the_argument(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
