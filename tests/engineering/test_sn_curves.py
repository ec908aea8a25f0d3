"""Fatigue strength lines: how they must behave whatever the figures."""

import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engineering import sn_curves
from engineering.errors import InputError
from engineering.tables import build, load

CATEGORIES = [160, 140, 125, 112, 100, 90, 80, 71, 63, 56, 50, 45, 40, 36]
ranges = st.floats(0, 1000)
categories = st.sampled_from(CATEGORIES)
kinds = st.sampled_from(["direct", "shear"])


def _category(category, kind):
    return min(category, 100) if kind == "shear" else category


@given(low=ranges, high=ranges, category=categories, kind=kinds, spectrum=st.booleans())
def test_more_stress_never_lengthens_life(low, high, category, kind, spectrum):
    low, high = sorted((low, high))
    lives = sn_curves.cycles_to_failure([low, high], _category(category, kind), kind=kind, spectrum=spectrum)
    assert lives[1] <= lives[0]


@given(stress=ranges, category=categories, kind=kinds, gamma=st.floats(1, 2), ks=st.floats(0.5, 1))
def test_a_factor_on_the_category_never_lengthens_life(stress, category, kind, gamma, ks):
    category = _category(category, kind)
    plain = sn_curves.cycles_to_failure(stress, category, kind=kind)
    assert sn_curves.cycles_to_failure(stress, category, kind=kind, gamma_mf=gamma, size_factor=ks) <= plain


@given(stress=st.floats(1, 1000), category=categories, kind=kinds, scale=st.floats(0.25, 1))
def test_life_depends_on_range_over_category_alone(stress, category, kind, scale):
    category = _category(category, kind)
    whole = sn_curves.cycles_to_failure(stress, category, kind=kind)
    scaled = sn_curves.cycles_to_failure(stress * scale, category * scale, kind=kind)
    assert scaled == pytest.approx(float(whole), rel=1e-9) or np.isinf(whole) != np.isinf(scaled)


@pytest.mark.parametrize("category", CATEGORIES)
def test_line_passes_its_three_named_points(category):
    limit, cut_off = sn_curves.limits_mpa(category)
    lives = sn_curves.cycles_to_failure([category, limit, cut_off], category)
    assert lives == pytest.approx([2e6, 5e6, 1e8], rel=1e-9)


@pytest.mark.parametrize("category", CATEGORIES)
def test_a_range_just_under_the_cut_off_does_no_damage_and_one_on_it_does(category):
    _, cut_off = sn_curves.limits_mpa(category)
    below, at = sn_curves.cycles_to_failure([cut_off * (1 - 1e-9), cut_off], category)
    assert np.isinf(below)
    assert np.isfinite(at)


def test_constant_amplitude_below_its_limit_is_endless_but_counts_inside_a_spectrum():
    assert np.isinf(sn_curves.cycles_to_failure(50, 71, spectrum=False))
    assert np.isfinite(sn_curves.cycles_to_failure(50, 71, spectrum=True))
    assert np.isfinite(sn_curves.cycles_to_failure(53, 71, spectrum=False))


def test_shear_has_no_constant_amplitude_limit():
    lives = [float(sn_curves.cycles_to_failure(60, 80, kind="shear", spectrum=s)) for s in (True, False)]
    assert lives[0] == lives[1]


def test_arguments_broadcast_with_a_kind_for_each_joint():
    lives = sn_curves.cycles_to_failure([[100.0], [50.0]], [71, 80], kind=["direct", "shear"])
    assert lives.shape == (2, 2)
    assert lives[0, 0] == pytest.approx(715_822, abs=1)
    assert lives[0, 1] == pytest.approx(2e6 * 0.8**5)


@pytest.mark.parametrize(
    ("arguments", "at_fault"),
    [
        ({"range_mpa": float("nan"), "category_mpa": 71}, "range_mpa"),
        ({"range_mpa": -1, "category_mpa": 71}, "range_mpa"),
        ({"range_mpa": "high", "category_mpa": 71}, "range_mpa"),
        ({"range_mpa": 50, "category_mpa": 0}, "category_mpa"),
        ({"range_mpa": 50, "category_mpa": 180}, "category_mpa"),
        ({"range_mpa": 50, "category_mpa": 112, "kind": "shear"}, "category_mpa"),
        ({"range_mpa": 50, "category_mpa": 71, "kind": "bending"}, "kind"),
        ({"range_mpa": 50, "category_mpa": 71, "gamma_mf": 0}, "gamma_mf"),
        ({"range_mpa": 50, "category_mpa": 71, "size_factor": 1.1}, "size_factor"),
        ({"range_mpa": 50, "category_mpa": 71, "size_factor": 0}, "size_factor"),
    ],
)
def test_bad_input_names_the_argument(arguments, at_fault):
    with pytest.raises(InputError) as caught:
        sn_curves.cycles_to_failure(**arguments)
    assert caught.value.argument == at_fault


def test_partial_factor_carries_its_row_and_defaults_to_the_safest():
    factor = sn_curves.partial_factor()
    assert factor == max(row["gamma_mf"] for row in load("partial_factors").rows.values())
    assert factor.row.status == "published"
    again = pickle.loads(pickle.dumps(factor))
    assert (again, again.row.id) == (factor, "safe_life-high")


def test_partial_factor_reads_the_table_an_office_brings():
    row = {"id": "safe_life-high", "gamma_mf": 1.5}
    own = build("own", {"title": "t", "source": "s", "edition": "e", "status": "common practice", "rows": [row]})
    assert sn_curves.partial_factor("safe_life", "high", table=own) == 1.5
    with pytest.raises(InputError) as caught:
        sn_curves.partial_factor("safe_life", "low", table=own)
    assert caught.value.code == "unknown_row"


@given(
    size=st.floats(0.1, 500), more=st.floats(0, 500), kind=st.sampled_from(["transverse_butt", "bolt_tension", "none"])
)
def test_size_factor_never_rises_with_size_and_never_passes_one(size, more, kind):
    smaller, larger = sn_curves.size_factor([size, size + more], kind)
    assert larger <= smaller <= 1


def test_eccentric_step_without_eccentricity_is_the_plain_thickness_factor():
    assert sn_curves.eccentric_step_factor(60, 40, 0) == pytest.approx(
        float(sn_curves.size_factor(40, "transverse_butt"))
    )
    assert sn_curves.eccentric_step_factor(20, 20, 0) == 1


@given(e=st.floats(0, 20), more=st.floats(0, 20))
def test_more_eccentricity_never_raises_the_category(e, more):
    assert sn_curves.eccentric_step_factor(30, 20, e + more) <= sn_curves.eccentric_step_factor(30, 20, e)


def test_eccentric_step_wants_the_thin_plate_to_be_the_thinner():
    with pytest.raises(InputError) as caught:
        sn_curves.eccentric_step_factor(10, 20, 2)
    assert caught.value.argument == "thin_mm"


def test_compression_counts_in_full_unless_the_detail_is_stress_free():
    assert sn_curves.effective_range(60, -40) == 100
    assert sn_curves.effective_range(60, -40, stress_free=True) == pytest.approx(60 + 0.6 * 40)
    assert sn_curves.effective_range(-10, -50, stress_free=True) == pytest.approx(24)
    assert sn_curves.effective_range(50, 10, stress_free=True) == 40


def test_effective_range_wants_the_highest_first():
    with pytest.raises(InputError) as caught:
        sn_curves.effective_range(-40, 60)
    assert caught.value.argument == "highest_mpa"


def test_largest_range_is_one_and_a_half_yield_and_less_in_shear():
    assert sn_curves.largest_range_mpa(355) == pytest.approx(532.5)
    assert sn_curves.largest_range_mpa(355, kind="shear") == pytest.approx(532.5 / 3**0.5)


