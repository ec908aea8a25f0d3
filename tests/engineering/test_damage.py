"""Miner damage: additive, monotonic, and never lost."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from engineering import damage, sn_curves
from engineering.errors import InputError

CATEGORIES = [125.0, 112.0, 100.0, 90.0, 80.0, 71.0, 63.0, 56.0, 50.0, 45.0, 40.0, 36.0]


@st.composite
def joints(draw):
    n, k = draw(st.integers(1, 6)), draw(st.integers(1, 5))
    ranges = draw(hnp.arrays(float, (n, k), elements=st.floats(0, 400)))
    counts = draw(hnp.arrays(float, (n, k), elements=st.floats(0, 1e4)))
    kind = draw(st.lists(st.sampled_from(["direct", "shear"]), min_size=n, max_size=n))
    category = [min(draw(st.sampled_from(CATEGORIES)), 100.0) for _ in range(n)]
    return ranges, counts, np.array(category), np.array(kind)


@given(joints())
def test_damage_of_a_row_is_the_sum_of_count_over_life(case):
    ranges, counts, category, kind = case
    lives = sn_curves.cycles_to_failure(ranges, category[:, None], kind=kind[:, None])
    assert damage.per_operating_cycle(ranges, counts, category, kind) == pytest.approx(np.sum(counts / lives, axis=1))


@given(joints(), st.floats(1, 3))
def test_more_stress_never_lessens_damage(case, scale):
    ranges, counts, category, kind = case
    less = damage.per_operating_cycle(ranges, counts, category, kind)
    more = damage.per_operating_cycle(ranges * scale, counts, category, kind)
    assert np.all(more >= less * (1 - 1e-12))


@given(joints(), st.floats(0, 100))
def test_damage_scales_with_the_counts(case, scale):
    ranges, counts, category, kind = case
    whole = damage.per_operating_cycle(ranges, counts, category, kind)
    assert damage.per_operating_cycle(ranges, counts * scale, category, kind) == pytest.approx(whole * scale)


@given(joints())
def test_a_bin_padded_with_count_0_adds_nothing(case):
    ranges, counts, category, kind = case
    padded = np.pad(ranges, ((0, 0), (0, 2)), constant_values=300), np.pad(counts, ((0, 0), (0, 2)))
    whole = damage.per_operating_cycle(ranges, counts, category, kind)
    assert damage.per_operating_cycle(*padded, category, kind) == pytest.approx(whole)


def test_rows_beyond_one_chunk_are_worked_like_the_first():
    n = damage.CHUNK_ROWS + 7
    ranges = np.tile([[120.0, 60.0]], (n, 1))
    found = damage.per_operating_cycle(
        ranges, np.ones((n, 2)), np.full(n, 71.0), np.full(n, "direct"), np.full(n, 1.35)
    )
    assert found.shape == (n,)
    assert np.ptp(found) == 0
    assert found[0] > 0


def test_a_joint_below_its_cut_off_takes_no_damage_and_never_reaches_a_share():
    rate = damage.per_operating_cycle([[20.0]], [[10.0]], 71)
    assert rate[0] == 0
    assert np.isinf(damage.cycles_to_share(0.3, rate))[0]


@given(share=st.floats(0, 1), rate=st.floats(1e-12, 1))
def test_cycles_to_a_share_undo_damage(share, rate):
    assert float(damage.cycles_to_share(share, rate)) * rate == pytest.approx(share)


def test_the_working_adds_up_and_starts_with_the_largest_range():
    blocks = damage.working([60, 100, 20, 40], [1e6, 2e5, 5e7, 5e6], 71)
    assert [block.range_mpa for block in blocks] == [100, 60, 40, 20]
    total = damage.per_operating_cycle([[60, 100, 20, 40]], [[1e6, 2e5, 5e7, 5e6]], 71)[0]
    assert sum(block.damage for block in blocks) == pytest.approx(total)
    assert total == pytest.approx(0.842512, abs=5e-7)  # computed apart: 0.279399 + 0.301751 + 0.261361 + 0
    assert blocks[-1].damage == 0


@given(st.lists(st.tuples(st.floats(0.1, 500), st.floats(0.1, 1e5)), min_size=1, max_size=8), st.floats(0.1, 10))
def test_equivalent_range_scales_with_stress_and_lies_among_the_ranges(spectrum, scale):
    ranges, counts = np.array(spectrum).T
    found = float(damage.equivalent_range(ranges, counts, 3))
    assert ranges.min() * (1 - 1e-9) <= found <= ranges.max() * (1 + 1e-9)
    assert float(damage.equivalent_range(ranges * scale, counts, 3)) == pytest.approx(found * scale)


@given(st.lists(st.tuples(st.floats(0.1, 500), st.floats(0.1, 1e5)), min_size=1, max_size=8))
def test_a_steeper_line_gives_no_smaller_equivalent_range(spectrum):
    ranges, counts = np.array(spectrum).T
    assert damage.equivalent_range(ranges, counts, 5) >= damage.equivalent_range(ranges, counts, 3) * (1 - 1e-9)


def test_equivalent_range_does_the_same_damage_on_one_slope():
    ranges, counts = np.array([90.0, 120.0, 200.0]), np.array([1e4, 5e3, 1e3])
    equal = damage.equivalent_range(ranges, counts, 3)
    spectrum = damage.per_operating_cycle([ranges], [counts], 71)
    assert damage.per_operating_cycle([[equal]], [[counts.sum()]], 71) == pytest.approx(spectrum)


def test_equivalent_range_without_any_cycle_is_refused():
    with pytest.raises(InputError) as caught:
        damage.equivalent_range([50.0], [0.0], 3)
    assert caught.value.argument == "counts"


def test_interaction_is_one_where_either_stress_alone_uses_its_category_up():
    assert float(damage.interaction(71, 71, 0, 80)) == pytest.approx(1)
    assert float(damage.interaction(0, 71, 80, 80)) == pytest.approx(1)
    assert float(damage.interaction(71, 71, 80, 80, gamma_mf=1.35)) == pytest.approx(1.35**3 + 1.35**5)


@pytest.mark.parametrize(
    ("arguments", "at_fault"),
    [
        (([[50.0, np.nan]], [[1.0, 1.0]], 71), "ranges_mpa"),
        (([[50.0]], [[-1.0]], 71), "counts"),
        (([[50.0]], [[np.nan]], 71), "counts"),
        (([50.0], [1.0], 71), "ranges_mpa"),
        (([[50.0]], [[1.0, 2.0]], 71), "ranges_mpa"),
        (([[50.0]], [[1.0]], [71, 80]), "category_mpa"),
        (([[50.0]], [[1.0]], [np.nan]), "category_mpa"),
        (([[50.0]], [[1.0]], 71, "torsion"), "kind"),
        (([[50.0]], [[1.0]], 71, "direct", 0.0), "gamma_mf"),
    ],
)
def test_bad_input_names_the_argument(arguments, at_fault):
    with pytest.raises(InputError) as caught:
        damage.per_operating_cycle(*arguments)
    assert caught.value.argument == at_fault


@pytest.mark.parametrize("arguments", [(-0.1, 1.0), (0.3, -1.0), (np.nan, 1.0)])
def test_a_share_or_rate_that_makes_no_sense_is_refused(arguments):
    with pytest.raises(InputError):
        damage.cycles_to_share(*arguments)
