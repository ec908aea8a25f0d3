"""Rainflow counting against printed tables."""

from collections import Counter

import pytest

from engineering import spectrum

pytestmark = pytest.mark.published

# ASTM E1049-85 §5.4.4, Figure 6 and its table, as carried by the test suites of two public rainflow libraries.
ASTM_HISTORY = [-2, 1, -3, 5, -1, 3, -4, 4, -2]
ASTM_TABLE = [(1, 0.0), (2, 0.0), (3, 0.5), (4, 1.5), (5, 0.0), (6, 0.5), (7, 0.0), (8, 1.0), (9, 0.5), (10, 0.0)]

ASTM_CYCLES = [
    (3, -0.5, 0.5),
    (4, -1.0, 0.5),
    (4, 1.0, 1.0),
    (8, 1.0, 0.5),
    (9, 0.5, 0.5),
    (8, 0.0, 0.5),
    (6, 1.0, 0.5),
]

# The same history taken to repeat: ASTM E1049-85 §5.4.5.
ASTM_REPEATING = [(3, 1), (4, 1), (6, 0), (7, 1), (8, 0), (9, 1)]

# A second history in the test suite of the public library rainflow, with cycles listed there (list read in part).
SECOND_HISTORY = [-1.5, 1, -3, 10, -1, 3, -8, 4, -2, 6, -1, -4, -8, 2, 1, -5, 0, 2.5, -4, 1, 0, 2, -0.5]
SECOND_CYCLES = [
    (2.5, -0.25, 0.5), (4, -1, 0.5), (4, 1, 1), (13, 3.5, 0.5), (6, 1, 1), (14, -1, 1), (7, -1.5, 1), (1, 0.5, 1),
    (18, 1, 0.5),
]  # fmt: skip


def _by_range(cycles):
    total = Counter()
    for size, _, number in zip(*cycles, strict=True):
        total[float(size)] += float(number)
    return total


def _by_range_and_mean(cycles):
    total = Counter()
    for size, mean, number in zip(*cycles, strict=True):
        total[float(size), float(mean)] += float(number)
    return total


@pytest.mark.parametrize(("size", "printed"), ASTM_TABLE)
def test_count_at_each_range_of_the_astm_e1049_table(size, printed):
    assert _by_range(spectrum.count(ASTM_HISTORY))[size] == printed


@pytest.mark.parametrize(("size", "printed"), ASTM_TABLE)
def test_binned_count_fed_in_two_chunks_gives_the_astm_e1049_table(size, printed):
    counter = spectrum.Rainflow(bin_width_mpa=1.0).feed(ASTM_HISTORY[:5]).feed(ASTM_HISTORY[5:])
    ranges, counts = counter.result()
    assert dict(zip(ranges.tolist(), counts.tolist(), strict=True)).get(size, 0.0) == printed


@pytest.mark.parametrize(("size", "mean", "number"), ASTM_CYCLES)
def test_every_cycle_of_the_astm_e1049_example_is_found_with_its_mean(size, mean, number):
    assert (size, mean, number) in [
        tuple(map(float, cycle)) for cycle in zip(*spectrum.count(ASTM_HISTORY), strict=True)
    ]


def test_the_astm_e1049_example_holds_four_cycles():
    assert spectrum.count(ASTM_HISTORY).counts.sum() == 4.0


@pytest.mark.parametrize(("size", "printed"), ASTM_REPEATING)
def test_repeating_history_closes_into_the_cycles_of_astm_e1049_clause_5_4_5(size, printed):
    assert _by_range(spectrum.count(ASTM_HISTORY, residue="closed"))[size] == printed


@pytest.mark.parametrize(("size", "mean", "number"), SECOND_CYCLES)
def test_cycles_listed_for_the_second_history_of_a_public_library(size, mean, number):
    assert _by_range_and_mean(spectrum.count(SECOND_HISTORY))[size, mean] >= number


def test_steel_strain_of_1000_microstrain_is_210_mpa_by_the_modulus_of_en_1993_1_1_clause_3_2_6():
    assert float(spectrum.strain_to_stress(1000)) == pytest.approx(210.0, rel=1e-12)
