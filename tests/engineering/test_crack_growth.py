"""Cycles between two depths and depth after cycles, against a tight solution of the differential equation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from bench.growth import Joint, joints, reference_cycles, vectorised
from engineering import crack_growth, stress_intensity, tables
from engineering.errors import InputError

LAWS = sorted(tables.load("growth_laws").rows)

unhurried = settings(deadline=None)  # the machine may be busy

walls = st.floats(3.0, 60.0)
stresses = st.floats(5.0, 300.0)
shares = st.floats(0.01, 0.5)
ratios = st.floats(0.02, 6.0)


def cycles(start, end, *, stress=60.0, wall=12.0, attachment=30.0, law=None, **rest):
    return crack_growth.cycles_between(
        start,
        end,
        range_mpa=stress,
        law=law or crack_growth.law(),
        wall_mm=wall,
        attachment_mm=attachment,
        **rest,
    )


def tight(joint: Joint, law: crack_growth.GrowthLaw) -> float:
    return reference_cycles(joint, law, rtol=1e-10)


@pytest.mark.parametrize("name", LAWS)
def test_cycles_lie_within_half_a_percent_of_a_tight_ode_solution(name):
    law, many = crack_growth.law(name), joints(60, seed=11)
    ours = vectorised(many, law)
    for i, each in enumerate(ours):
        joint = Joint(**{key: float(value[i]) for key, value in many.items()})
        assert each == pytest.approx(tight(joint, law), rel=0.002)


@settings(max_examples=150, deadline=None)
@given(
    wall=walls,
    first=st.floats(0.002, 0.75),
    part=st.floats(0.01, 1.0),
    stress=stresses,
    ratio=ratios,
    aspect=st.floats(0.2, 0.4),
    share=st.sampled_from([0.0, 0.3, 0.7, 1.0]),
    name=st.sampled_from(LAWS),
    narrow=st.booleans(),
)
def test_any_joint_lies_within_half_a_percent_of_a_tight_ode_solution(
    wall, first, part, stress, ratio, aspect, share, name, narrow
):
    law, start = crack_growth.law(name), wall * first
    end = start + part * (0.8 * wall - start)
    half_width = 2.001 * end / aspect if narrow else np.inf
    joint = Joint(start, end, stress, wall, wall * ratio, aspect, share, half_width)
    ours = cycles(
        start,
        end,
        stress=stress,
        wall=wall,
        attachment=wall * ratio,
        law=law,
        aspect=aspect,
        bending_share=share,
        half_width_mm=half_width,
    )
    assert float(ours) == pytest.approx(tight(joint, law), rel=0.005)


def test_one_call_for_many_joints_equals_one_call_each():
    many, law = joints(40, seed=3), crack_growth.law()
    together = vectorised(many, law)
    alone = [float(vectorised({k: v[i : i + 1] for k, v in many.items()}, law)[0]) for i in range(40)]
    assert together == pytest.approx(alone, rel=1e-12)


def test_result_takes_the_shape_of_the_broadcast_arguments():
    assert cycles(np.ones((3, 1)), np.array([2.0, 4.0])).shape == (3, 2)
    assert cycles(1.0, 2.0).shape == ()
    assert cycles(np.ones(0), 2.0).shape == (0,)


@unhurried
@given(start=st.floats(0.1, 4.0), middle=st.floats(0.0, 1.0), stress=stresses, name=st.sampled_from(LAWS))
def test_cycles_add_up_over_consecutive_intervals(start, middle, stress, name):
    law, cut = crack_growth.law(name), start + middle * (9.0 - start)
    whole = cycles(start, 9.0, stress=stress, law=law)
    parts = cycles(start, cut, stress=stress, law=law) + cycles(cut, 9.0, stress=stress, law=law)
    assert float(parts) == pytest.approx(float(whole), rel=2e-4)


@unhurried
@given(
    start=st.floats(0.1, 4.0),
    stress=stresses,
    more=st.floats(1.0, 3.0),
    share=st.sampled_from([0.0, 0.5]),
    threshold=st.booleans(),
    name=st.sampled_from(LAWS),
)
def test_more_stress_never_lengthens_life(start, stress, more, share, threshold, name):
    law = crack_growth.law(name)
    rest = {"law": law, "bending_share": share, "threshold": threshold}
    assert cycles(start, 9.0, stress=stress * more, **rest) <= cycles(start, 9.0, stress=stress, **rest) * (1 + 2e-4)


@unhurried
@given(start=st.floats(0.05, 9.0), smaller=st.floats(0.05, 1.0), stress=stresses)
def test_a_smaller_detectable_size_never_shortens_the_window(start, smaller, stress):
    small = start * smaller
    assert cycles(small, 9.0, stress=stress) >= cycles(start, 9.0, stress=stress) * (1 - 2e-4)


@unhurried
@given(stress=stresses, factor=st.floats(0.3, 3.0))
def test_one_stage_life_goes_with_stress_to_the_minus_m(stress, factor):
    law = crack_growth.law("steel-air-simplified")
    once, scaled = cycles(0.5, 9.0, stress=stress, law=law), cycles(0.5, 9.0, stress=stress * factor, law=law)
    assert float(scaled) == pytest.approx(float(once) * factor**-3.0, rel=1e-9)


@unhurried
@given(scale=st.floats(0.2, 5.0))
def test_one_stage_life_of_a_joint_enlarged_goes_with_size_to_one_minus_half_m(scale):
    law = crack_growth.law("steel-air-simplified")
    once = cycles(0.5, 9.0, law=law)
    scaled = cycles(0.5 * scale, 9.0 * scale, wall=12.0 * scale, attachment=30.0 * scale, law=law)
    assert float(scaled) == pytest.approx(float(once) * scale ** (1.0 - 1.5), rel=1e-9)


@unhurried
@example(start=1.0, stress=5.0, share=0.0, ratio=2.0)  # where the published lines of the magnification do not meet
@given(start=st.floats(0.1, 4.0), stress=stresses, share=st.floats(0.0, 1.0), ratio=ratios)
def test_the_defaults_for_bending_and_attachment_are_the_safe_side(start, stress, share, ratio):
    assumed = cycles(start, 9.0, stress=stress, attachment=np.inf)
    known = cycles(start, 9.0, stress=stress, attachment=12.0 * ratio, bending_share=share)
    assert assumed <= known * 1.001


@unhurried
@given(start=st.floats(0.1, 4.0), stress=stresses, aspect=st.floats(0.2, 1.0))
def test_the_default_aspect_is_the_safe_side_in_tension(start, stress, aspect):
    assert cycles(start, 9.0, stress=stress) <= cycles(start, 9.0, stress=stress, aspect=aspect) * (1 + 2e-4)


@unhurried
@given(k=st.floats(1.0, 5000.0), name=st.sampled_from([each for each in LAWS if each.startswith("steel-air")]))
def test_the_default_law_grows_no_slower_than_any_law_for_steel_in_air(k, name):
    assert crack_growth.law().rate(k) >= crack_growth.law(name).rate(k) * (1 - 1e-9)


def test_the_default_law_is_never_faster_than_the_faster_of_the_two_it_joins():
    k = np.geomspace(1.0, 5000.0, 400)
    two = np.maximum(*(crack_growth.law(n).rate(k) for n in ("steel-air-simplified", "steel-air-r-high-upper")))
    assert crack_growth.law().rate(k) == pytest.approx(two, rel=1e-9)


@pytest.mark.parametrize("name", LAWS)
def test_the_constants_of_a_law_give_the_growth_written_beside_them(name):
    written = tables.load("growth_laws").row(name)["rate_at_200_nm"]
    assert round(float(crack_growth.law(name).rate(200.0)) * 1e6, 4) == written


def test_stages_meet_without_a_step():
    for name in LAWS:
        law = crack_growth.law(name)
        for transition in law.transitions:
            assert law.rate(transition * 0.9999999) == pytest.approx(float(law.rate(transition * 1.0000001)), rel=1e-5)


def test_a_crack_below_the_threshold_never_grows_only_where_that_is_asked_for():
    assert np.isinf(cycles(0.2, 9.0, stress=8.0, threshold=True))
    assert np.isfinite(cycles(0.2, 9.0, stress=8.0))
    above = cycles(1.0, 9.0, stress=100.0)
    assert cycles(1.0, 9.0, stress=100.0, threshold=True) == above


def test_nothing_is_left_where_the_crack_is_already_past_the_end():
    assert cycles(np.array([3.0, 5.0]), 3.0).tolist() == [0.0, 0.0]


@settings(max_examples=60, deadline=None)
@given(
    start=st.floats(0.1, 8.0),
    part=st.floats(0.001, 0.999),
    stress=stresses,
    share=st.sampled_from([0.0, 0.6]),
    name=st.sampled_from(LAWS),
)
def test_size_after_cycles_undoes_cycles_between_sizes(start, part, stress, share, name):
    rest = {
        "range_mpa": stress,
        "law": crack_growth.law(name),
        "wall_mm": 12.0,
        "attachment_mm": 20.0,
        "bending_share": share,
    }
    spent = part * crack_growth.cycles_between(start, 9.6, **rest)
    depth, reached = crack_growth.size_after(start, spent, **rest)
    assert not reached
    assert float(crack_growth.cycles_between(start, depth, **rest)) == pytest.approx(float(spent), rel=1e-3)


def test_size_after_more_cycles_than_the_model_answers_for_says_so():
    rest = {"range_mpa": 60.0, "law": crack_growth.law(), "wall_mm": 12.0, "attachment_mm": 30.0}
    depth, reached = crack_growth.size_after(np.array([1.0, 1.0, 9.6]), np.array([0.0, 1e12, 0.0]), **rest)
    assert depth == pytest.approx([1.0, 9.6, 9.6])
    assert reached.tolist() == [False, True, True]


def test_a_crack_below_the_threshold_keeps_its_size():
    rest = {"range_mpa": 8.0, "law": crack_growth.law(), "wall_mm": 12.0, "attachment_mm": 30.0}
    depth, reached = crack_growth.size_after(0.2, 1e9, threshold=True, **rest)
    assert float(depth) == pytest.approx(0.2, rel=1e-6)
    assert not reached


@pytest.mark.parametrize(
    ("change", "argument"),
    [
        ({"start": -1.0}, "start_mm"),
        ({"start": float("nan")}, "start_mm"),
        ({"end": 9.7}, "end_mm"),
        ({"stress": 0.0}, "range_mpa"),
        ({"stress": float("inf")}, "range_mpa"),
        ({"wall": -12.0}, "wall_mm"),
        ({"attachment": 0.0}, "attachment_mm"),
        ({"attachment": float("nan")}, "attachment_mm"),
        ({"aspect": 0.1}, "aspect"),
        ({"aspect": 1.2}, "aspect"),
        ({"bending_share": 1.1}, "bending_share"),
        ({"half_width_mm": 0.0}, "half_width_mm"),
        ({"half_width_mm": 40.0}, "end_mm"),
        ({"start": np.ones(2), "end": np.ones(3)}, "shape"),
        ({"aspect": 1.0, "bending_share": 1.0}, "bending_share"),
    ],
)
def test_bad_input_is_refused_by_name(change, argument):
    given_ = {"start": 1.0, "end": 9.0, **change}
    with pytest.raises(InputError) as caught:
        cycles(given_.pop("start"), given_.pop("end"), **given_)
    assert caught.value.argument == argument


def test_an_unknown_law_is_refused():
    with pytest.raises(InputError) as caught:
        crack_growth.law("steel-in-cheese")
    assert caught.value.code == "unknown_row"


@pytest.mark.parametrize(
    ("a", "m", "code"),
    [
        ([1e-13], [3.0, 2.0], "shape"),
        ([], [], "shape"),
        ([1e-13, 2e-13], [3.0, 3.0], "shape"),
        ([1e-20, 1e-13, 1e-30], [5.0, 3.0, 9.0], "shape"),
        ([-1e-13], [3.0], "not_positive"),
    ],
)
def test_a_table_with_impossible_stages_is_refused(a, m, code):
    row = {"id": "own", "a": a, "m": m, "threshold": 63.0}
    own = tables.build(
        "own", {"title": "t", "source": "s", "edition": "1", "status": tables.COMMON_PRACTICE, "rows": [row]}
    )
    with pytest.raises(InputError) as caught:
        crack_growth.law("own", own)
    assert caught.value.code == code


@unhurried
@given(ai=st.floats(0.1, 5.0), af=st.floats(0.1, 50.0), m=st.floats(1.5, 6.0))
def test_closed_form_agrees_with_the_integral(ai, af, m):
    from scipy.integrate import quad

    found = crack_growth.paris_cycles(ai, af, range_mpa=80.0, a=1e-12, m=m, factor=1.1)
    drive = 1.1 * 80.0 * np.pi**0.5
    expected = quad(lambda size: 1.0 / (1e-12 * (drive * size**0.5) ** m), ai, af)[0] if af > ai else 0.0
    assert float(found) == pytest.approx(expected, rel=1e-6)


def test_the_deepest_valid_depth_can_be_used_as_an_end():
    for wall in np.linspace(3.0, 50.0, 97):
        end = stress_intensity.deepest_valid_mm(wall_mm=wall, aspect=0.2)
        assert cycles(0.1, end, wall=wall) > 0.0
        assert cycles(0.1, 0.8 * wall, wall=wall) > 0.0
