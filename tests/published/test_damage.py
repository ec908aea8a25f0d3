"""Miner damage against printed sums."""

import pytest

from engineering import damage

pytestmark = pytest.mark.published

# A public verification page "Fatigue analysis according to EN 1993-1-9" prints the damage of two spectra; the ranges of
# the first two blocks follow from its printed lives, the third block lies under the cut-off.


def test_direct_damage_of_the_public_verification_page_is_0_632():
    found = damage.per_operating_cycle([[60, 50, 31]], [[1.5e6, 3e6, 7e6]], 90, "direct", 1.15)
    assert found[0] == pytest.approx(0.632, abs=5e-4)


def test_shear_damage_of_the_public_verification_page_is_0_882():
    found = damage.per_operating_cycle([[60, 40, 20]], [[1.5e6, 3e6, 7e6]], 70, "shear", 1.15)
    assert found[0] == pytest.approx(0.882, abs=5e-4)


@pytest.mark.parametrize(("m", "expected"), [(3, (1094 / 4) ** (1 / 3)), (5, (67838 / 4) ** (1 / 5))])
def test_equivalent_range_of_the_astm_e1049_example(m, expected):
    """Counts of ASTM E1049-85 §5.4.4, Figure 6; the sums 1094 and 67838 are added by hand from that table."""
    found = damage.equivalent_range([3, 4, 6, 8, 9], [0.5, 1.5, 0.5, 1.0, 0.5], m)
    assert float(found) == pytest.approx(expected, rel=1e-12)
