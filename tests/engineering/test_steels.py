"""Steel grades: bands without gaps, names with impact quality, refusals."""

import itertools

import pytest

from engineering import tables
from engineering.errors import InputError
from engineering.steels import grade


def all_grades():
    rows = tables.load("steel_grades").rows.values()
    return sorted({(row["grade"], row["standard"]) for row in rows})


@pytest.mark.parametrize(("name", "standard"), all_grades())
def test_bands_follow_each_other_and_never_gain_strength_with_thickness(name, standard):
    bands = grade(name, standard=standard).bands
    assert bands[0].t_over_mm == 0
    for thin, thick in itertools.pairwise(bands):
        assert thin.t_to_mm == thick.t_over_mm
        assert thin.yield_mpa >= thick.yield_mpa
        assert thin.ultimate_mpa >= thick.ultimate_mpa
    assert all(band.ultimate_mpa > band.yield_mpa for band in bands)


@pytest.mark.parametrize(
    ("written", "name"),
    [("S355J2", "S355"), ("s355 JR", "S355"), ("S355J2H", "S355H"), ("S690QL1", "S690Q"), ("S460ML", "S460M"),
     ("S355K2+N", "S355"), ("S275NLH", "S275NH"), ("S700MC", "S700MC")],
)  # fmt: skip
def test_an_impact_quality_does_not_change_the_strength(written, name):
    assert grade(written).name == name


@pytest.mark.parametrize("name", ["S275NH", "S355NH", "S460NH", "S355H"])
def test_a_hollow_section_of_unknown_making_takes_the_weaker_standard(name):
    unknown, hot = grade(name), grade(name, standard="EN 10210-1")
    assert unknown.ultimate_mpa(10) <= hot.ultimate_mpa(10)


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: grade("S999"), "name"),
        (lambda: grade("S355", standard="ASTM A36"), "name"),
        (lambda: grade("S355").yield_mpa(101), "thickness_mm"),
        (lambda: grade("S355").yield_mpa(0), "thickness_mm"),
        (lambda: grade("S355").yield_mpa(float("nan")), "thickness_mm"),
        (lambda: grade("S960Q").fillet_factor, "grade"),
    ],
)
def test_bad_input_names_the_argument(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument
