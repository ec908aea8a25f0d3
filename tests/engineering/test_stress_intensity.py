"""Stress intensity: properties, meetings of formulas and refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from bench.growth import Joint, k_range
from engineering import stress_intensity as si
from engineering.errors import InputError

unhurried = settings(deadline=None)


@unhurried
@given(
    depth=st.floats(0.01, 0.8),
    wall=st.floats(2.0, 80.0),
    aspect=st.floats(0.2, 1.0),
    ratio=st.floats(0.01, 6.0),
    share=st.floats(0.0, 1.0),
)
def test_a_toe_crack_agrees_with_the_formulas_written_out_in_plain_floats(depth, wall, aspect, ratio, share):
    ours = si.surface_crack_k(
        membrane_mpa=100.0 * (1.0 - share),
        bending_mpa=100.0 * share,
        depth_mm=0.999 * depth * wall,
        wall_mm=wall,
        aspect=aspect,
        attachment_mm=ratio * wall,
    )
    plain = k_range(0.999 * depth * wall, Joint(0.0, 0.0, 100.0, wall, ratio * wall, aspect, share))
    assert float(ours) == pytest.approx(plain, rel=1e-9, abs=1e-6)


@unhurried
@given(scale=st.floats(0.1, 10.0), stress=st.floats(0.1, 10.0), angle=st.floats(0.0, 90.0))
def test_k_goes_with_stress_and_with_the_root_of_size(scale, stress, angle):
    once = si.surface_crack_k(
        membrane_mpa=80, bending_mpa=20, depth_mm=3, wall_mm=12, aspect=0.4, angle_deg=angle, half_width_mm=40
    )
    scaled = si.surface_crack_k(
        membrane_mpa=80 * stress,
        bending_mpa=20 * stress,
        depth_mm=3 * scale,
        wall_mm=12 * scale,
        aspect=0.4,
        angle_deg=angle,
        half_width_mm=40 * scale,
    )
    assert float(scaled) == pytest.approx(float(once) * stress * scale**0.5, rel=1e-9)


def test_both_sets_of_coefficients_meet_within_a_thousandth_where_the_crack_is_a_half_circle():
    for angle in (0.0, 30.0, 60.0, 90.0):
        below, above = (
            si.surface_crack_factor(depth_ratio=0.5, aspect=aspect, angle_deg=angle) for aspect in (1.0, 1.0 + 1e-9)
        )
        assert float(below) == pytest.approx(float(above), rel=1e-3)


@unhurried
@given(depth=st.floats(0.01, 0.8), aspect=st.floats(0.2, 1.0))
def test_bending_never_opens_the_deepest_point_more_than_tension_does(depth, aspect):
    assert si.bending_correction(depth_ratio=depth, aspect=aspect) <= 1.0


@unhurried
@given(z=st.floats(0.001, 1.0), ratio=st.floats(0.01, 8.0))
def test_a_weld_toe_never_lowers_k(z, ratio):
    for loading in ("membrane", "bending"):
        mk = si.toe_magnification(depth_mm=10 * z, wall_mm=10, attachment_mm=10 * ratio, loading=loading)
        assert mk >= 1.0


@unhurried
@given(z=st.floats(0.001, 0.8), ratio=st.floats(0.01, 8.0), longer=st.floats(1.0, 4.0))
def test_a_longer_attachment_never_lowers_k_by_more_than_the_step_between_the_pieces(z, ratio, longer):
    for loading in ("membrane", "bending"):
        short, long = (
            si.toe_magnification(depth_mm=10 * z, wall_mm=10, attachment_mm=10 * each, loading=loading)
            for each in (ratio, ratio * longer)
        )
        assert long >= short * 0.96


@example(z=0.07305, ratio=1.99)  # between the limits of depth of two lengths
@example(z=0.5, ratio=2.0)
@given(z=st.floats(0.001, 0.99), ratio=st.one_of(st.floats(0.02, 6.0), st.just(1000.0)))
def test_an_unknown_attachment_is_never_milder_than_a_known_one(z, ratio):
    for loading in ("membrane", "bending"):
        unknown, known = (
            si.toe_magnification(depth_mm=10 * z, wall_mm=10, attachment_mm=each, loading=loading)
            for each in (np.inf, 10 * ratio)
        )
        assert unknown >= known * 0.9999  # the coefficients are printed with three places


def test_a_small_tube_crack_tends_to_a_through_crack_in_a_plate():
    tube = si.tube_crack_k(membrane_mpa=100, half_angle_deg=0.05, mean_radius_mm=100, wall_mm=10)
    half = 100 * np.radians(0.05)
    assert float(tube) == pytest.approx(float(si.through_crack_k(stress_mpa=100, half_length_mm=half)), rel=1e-3)


def test_units_convert():
    assert float(si.in_mpa_sqrt_m(1000.0)) == pytest.approx(31.6228, rel=1e-6)


CRACK = {"membrane_mpa": 100.0, "depth_mm": 2.0, "wall_mm": 10.0, "aspect": 0.4}
TUBE = {"membrane_mpa": 100.0, "half_angle_deg": 30.0, "mean_radius_mm": 100.0, "wall_mm": 10.0}


@pytest.mark.parametrize(
    ("function", "arguments", "argument"),
    [
        (si.surface_crack_k, CRACK | {"depth_mm": 8.1}, "depth_ratio"),
        (si.surface_crack_k, CRACK | {"depth_mm": 0.0}, "depth_mm"),
        (si.surface_crack_k, CRACK | {"wall_mm": float("nan")}, "wall_mm"),
        (si.surface_crack_k, CRACK | {"aspect": 0.1}, "aspect"),
        (si.surface_crack_k, CRACK | {"aspect": 1.5, "bending_mpa": 10.0}, "aspect"),
        (si.surface_crack_k, CRACK | {"half_width_mm": 9.0}, "width_ratio"),
        (si.surface_crack_k, CRACK | {"angle_deg": 181.0}, "angle_deg"),
        (si.surface_crack_k, CRACK | {"angle_deg": 0.0, "attachment_mm": 20.0}, "angle_deg"),
        (si.surface_crack_k, CRACK | {"membrane_mpa": float("inf")}, "membrane_mpa"),
        (si.tube_crack_k, TUBE | {"wall_mm": 30.0}, "radius_to_wall"),
        (si.tube_crack_k, TUBE | {"wall_mm": 3.0}, "radius_to_wall"),
        (si.tube_crack_k, TUBE | {"half_angle_deg": 120.0}, "half_angle_deg"),
        (si.through_crack_k, {"stress_mpa": 1.0, "half_length_mm": 5.0, "width_mm": 12.0}, "half_length_mm"),
        (si.edge_crack_k, {"stress_mpa": 1.0, "depth_mm": 7.0, "width_mm": 10.0}, "depth_mm"),
    ],
)
def test_out_of_range_is_refused_by_name(function, arguments, argument):
    with pytest.raises(InputError) as caught:
        function(**arguments)
    assert caught.value.argument == argument


@pytest.mark.parametrize("length", ["long", [[1.0], [1.0, 2.0]], float("nan"), -1.0])
def test_a_length_that_is_no_number_is_refused_by_name(length):
    with pytest.raises(InputError) as refused:
        si.toe_magnification(depth_mm=1.0, wall_mm=10.0, attachment_mm=length, loading="membrane")
    assert refused.value.argument == "attachment_mm"
