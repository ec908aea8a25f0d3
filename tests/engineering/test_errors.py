"""Whatever is no number, no single number or no real quantity is refused with the argument's name, never otherwise."""

import math

import numpy as np
import pytest

from engineering import bolts, damage, sn_curves, weld_strength
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


def test_one_number_passes_each_guard_as_a_plain_float():
    assert one(positive, "a", np.float64(3)) == one(finite, "a", "3") == one(non_negative, "a", 3) == 3.0
    assert type(one(within, "a", np.asarray(0.2), 0.1, 0.5)) is float