@given(
    low=st.floats(0, 800),
    high=st.floats(0, 800),
    row=st.sampled_from(sorted(load("iiw_fat").rows)),
    spectrum=st.booleans(),
)
def test_more_stress_never_lengthens_life_on_an_iiw_line(low, high, row, spectrum):
    low, high = sorted((low, high))
    lives = sn_curves.iiw_cycles_to_failure([low, high], row, spectrum=spectrum)
    assert lives[1] <= lives[0]


@pytest.mark.parametrize("row", sorted(load("iiw_fat").rows))
def test_an_iiw_class_is_the_range_borne_two_million_times(row):
    fat = load("iiw_fat").row(row)["fat_mpa"]
    assert float(sn_curves.iiw_cycles_to_failure(fat, row)) == pytest.approx(2e6, rel=1e-9)


@pytest.mark.parametrize(("row", "stress"), [("FAT71", 30.0), ("FAT80-shear", 30.0)])
def test_iiw_constant_amplitude_line_falls_with_slope_22_beyond_its_knee(row, stress):
    """From memory: IIW-2259-15 section 3.2 gives m = 22 in place of an endurance limit."""
    whole, half = sn_curves.iiw_cycles_to_failure([stress, stress / 2], row, spectrum=False)
    assert half / whole == pytest.approx(2.0**22)


@given(stress=st.floats(1, 500))
def test_iiw_spectrum_line_is_never_kinder_than_its_constant_amplitude_line(stress):
    in_spectrum = sn_curves.iiw_cycles_to_failure(stress, "FAT71")
    assert in_spectrum <= sn_curves.iiw_cycles_to_failure(stress, "FAT71", spectrum=False) * (1 + 1e-12)


@given(low=st.floats(0, 100), high=st.floats(0, 100), category=st.sampled_from(sorted(load("us_categories").rows)),
       edition=st.sampled_from(sn_curves.EDITIONS), spectrum=st.booleans())  # fmt: skip
def test_more_stress_never_lengthens_life_on_a_us_line(low, high, category, edition, spectrum):
    low, high = sorted((low, high))
    lives = sn_curves.us_cycles_to_failure([low, high], category, edition=edition, spectrum=spectrum)
    assert lives[1] <= lives[0]


@pytest.mark.parametrize("edition", sn_curves.EDITIONS)
@pytest.mark.parametrize("category", sorted(load("us_categories").rows))
def test_us_life_and_allowable_range_undo_each_other(category, edition):
    allowed = sn_curves.us_allowable_range_ksi(50_000, category, edition=edition)
    assert sn_curves.us_cycles_to_failure(allowed, category, edition=edition) == pytest.approx(50_000, rel=1e-9)


def test_us_editions_differ_as_their_printed_forms_do():
    """Computed from the forms: 13.006 with an exact cube root, 13.063 with the printed 0.333."""
    older, newer = (sn_curves.us_allowable_range_ksi(2e6, "C", edition=edition) for edition in ("360-10", "360-22"))
    assert float(older) == pytest.approx(13.006, abs=5e-4)
    assert float(newer) == pytest.approx(13.063, abs=5e-4)


def test_us_threshold_ends_damage_under_constant_amplitude_only():
    assert np.isinf(sn_curves.us_cycles_to_failure(10, "C", edition="360-22", spectrum=False))
    assert np.isfinite(sn_curves.us_cycles_to_failure(10, "C", edition="360-22", spectrum=True))


def test_us_allowable_range_never_falls_below_the_threshold():
    assert sn_curves.us_allowable_range_ksi(1e9, "E", edition="aashto") == 4.5
    assert sn_curves.us_allowable_range_mpa(1e9, "E", edition="360-16") == 31


@pytest.mark.parametrize(
    ("category", "edition", "argument"), [("C", "360-05", "edition"), ("Z", "aashto", "us_categories")]
)
def test_unknown_us_edition_or_category_is_refused(category, edition, argument):
    with pytest.raises(InputError) as caught:
        sn_curves.us_cycles_to_failure(10, category, edition=edition)
    assert caught.value.argument == argument
    assert caught.value.code == "unknown_row"
