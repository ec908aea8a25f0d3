"""Weld heat: directions, inverses, ranges, and what is said when a figure cannot be computed."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engineering import tables, weld_heat
from engineering.errors import InputError
from engineering.steels import grade
from engineering.weld_cautions import cautions

CET, D, HD, Q = st.floats(0.2, 0.5), st.floats(10, 90), st.floats(1, 20), st.floats(0.5, 4)
START, WALL = st.floats(-20, 300), st.floats(2, 80)


@given(cet=CET, d=D, hd=HD, q=Q, more=st.floats(0, 1))
def test_preheat_rises_with_alloy_thickness_and_hydrogen(cet, d, hd, q, more):
    base = {"cet": cet, "thickness_mm": d, "hydrogen_ml": hd, "heat_input_kj_mm": q}
    start = weld_heat.preheat_c(**base)
    for name, top in (("cet", 0.5), ("thickness_mm", 90), ("hydrogen_ml", 20)):
        raised = {**base, name: min(top, base[name] + more * (top - base[name]))}
        assert weld_heat.preheat_c(**raised) >= start - 1e-9


@given(seconds=st.floats(1, 60), start=START, wall=WALL, f2=st.floats(0.4, 1), f3=st.floats(0.4, 1))
def test_the_heat_for_a_cooling_time_gives_that_cooling_time(seconds, start, wall, f2, f3):
    facts = {"preheat_c": start, "thickness_mm": wall, "f2": f2, "f3": f3}
    heat = weld_heat.heat_input_for(seconds, **facts)
    assert weld_heat.cooling_time(heat_input_kj_mm=heat, **facts).seconds == pytest.approx(seconds, rel=1e-9)


@given(heat=st.floats(0.2, 4), start=START, wall=WALL, more=st.floats(0, 1))
def test_more_heat_more_preheat_or_a_thinner_wall_never_cools_faster(heat, start, wall, more):
    def seconds(q, t, d):
        return weld_heat.cooling_time(heat_input_kj_mm=q, preheat_c=t, thickness_mm=d).seconds

    base = seconds(heat, start, wall) * (1 - 1e-12)
    assert seconds(heat + more, start, wall) >= base
    assert seconds(heat, start + 100 * more, wall) >= base
    assert seconds(heat, start, wall / (1 + more)) >= base


@given(heat=st.floats(0.2, 4), start=START)
def test_both_cooling_laws_meet_at_the_transition_thickness(heat, start):
    at = float(weld_heat.cooling_time(heat_input_kj_mm=heat, preheat_c=start, thickness_mm=10).transition_mm)
    below, above = (
        float(weld_heat.cooling_time(heat_input_kj_mm=heat, preheat_c=start, thickness_mm=at * share).seconds)
        for share in (1 - 1e-9, 1 + 1e-9)
    )
    assert below == pytest.approx(above, rel=1e-6)


@given(strength=st.floats(200, 1000), wall=WALL, start=START)
def test_inside_the_window_the_cooling_time_keeps_its_limits(strength, wall, start):
    window = weld_heat.heat_input_window(yield_mpa=strength, thickness_mm=wall, preheat_c=start)
    assert not window.empty
    for heat in (window.least_kj_mm, window.most_kj_mm):
        seconds = weld_heat.cooling_time(heat_input_kj_mm=heat, preheat_c=start, thickness_mm=wall).seconds
        assert window.shortest_s * (1 - 1e-9) <= seconds <= window.longest_s * (1 + 1e-9)
    assert window.status == tables.COMMON_PRACTICE


def test_an_uncertain_form_of_weld_narrows_the_window():
    facts = {"yield_mpa": 690.0, "thickness_mm": 6.0, "preheat_c": 20.0}
    tee = weld_heat.heat_input_window(**facts, form="fillet at a tee")
    for f2 in (0.45, 0.55, 0.67):
        ends = {"preheat_c": 20.0, "thickness_mm": 6.0, "f2": f2, "f3": 0.67}
        assert tee.least_kj_mm >= weld_heat.heat_input_for(tee.shortest_s, **ends) - 1e-12
        assert tee.most_kj_mm <= weld_heat.heat_input_for(tee.longest_s, **ends) + 1e-12


def test_a_heat_input_not_known_waits_the_longer_time():
    assert weld_heat.hold_before_inspection_h(yield_mpa=355, size_mm=10) == 16
    assert weld_heat.hold_before_inspection_h(yield_mpa=355, size_mm=20) == 24


def test_pcm_weighs_boron_five_times():
    plain, boron = weld_heat.Composition(c=0.1, mn=1.0), weld_heat.Composition(c=0.1, mn=1.0, b=0.002)
    assert weld_heat.pcm(plain) == pytest.approx(0.15)
    rich = weld_heat.Composition(c=0.1, mn=1.0, si=0.3, ni=0.6, mo=0.15, v=0.1)
    assert weld_heat.pcm(rich) - weld_heat.pcm(plain) == pytest.approx(4 * 0.01)
    assert weld_heat.pcm(boron) - weld_heat.pcm(plain) == pytest.approx(0.01)


def codes(name, **facts):
    defaults = {"wall_mm": 6.0, "heat_input_kj_mm": 0.6, "preheat_c": 20.0, "hydrogen_ml": 3.0}
    return {caution.code for caution in cautions(grade(name), **{**defaults, **facts})}


def test_high_strength_tube_is_warned_of_heat_hold_and_fatigue():
    assert {"fatigue", "hold", "filler", "undercut", "rolled"} <= codes("S700MC")
    assert "tempering" in codes("S690Q")
    assert not {"fatigue", "hold", "filler"} & codes("S355")


def test_the_same_run_is_too_hot_in_a_thin_wall_and_too_cold_in_a_thick_one():
    assert "too_hot" in codes("S700MC", wall_mm=4.0, heat_input_kj_mm=0.8)
    assert not {"too_hot", "too_cold"} & codes("S700MC", wall_mm=8.0, heat_input_kj_mm=0.8)
    assert "too_cold" in codes("S690Q", wall_mm=20.0, heat_input_kj_mm=0.8)


def test_thin_wall_and_unknown_hydrogen_are_said_aloud():
    assert "burn_through" in codes("S355H", wall_mm=3.0)
    assert "preheat_unknown" in codes("S355", wall_mm=6.0)
    assert "preheat_unknown" not in codes("S355", wall_mm=12.0)
    assert "hydrogen" in codes("S460M", hydrogen_ml=None)
    assert "hydrogen" in codes("S460M", hydrogen_ml=8.0)
    assert "hydrogen" not in codes("S460M", hydrogen_ml=5.0)


def test_every_caution_names_its_source_and_status():
    for name in ("S355H", "S700MC", "S690Q", "A514"):
        for wall in (3.0, 8.0, 15.0):
            for caution in cautions(grade(name), wall_mm=wall, heat_input_kj_mm=1.0, preheat_c=20.0):
                assert caution.source
                assert caution.status in tables.STATUSES


@pytest.mark.parametrize(
    ("changed", "argument"),
    [
        ({"cet": 0.19}, "cet"), ({"cet": 0.51}, "cet"), ({"thickness_mm": 9.9}, "thickness_mm"),
        ({"thickness_mm": 91}, "thickness_mm"), ({"hydrogen_ml": 0.5}, "hydrogen_ml"),
        ({"hydrogen_ml": 21}, "hydrogen_ml"), ({"heat_input_kj_mm": 0.4}, "heat_input_kj_mm"),
        ({"heat_input_kj_mm": 4.1}, "heat_input_kj_mm"), ({"yield_mpa": 1001}, "yield_mpa"),
        ({"cet": math.nan}, "cet"),
    ],
)  # fmt: skip
def test_method_b_raises_outside_its_range(changed, argument):
    good = {"cet": 0.35, "thickness_mm": 20, "hydrogen_ml": 5, "heat_input_kj_mm": 1.5}
    with pytest.raises(InputError) as caught:
        weld_heat.preheat_c(**{**good, **changed})
    assert caught.value.argument == argument


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: weld_heat.Composition(c=-0.1), "c"),
        (lambda: weld_heat.Composition(c=0.1, mn=math.nan), "mn"),
        (lambda: weld_heat.heat_input_kj_mm(voltage_v=0, current_a=1, speed_mm_s=1, process="111"), "voltage_v"),
        (lambda: weld_heat.heat_input_kj_mm(voltage_v=1, current_a=1, speed_mm_s=0, process="111"), "speed_mm_s"),
        (lambda: weld_heat.cooling_time(heat_input_kj_mm=1, preheat_c=500, thickness_mm=8), "preheat_c"),
        (lambda: weld_heat.cooling_time(heat_input_kj_mm=1, preheat_c=20, thickness_mm=0), "thickness_mm"),
        (lambda: weld_heat.cooling_time(heat_input_kj_mm=1, preheat_c=20, thickness_mm=8, f2=0), "f2"),
        (lambda: weld_heat.heat_input_window(yield_mpa=1100, thickness_mm=8, preheat_c=20), "yield_mpa"),
        (lambda: weld_heat.hold_before_inspection_h(yield_mpa=355, size_mm=-1), "size_mm"),
        (lambda: cautions(grade("S355"), wall_mm=0, heat_input_kj_mm=1, preheat_c=20), "wall_mm"),
    ],
)
def test_bad_input_names_the_argument(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument


def test_an_unknown_process_is_refused():
    with pytest.raises(InputError) as caught:
        weld_heat.heat_input_kj_mm(voltage_v=24, current_a=200, speed_mm_s=4, process="999")
    assert caught.value.code == "unknown_row"
