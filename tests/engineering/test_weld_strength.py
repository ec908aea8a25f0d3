"""Fillet strength: scaling, safe side, and refusals."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engineering import weld_strength as ws
from engineering.errors import InputError

LEG = st.floats(3, 30)
FORCE = st.floats(-2000, 2000)
STEEL = {"ultimate_mpa": 470.0, "beta_w": 0.9}


@given(leg=LEG, other=LEG, gap=st.floats(0, 2.5), scale=st.floats(0.5, 3), angle=st.floats(60, 120))
def test_the_throat_scales_with_the_weld(leg, other, gap, scale, angle):
    one = ws.effective_throat_mm(leg, second_leg_mm=other, gap_mm=gap, angle_deg=angle)
    two = ws.effective_throat_mm(scale * leg, second_leg_mm=scale * other, gap_mm=scale * gap, angle_deg=angle)
    assert two == pytest.approx(scale * one, rel=1e-9)


@given(leg=LEG, gap=st.floats(0, 2.9), more=st.floats(0, 10))
def test_a_longer_leg_never_thins_the_throat_and_a_gap_never_thickens_it(leg, gap, more):
    assert ws.effective_throat_mm(leg + more, gap_mm=gap) >= ws.effective_throat_mm(leg, gap_mm=gap)
    assert ws.effective_throat_mm(leg, gap_mm=gap) <= ws.effective_throat_mm(leg)


def test_legs_of_3_and_4_make_a_throat_of_2_point_4():
    assert ws.effective_throat_mm(3, second_leg_mm=4) == pytest.approx(2.4)
    assert ws.effective_throat_mm(8, penetration_mm=2, penetration_proven=True) == pytest.approx(8 / math.sqrt(2) + 2)


@given(normal=FORCE, across=FORCE, along=FORCE, throat=st.floats(3, 20), more=st.floats(0, 10))
def test_a_thicker_throat_never_weakens_a_fillet(normal, across, along, throat, more):
    load = {"normal_n_per_mm": normal, "across_n_per_mm": across, "along_n_per_mm": along}
    thin = ws.directional_utilisation_of_forces(**load, throat_mm=throat, **STEEL)
    assert ws.directional_utilisation_of_forces(**load, throat_mm=throat + more, **STEEL) <= thin + 1e-12
    force = math.hypot(normal, across, along)
    simple = ws.simplified_utilisation(force, throat_mm=throat, **STEEL)
    assert ws.simplified_utilisation(force, throat_mm=throat + more, **STEEL) <= simple + 1e-12
    assert ws.aisc_strength_n_per_mm(throat_mm=throat + more) >= ws.aisc_strength_n_per_mm(throat_mm=throat)


@given(normal=FORCE, across=FORCE, along=FORCE, throat=st.floats(3, 20))
def test_the_simplified_method_is_never_less_safe_than_the_directional(normal, across, along, throat):
    directional = ws.directional_utilisation_of_forces(
        normal_n_per_mm=normal, across_n_per_mm=across, along_n_per_mm=along, throat_mm=throat, **STEEL
    )
    simple = ws.simplified_utilisation(math.hypot(normal, across, along), throat_mm=throat, **STEEL)
    assert simple >= directional - 1e-9


def test_a_weld_pulled_along_is_the_same_by_both_methods():
    force = {"normal_n_per_mm": 0, "across_n_per_mm": 0, "along_n_per_mm": 700}
    directional = ws.directional_utilisation_of_forces(**force, throat_mm=5, **STEEL)
    assert directional == pytest.approx(ws.simplified_utilisation(700, throat_mm=5, **STEEL))


def test_the_second_condition_governs_where_tension_alone_stands_on_the_throat():
    use = ws.directional_utilisation(sigma_perp_mpa=300, tau_perp_mpa=0, tau_par_mpa=0, ultimate_mpa=550, beta_w=0.8)
    assert use == pytest.approx(300 / (0.9 * 550 / 1.25))


def test_aisc_counts_no_directional_increase_unless_asked():
    across = ws.aisc_strength_n_per_mm(throat_mm=5, angle_deg=90)
    assert across == ws.aisc_strength_n_per_mm(throat_mm=5)
    assert ws.aisc_strength_n_per_mm(throat_mm=5, angle_deg=90, directional_increase=True) == pytest.approx(
        1.5 * across
    )


def test_a_mixed_group_takes_the_better_of_its_two_sums():
    assert ws.aisc_mixed_strength_n(longitudinal_n=100, transverse_n=100) == pytest.approx(235)
    assert ws.aisc_mixed_strength_n(longitudinal_n=100, transverse_n=10) == pytest.approx(110)


def test_long_laps_lose_strength_from_150_throats_on():
    assert ws.long_lap_factor(750, throat_mm=5) == pytest.approx(1.0)
    assert ws.long_lap_factor(1500, throat_mm=5) == pytest.approx(0.8)


def test_functions_take_arrays():
    use = ws.simplified_utilisation(np.array([100.0, 200.0]), throat_mm=5, **STEEL)
    assert use[1] == pytest.approx(2 * use[0])


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: ws.effective_throat_mm(0), "leg_mm"),
        (lambda: ws.effective_throat_mm(6, gap_mm=6), "gap_mm"),
        (lambda: ws.effective_throat_mm(6, gap_mm=-1), "gap_mm"),
        (lambda: ws.effective_throat_mm(6, penetration_mm=1), "penetration_mm"),
        (lambda: ws.effective_throat_mm(6, angle_deg=50), "angle_deg"),
        (lambda: ws.throat_to_wall(5, -8), "wall_mm"),
        (lambda: ws.throat_to_wall(0, 8), "throat_mm"),
        (lambda: ws.full_strength_throat_mm(8, yield_mpa=355, ultimate_mpa=470, beta_w=0.9, sides=3), "sides"),
        (lambda: ws.simplified_strength_mpa(ultimate_mpa=math.nan, beta_w=0.9), "ultimate_mpa"),
        (lambda: ws.simplified_strength_mpa(ultimate_mpa=470, beta_w=0), "beta_w"),
        (lambda: ws.simplified_utilisation(100, throat_mm=0, **STEEL), "throat_mm"),
        (lambda: ws.effective_length_mm(35, throat_mm=5), "length_mm"),
        (lambda: ws.long_lap_factor(4500, throat_mm=5), "length_mm"),
        (lambda: ws.minimum_leg_mm(-3), "thinner_mm"),
        (lambda: ws.aisc_strength_n_per_mm(throat_mm=5, method="plastic"), "method"),
        (lambda: ws.aisc_increase(91), "angle_deg"),
    ],
)
def test_bad_input_names_the_argument(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
