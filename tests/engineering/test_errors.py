"""Whatever is no number, no single number or no real quantity is refused with the argument's name, never otherwise."""

import math

import numpy as np
import pytest

from engineering import bolt_group, bolts, damage, sn_curves, weld_strength
from engineering.bolt_patterns import ring
from engineering.errors import InputError, finite, non_negative, one, positive, within

NO_QUANTITY = ["three", None, [1.0, 2.0], np.nan, math.inf, 1e300, -1e300, "", {}]

CALLS = {
    "d_mm": lambda value: bolts.stress_area_mm2(value, 2.5),
    "pitch_mm": lambda value: bolts.stress_area_mm2(20, value),
    "k": lambda value: bolts.torque_nm(100, value, 20),
    "preload_kn": lambda value: bolts.torque_nm(value, 0.2, 20),
    "gamma_m2": lambda value: bolts.shear_resistance_n("M20", "8.8", gamma_m2=value),
    "shear_n": lambda value: bolts.interaction(value, 1.0, shear_resistance_n=2.0, tension_resistance_n=2.0),
    "range_n": lambda value: bolts.tension_range_mpa(value, "M20"),
    "thick_mm": lambda value: sn_curves.eccentric_step_factor(value, 8, 1),
    "gamma_mf": lambda value: bolts.tension_cycles_to_failure(12_250, "M20", gamma_mf=value),
    "category_mpa": lambda value: sn_curves.limits_mpa(value),
    "prying": lambda value: bolt_group.overturning(ring(8, 100), 0, 1, 0, prying=value),
    "m": lambda value: damage.equivalent_range([1.0], [1.0], value),
}


@pytest.mark.parametrize("argument", CALLS)
@pytest.mark.parametrize("value", NO_QUANTITY, ids=repr)
def test_a_function_of_one_number_names_the_argument_that_is_none(argument, value):
    with pytest.raises(InputError) as refused:
        CALLS[argument](value)
    assert refused.value.argument == argument


def test_a_throat_of_no_real_leg_is_refused_and_not_nan():
    with pytest.raises(InputError) as refused:
        weld_strength.effective_throat_mm(1e300)
    assert refused.value.code == "out_of_range"


@pytest.mark.parametrize(("ranges", "counts"), [(5.0, 1.0), ([1.0, 2.0, 3.0], [1.0, 2.0])])
def test_ranges_and_counts_that_do_not_go_together_are_refused(ranges, counts):
    with pytest.raises(InputError) as refused:
        damage.equivalent_range(ranges, counts, 3)
    assert refused.value.code == "shape"


@pytest.mark.parametrize("name", [["M20", "M24"], {}, 7, None, [[1], [2, 3]]], ids=repr)
def test_whatever_is_no_name_is_refused_with_the_names_there_are(name):
    calls = (
        lambda: bolts.size(name),
        lambda: bolts.property_class(name),
        lambda: bolts.preload_kn("M20", name),
        lambda: sn_curves.size_factor(20.0, name),
        lambda: sn_curves.iiw_cycles_to_failure(50.0, name),
        lambda: sn_curves.us_allowable_range_ksi(1e6, name, edition="360-22"),
        lambda: sn_curves.cycles_to_failure(50.0, 71.0, kind=name),
    )
    for call in calls:
        with pytest.raises(InputError) as refused:
            call()
        assert refused.value.code == "unknown_row"


def test_one_number_passes_each_guard_as_a_plain_float():
    assert one(positive, "a", np.float64(3)) == one(finite, "a", "3") == one(non_negative, "a", 3) == 3.0
    assert type(one(within, "a", np.asarray(0.2), 0.1, 0.5)) is float
