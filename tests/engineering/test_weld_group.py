"""Weld groups: every one is in equilibrium with its load, scales as it should and refuses nonsense."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from engineering.errors import InputError
from engineering.weld_group import Circle, Group, Line, Load, circle, group, rectangle, stress_at, stresses

PLACE = st.floats(-300, 300)
THROAT = st.floats(3, 12)
FORCE = st.floats(-1e5, 1e5)
LINE = st.builds(Line, PLACE, PLACE, PLACE, PLACE, THROAT).filter(lambda line: line.length_mm > 20)
CIRCLE = st.builds(Circle, st.floats(20, 300), THROAT, PLACE, PLACE)
GROUPS = st.lists(st.one_of(LINE, CIRCLE), min_size=2, max_size=5)
LOADS = st.builds(Load, FORCE, FORCE, FORCE, FORCE, FORCE, FORCE, PLACE, PLACE)


def integrate(welds: Group, load: Load) -> np.ndarray:
    """Fx, Fy, Fz, Mx, My, Mz about the origin carried by the stress field: Simpson on lines, even points on circles."""
    total = np.zeros(6)
    for weld in welds.welds:
        if isinstance(weld, Circle):
            angle = np.arange(64) * 2 * math.pi / 64
            x, y = weld.x_mm + weld.radius_mm * np.cos(angle), weld.y_mm + weld.radius_mm * np.sin(angle)
            share = np.full(64, 1 / 64)
        else:
            step = np.array([0.0, 0.5, 1.0])
            x, y = weld.x1_mm + step * (weld.x2_mm - weld.x1_mm), weld.y1_mm + step * (weld.y2_mm - weld.y1_mm)
            share = np.array([1, 4, 1]) / 6
        sx, sy, sz = stress_at(welds, load, x, y)
        area = share * weld.length_mm * weld.throat_mm
        total += [(f * area).sum() for f in (sx, sy, sz, sz * y, -sz * x, sy * x - sx * y)]
    return total


@given(welds=GROUPS, load=LOADS)
def test_the_stresses_of_every_group_are_in_equilibrium_with_its_load(welds, load):
    together = group(welds)
    det = together.ixx_mm4 * together.iyy_mm4 - together.ixy_mm4**2
    assume(det > 1e-4 * together.polar_mm4**2)
    applied = [load.fx_n, load.fy_n, load.fz_n,
               load.mx_nmm + load.y_mm * load.fz_n, load.my_nmm - load.x_mm * load.fz_n,
               load.mz_nmm + load.x_mm * load.fy_n - load.y_mm * load.fx_n]  # fmt: skip
    size = 1 + abs(load.fx_n) + abs(load.fy_n) + abs(load.fz_n)
    moment = 1 + 1000 * size + abs(load.mx_nmm) + abs(load.my_nmm) + abs(load.mz_nmm)
    scale = np.array([size] * 3 + [moment] * 3)
    assert np.abs((integrate(together, load) - applied) / scale).max() < 1e-7


@given(welds=GROUPS, load=LOADS, factor=st.floats(0.1, 10))
def test_twice_the_load_is_twice_the_stress_and_twice_the_throat_half(welds, load, factor):
    together = group(welds)
    assume(together.ixx_mm4 * together.iyy_mm4 - together.ixy_mm4**2 > 1e-4 * together.polar_mm4**2)
    more = Load(*(factor * value for value in (load.fx_n, load.fy_n, load.fz_n, load.mx_nmm, load.my_nmm, load.mz_nmm)),
                load.x_mm, load.y_mm)  # fmt: skip
    base = stresses(together, load).peak_mpa
    assert stresses(together, more).peak_mpa == pytest.approx(factor * base, rel=1e-6, abs=1e-9)
    thick = group([type(w)(**{**w.__dict__, "throat_mm": factor * w.throat_mm}) for w in welds])
    assert stresses(thick, load).peak_mpa == pytest.approx(base / factor, rel=1e-6, abs=1e-9)


@given(welds=GROUPS, load=LOADS)
def test_no_point_along_a_line_is_worse_than_its_ends(welds, load):
    together = group(welds)
    assume(together.ixx_mm4 * together.iyy_mm4 - together.ixy_mm4**2 > 1e-4 * together.polar_mm4**2)
    peak = stresses(together, load).peak_mpa
    for weld in together.welds:
        if isinstance(weld, Line):
            step = np.linspace(0, 1, 11)
            x, y = weld.x1_mm + step * (weld.x2_mm - weld.x1_mm), weld.y1_mm + step * (weld.y2_mm - weld.y1_mm)
            assert np.sqrt(sum(s**2 for s in stress_at(together, load, x, y))).max() <= peak * (1 + 1e-9) + 1e-9


def test_a_tube_welded_all_round_carries_its_moment_as_m_over_pi_r_squared_a():
    ring = circle(109.55, 5)
    bent = stresses(ring, Load(mx_nmm=5e6))
    assert bent.peak_mpa == pytest.approx(5e6 / (math.pi * 109.55**2 * 5), rel=1e-5)
    twisted = stresses(ring, Load(mz_nmm=5e6))
    assert np.abs(twisted.along_mpa) == pytest.approx(5e6 / (2 * math.pi * 109.55**2 * 5))
    assert np.abs(twisted.across_mpa).max() < 1e-9


@pytest.mark.parametrize("degrees", [0, 30, 90, 135])
def test_one_straight_weld_bends_across_itself_but_not_about_its_own_axis(degrees):
    along = np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
    single = group([Line(*(-50 * along), *(50 * along), 5)])
    square = np.array([-along[1], along[0]]) * 1e6
    bent = stresses(single, Load(mx_nmm=square[0], my_nmm=square[1]))
    assert bent.peak_mpa == pytest.approx(1e6 / (5 * 100**2 / 6))
    assert integrate(single, Load(mx_nmm=square[0], my_nmm=square[1]))[3:5] == pytest.approx(square, abs=1e-3)
    with pytest.raises(InputError) as caught:
        stresses(single, Load(mx_nmm=along[0] * 1e6, my_nmm=along[1] * 1e6))
    assert caught.value.argument == "welds"


def test_losing_a_side_of_a_rectangle_never_lowers_the_peak():
    box = rectangle(100, 200, 5)
    load = Load(fy_n=-20_000, x_mm=300, y_mm=0)
    for lost in range(4):
        left = group([weld for number, weld in enumerate(box.welds) if number != lost])
        assert stresses(left, load).peak_mpa > stresses(box, load).peak_mpa


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: group([]), "welds"),
        (lambda: group([Line(0, 0, 0, 0, 5)]), "length_mm"),
        (lambda: group([Line(0, 0, 10, 0, 0)]), "throat_mm"),
        (lambda: group([Line(0, 0, math.nan, 0, 5)]), "line"),
        (lambda: circle(-1, 5), "radius_mm"),
        (lambda: rectangle(0, 10, 5), "width_mm"),
        (lambda: stresses(circle(50, 5), Load(fx_n=math.nan)), "load"),
        (lambda: stresses(circle(50, 5), Load(x_mm=math.inf)), "x_mm"),
    ],
)
def test_bad_input_names_the_argument(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
