"""Detection: what a look finds, over one look and over many, against a simulation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engineering import crack_growth, detection, tables
from engineering.errors import InputError

unhurried = settings(deadline=None)
ROWS = sorted(tables.load("detection").rows)
rows = st.sampled_from(ROWS).map(lambda row: tuple(row.split("-")))
chances = st.floats(0.01, 0.99)


@unhurried
@given(row=rows, chance=chances)
def test_the_size_found_with_a_chance_is_found_with_that_chance(row, chance):
    curve = detection.curve(*row)
    assert float(curve.chance(curve.size_mm(chance))) == pytest.approx(chance, rel=1e-9)


@unhurried
@given(row=rows, size=st.floats(0.0, 500.0), more=st.floats(0.0, 100.0))
def test_a_larger_crack_is_never_less_likely_found(row, size, more):
    curve = detection.curve(*row)
    assert curve.chance(size + more) >= curve.chance(size)


@pytest.mark.parametrize("method", detection.METHODS)
def test_worse_access_or_conditions_never_find_a_smaller_crack(method):
    for scale, fixed in ((detection.ACCESS, detection.CONDITIONS), (detection.CONDITIONS, detection.ACCESS)):
        for other in fixed:
            sizes = []
            for each in scale:
                access, conditions = (each, other) if scale is detection.ACCESS else (other, each)
                if f"{method}-{access}-{conditions}" in ROWS:
                    sizes.append(detection.detectable_size(method, access, conditions).size_mm)
            assert sizes == sorted(sizes)


def test_what_no_row_speaks_of_is_unknown_and_never_a_size():
    for method, access, conditions in (("RT", "easy", "good"), ("VT", "difficult", "poor"), ("UT", "easy", "poor")):
        with pytest.raises(InputError) as caught:
            detection.detectable_size(method, access, conditions)
        assert caught.value.code == "unknown_row"


def test_every_row_says_where_it_comes_from_and_names_a_known_combination():
    for row in tables.load("detection").rows.values():
        method, access, conditions = row.id.split("-")
        assert method in detection.METHODS
        assert access in detection.ACCESS
        assert conditions in detection.CONDITIONS
        assert row.source
        assert ("no source" in row.source) == (row.status == tables.COMMON_PRACTICE)


def test_an_office_can_bring_its_own_curves():
    row = {"id": "RT-easy-good", "dimension": "depth", "x0_mm": 3.0, "b": 2.0}
    data = {"title": "own", "source": "trial", "edition": "1", "status": tables.COMMON_PRACTICE, "rows": [row]}
    found = detection.detectable_size("RT", "easy", "good", pod=0.5, table=tables.build("own", data))
    assert found.size_mm == pytest.approx(3.0)


def test_a_length_becomes_a_depth_by_the_aspect_and_a_depth_stays():
    seen = detection.detectable_size("VT", "easy", "good")
    assert float(detection.as_depth_mm(seen, 0.2)) == pytest.approx(seen.size_mm * 0.1)
    deep = detection.detectable_size("MT", "easy", "good")
    assert detection.as_depth_mm(deep, np.array([0.2, 0.5])).tolist() == [deep.size_mm] * 2


@unhurried
@given(row=rows, sizes=st.lists(st.floats(0.0, 100.0), max_size=6), extra=st.floats(0.0, 100.0))
def test_one_more_look_never_lowers_the_chance(row, sizes, extra):
    curve = detection.curve(*row)
    before, after = (detection.chance_of_finding(each, curve) for each in (sizes, [*sizes, extra]))
    assert 0.0 <= before <= after <= 1.0


def test_no_look_finds_nothing():
    assert detection.chance_of_finding([], detection.curve("MT", "easy", "good")) == 0.0


@pytest.mark.parametrize("never_found", [0.0, 0.1])
@pytest.mark.parametrize("row", [("MT", "easy", "normal"), ("VT", "moderate", "good")])
def test_a_simulation_of_inspectors_agrees_with_the_closed_form(row, never_found):
    curve, draw, cracks = detection.curve(*row), np.random.default_rng(20), 200_000
    sizes = np.array([0.3, 1.0, 3.0, 9.0]) * (1.0 if curve.dimension == "depth" else 5.0)
    # A crack calls out at a look once it is larger than what this look happens to see: drawn from the curve itself.
    threshold = curve.size_mm(draw.uniform(1e-12, 1.0 - 1e-12, (cracks, sizes.size)))
    hidden = draw.random(cracks) < never_found
    found = np.mean(np.any(sizes >= threshold, axis=1) & ~hidden)
    expected = float(detection.chance_of_finding(sizes, curve, never_found=never_found))
    assert found == pytest.approx(expected, abs=4.0 * np.sqrt(expected * (1.0 - expected) / cracks))


def growing(window: float):
    """Depth of a crack at a weld toe over the cycles of its window, and the cycles to 0.8 of the wall."""
    rest = {"range_mpa": 60.0, "law": crack_growth.law(), "wall_mm": 12.0, "attachment_mm": 30.0}
    length = float(crack_growth.cycles_between(0.5, 9.6, **rest))
    return lambda since: crack_growth.size_after(0.5, since / window * length, **rest)[0]


@unhurried
@given(wanted=st.floats(0.5, 0.999))
def test_the_number_of_looks_is_the_fewest_that_reaches_the_chance(wanted):
    curve, size_at = detection.curve("MT", "easy", "normal"), growing(1000.0)
    looks = detection.looks_needed(size_at=size_at, window=1000.0, curve=curve, wanted=wanted)
    assert looks.chance >= wanted
    assert looks.spacing * looks.number == pytest.approx(1000.0)
    if looks.number > 1:
        fewer = size_at(1000.0 / (looks.number - 1) * np.arange(looks.number - 1))
        assert detection.chance_of_finding(fewer, curve) < wanted


def test_any_timing_of_the_looks_finds_at_least_with_the_promised_chance():
    curve, size_at = detection.curve("MT", "easy", "poor"), growing(1000.0)
    looks = detection.looks_needed(size_at=size_at, window=1000.0, curve=curve, wanted=0.95)
    for late in np.linspace(0.0, 0.999, 12):
        sizes = size_at(looks.spacing * (late + np.arange(looks.number)))
        assert detection.chance_of_finding(sizes, curve) >= looks.chance - 1e-12


def test_a_chance_that_no_number_of_looks_reaches_is_refused():
    curve = detection.curve("VT", "difficult", "good")
    with pytest.raises(InputError) as caught:
        detection.looks_needed(size_at=lambda t: np.full_like(t, 1.0), window=100.0, curve=curve, wanted=0.9)
    assert caught.value.argument == "wanted"
    with pytest.raises(InputError):
        detection.looks_needed(
            size_at=lambda t: np.full_like(t, 99.0), window=1.0, curve=curve, wanted=0.95, never_found=0.1
        )


@pytest.mark.parametrize("value", [-1.0, float("nan")])
def test_bad_sizes_are_refused(value):
    curve = detection.curve("MT", "easy", "good")
    with pytest.raises(InputError) as caught:
        curve.chance(value)
    assert caught.value.argument == "size_mm"


@pytest.mark.parametrize("pod", [0.0, 1.0, -0.1, float("nan")])
def test_a_chance_outside_nought_to_one_is_refused(pod):
    with pytest.raises(InputError):
        detection.detectable_size("MT", "easy", "good", pod=pod)


def test_a_length_counts_as_a_rounder_crack_unless_measured_ones_say_otherwise():
    seen = detection.detectable_size("VT", "easy", "good")
    assert detection.as_depth_mm(seen) > detection.as_depth_mm(seen, crack_growth.DEFAULT_ASPECT)
