"""Critical crack depth: properties of the failure assessment and its refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engineering import fracture, stress_intensity, tables
from engineering.errors import InputError

unhurried = settings(deadline=None, max_examples=50)
S355 = {"yield_mpa": 355.0, "ultimate_mpa": 490.0}
JOINT = {"peak_stress_mpa": 120.0, **S355, "toughness_mpa_sqrt_m": 60.0, "wall_mm": 12.0, "attachment_mm": 30.0}

stresses = st.floats(10.0, 600.0)
factors = st.floats(1.0, 3.0)


def depth(**change):
    return float(fracture.critical_depth(**JOINT | change)[0])


def reason(**change):
    return str(fracture.critical_depth(**JOINT | change)[1])


@unhurried
@given(stress=stresses, more=factors, share=st.floats(0.0, 1.0))
def test_more_stress_never_deepens_the_critical_crack(stress, more, share):
    rest = {"bending_share": share}
    assert depth(peak_stress_mpa=stress * more, **rest) <= depth(peak_stress_mpa=stress, **rest) * (1 + 1e-6)


@unhurried
@given(stress=stresses, toughness=st.floats(10.0, 200.0), more=factors)
def test_a_tougher_steel_never_breaks_at_a_shallower_crack(stress, toughness, more):
    rest = {"peak_stress_mpa": stress}
    less = depth(toughness_mpa_sqrt_m=toughness, **rest)
    assert depth(toughness_mpa_sqrt_m=toughness * more, **rest) >= less * (1 - 1e-6)


@unhurried
@given(stress=stresses, residual=st.floats(0.0, 355.0), share=st.floats(0.0, 1.0), aspect=st.floats(0.2, 0.4))
def test_the_defaults_are_the_safe_side(stress, residual, share, aspect):
    known = depth(peak_stress_mpa=stress, residual_stress_mpa=residual, bending_share=share, aspect=aspect)
    assumed = depth(peak_stress_mpa=stress, attachment_mm=np.inf)
    assert assumed <= known * (1 + 1e-6)


@unhurried
@given(stress=stresses, toughness=st.floats(10.0, 200.0), share=st.floats(0.0, 0.8))
def test_a_crack_just_shallower_stands_and_one_just_deeper_breaks(stress, toughness, share):
    change = {"peak_stress_mpa": stress, "toughness_mpa_sqrt_m": toughness, "bending_share": share}
    critical, why = depth(**change), reason(**change)
    if why in (fracture.FRACTURE, fracture.NET_SECTION) and critical > 0.0:
        assert margin(critical * 0.9999, stress, toughness, share) >= 0.0
        assert margin(critical * 1.0001, stress, toughness, share) <= 0.0


def margin(size, stress, toughness, share):
    """The failure assessment written out step by step, apart from the search."""
    plate = {"depth_mm": size, "wall_mm": 12.0, "aspect": 0.2}
    lr = fracture.reference_stress(membrane_mpa=stress * (1 - share), bending_mpa=stress * share, **plate) / 355.0
    applied = stress_intensity.surface_crack_k(
        membrane_mpa=stress * (1 - share), bending_mpa=stress * share, attachment_mm=30.0, **plate
    )
    locked = stress_intensity.surface_crack_k(membrane_mpa=355.0, **plate)
    rho = fracture.plasticity_interaction(primary_k=applied, secondary_k=locked, load_ratio=lr)
    return fracture.assessment_curve(lr, **S355) - (applied + locked) / (toughness * 1000**0.5) - rho


def test_each_reason_is_given_where_it_holds():
    assert reason(toughness_mpa_sqrt_m=30.0) == fracture.FRACTURE
    assert reason(peak_stress_mpa=330.0, toughness_mpa_sqrt_m=300.0, residual_stress_mpa=0.0) == fracture.NET_SECTION
    tough = {"peak_stress_mpa": 30.0, "toughness_mpa_sqrt_m": 300.0}
    assert reason(**tough) == fracture.THROUGH_WALL
    assert depth(**tough) == pytest.approx(9.6)
    assert reason(**tough, half_width_mm=60.0) == fracture.TOO_WIDE
    assert depth(**tough, half_width_mm=60.0) == pytest.approx(6.0)


def test_a_stress_that_no_section_carries_leaves_no_crack_at_all():
    assert depth(peak_stress_mpa=450.0) == 0.0
    assert reason(peak_stress_mpa=450.0) == fracture.NET_SECTION
    assert depth(toughness_mpa_sqrt_m=3.0) == 0.0
    assert reason(toughness_mpa_sqrt_m=3.0) == fracture.FRACTURE


def test_many_joints_at_once_equal_one_at_a_time():
    draw = np.random.default_rng(4)
    many = {"peak_stress_mpa": draw.uniform(20, 500, 30), "toughness_mpa_sqrt_m": draw.uniform(20, 200, 30)}
    depths, reasons = fracture.critical_depth(**JOINT | many)
    alone = [fracture.critical_depth(**JOINT | {k: v[i] for k, v in many.items()}) for i in range(30)]
    assert depths == pytest.approx([float(each[0]) for each in alone], rel=1e-6)
    assert reasons.tolist() == [str(each[1]) for each in alone]


@unhurried
@given(lr=st.floats(0.0, 2.0), more=st.floats(0.0, 1.0))
def test_no_assessment_curve_ever_rises_and_the_unknown_one_is_the_lowest(lr, more):
    found = {}
    for yielding in ("continuous", "plateau", "unknown"):
        here, beyond = (fracture.assessment_curve(each, **S355, yielding=yielding) for each in (lr, lr + more))
        assert beyond <= here + 1e-12
        found[yielding] = float(here)
    assert found["unknown"] == min(found.values())


def test_the_curve_ends_at_the_largest_load_ratio():
    end = float(fracture.largest_load_ratio(**S355))
    assert fracture.assessment_curve(end * 1.0001, **S355) == 0.0
    assert fracture.assessment_curve(end * 0.9999, **S355) > 0.0


def test_colder_or_thicker_steel_is_never_tougher():
    for subgrade in tables.load("toughness").rows:
        by_cold = fracture.toughness_of_subgrade(subgrade, temperature_c=np.arange(-60.0, 41.0, 10.0), wall_mm=12.0)
        assert np.all(np.diff(by_cold) >= 0.0)
        by_wall = fracture.toughness_of_subgrade(subgrade, temperature_c=-10.0, wall_mm=np.arange(4.0, 60.0, 8.0))
        assert np.all(np.diff(by_wall) <= 0.0)


@pytest.mark.parametrize("temperature", [1e6, 61.0, -61.0, -400.0])
def test_no_toughness_is_given_for_a_temperature_out_of_range(temperature):
    with pytest.raises(InputError) as refused:
        fracture.toughness_of_subgrade("J0", temperature_c=temperature, wall_mm=12.0)
    assert (refused.value.argument, refused.value.code) == ("temperature_c", "out_of_range")


def test_an_unknown_subgrade_counts_as_the_lowest():
    at = {"temperature_c": -10.0, "wall_mm": 12.0}
    unknown = fracture.toughness_of_subgrade("unknown", **at)
    assert all(unknown <= fracture.toughness_of_subgrade(each, **at) for each in tables.load("toughness").rows)


@pytest.mark.parametrize(
    ("change", "argument"),
    [
        ({"peak_stress_mpa": 0.0}, "peak_stress_mpa"),
        ({"peak_stress_mpa": float("nan")}, "peak_stress_mpa"),
        ({"ultimate_mpa": 300.0}, "ultimate_mpa"),
        ({"toughness_mpa_sqrt_m": -1.0}, "toughness_mpa_sqrt_m"),
        ({"wall_mm": -3.0}, "wall_mm"),
        ({"attachment_mm": 0.0}, "attachment_mm"),
        ({"aspect": 0.05}, "aspect"),
        ({"bending_share": 2.0}, "bending_share"),
        ({"residual_stress_mpa": -5.0}, "residual_stress_mpa"),
        ({"half_width_mm": 0.0}, "half_width_mm"),
        ({"wall_mm": np.ones(2), "aspect": np.full(3, 0.3)}, "shape"),
        ({"yield_mpa": 1100.0, "ultimate_mpa": 1200.0}, "yield_mpa"),
        ({"aspect": 1.0, "bending_share": 1.0, "toughness_mpa_sqrt_m": 500.0}, "bending_share"),
    ],
)
def test_bad_input_is_refused_by_name(change, argument):
    with pytest.raises(InputError) as caught:
        fracture.critical_depth(**JOINT | change)
    assert caught.value.argument == argument
