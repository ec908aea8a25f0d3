"""Chances of detection against published curves."""

from __future__ import annotations

import pytest

from engineering import detection

pytestmark = pytest.mark.published

GOOD, NORMAL, POOR = (("MT", "easy", each) for each in ("good", "normal", "poor"))
SEEN = ("VT", "easy", "good")


@pytest.mark.parametrize(
    ("row", "size", "chance"),
    [
        (GOOD, 1, 0.7876), (GOOD, 2, 0.9090), (GOOD, 5, 0.9737),
        (NORMAL, 1, 0.6723), (NORMAL, 2, 0.7929), (NORMAL, 5, 0.8973),
        (POOR, 1, 0.4667), (POOR, 2, 0.6202), (POOR, 5, 0.7883), (POOR, 10, 0.8742),
        (SEEN, 20, 0.5636), (SEEN, 50, 0.7763), (SEEN, 100, 0.8800),
    ],
)  # fmt: skip
def test_chance_at_a_size(row, size, chance):
    """DNVGL-RP-C210 section 11 curves (visual easy: from memory), values computed apart."""
    assert round(float(detection.curve(*row).chance(size)), 4) == chance


@pytest.mark.parametrize(("pod", "size"), [(0.5, 37.15), (0.75, 117.51), (0.9, 371.72)])
def test_visual_sizes_printed_by_kompanets_et_al_2026(pod, size):
    """Kompanets et al. 2026, equation 10: 50, 75 and 90 % at 37.15, 117.51 and 371.72 mm of length."""
    found = detection.detectable_size("VT", "moderate", "good", pod=pod)
    assert found.dimension == "length"
    assert found.size_mm == pytest.approx(size, abs=0.006)


@pytest.mark.parametrize(
    ("row", "size"),
    [
        (GOOD, 1.859), (NORMAL, 5.170), (POOR, 13.327), (("UT", "easy", "good"), 12.56),
        (SEEN, 120.92), (("VT", "difficult", "good"), 636.23),
    ],
)  # fmt: skip
def test_size_found_nine_times_in_ten(row, size):
    """a90 = x0 9^(1/b), DNVGL-RP-C210 section 11 parameters (UT, visual: from memory)."""
    assert detection.detectable_size(*row).size_mm == pytest.approx(size, rel=5e-4)


def test_two_looks_at_even_odds():
    """Independent looks: 1 − ½·½ = 0.75 (probability, by hand)."""
    curve = detection.curve(*GOOD)
    assert float(detection.chance_of_finding([0.40, 0.40], curve)) == pytest.approx(0.75)
