"""Failure assessment against published values."""

from __future__ import annotations

import pytest

from engineering import fracture

pytestmark = pytest.mark.published

S355_490, S355_510, S275_410 = (355, 490), (355, 510), (275, 410)


@pytest.mark.parametrize(
    ("steel", "lr", "expected"),
    [
        (S355_490, 0.0, 1.0), (S355_490, 0.2, 0.9901), (S355_490, 0.4, 0.9606), (S355_490, 0.5, 0.93674),
        (S355_490, 0.6, 0.9030), (S355_490, 0.8, 0.78287), (S355_490, 1.0, 0.56128), (S355_490, 1.1, 0.33073),
        (S355_490, 1.15, 0.25843), (S355_510, 1.1, 0.34905), (S355_510, 1.15, 0.27969), (S275_410, 0.5, 0.93665),
        (S275_410, 0.8, 0.78171), (S275_410, 1.0, 0.55862), (S275_410, 1.1, 0.36166), (S275_410, 1.15, 0.29528),
    ],
)  # fmt: skip
def test_option_1_curve_without_a_yield_plateau(steel, lr, expected):
    """BS 7910:2013 7.3.3, formula from a public copy, values computed apart."""
    found = fracture.assessment_curve(lr, yield_mpa=steel[0], ultimate_mpa=steel[1], yielding="continuous")
    assert float(found) == pytest.approx(expected, abs=6e-5 if expected in (0.9901, 0.9606, 0.9030) else 6e-6)


@pytest.mark.parametrize(
    ("steel", "largest", "exponent"),
    [(S355_490, 1.190141, 0.0826531), (S355_510, 1.218310, 0.0911765), (S275_410, 1.245455, 0.0987805)],
)
def test_end_and_hardening_of_the_curve(steel, largest, exponent):
    """BS 7910:2013 7.3.1 and 7.3.3."""
    strengths = {"yield_mpa": steel[0], "ultimate_mpa": steel[1]}
    assert round(float(fracture.largest_load_ratio(**strengths)), 6) == largest
    assert round(float(fracture.strain_hardening_exponent(**strengths)), 7) == exponent


@pytest.mark.parametrize(("chi", "lr", "expected"), [(1, 0.8, 0.09303), (2, 0.8, 0.13699), (1, 0.9, 0.05582)])
def test_plasticity_interaction(chi, lr, expected):
    """BS 7910 Annex R as printed in the JCSS Probabilistic Model Code (values computed apart)."""
    found = fracture.plasticity_interaction(primary_k=lr, secondary_k=chi, load_ratio=lr)
    assert float(found) == pytest.approx(expected, abs=6e-6)


@pytest.mark.parametrize(("membrane", "bending", "expected"), [(100, 0, 100.0), (0, 150, 100.0), (100, 150, 161.8034)])
def test_reference_stress_of_a_whole_plate(membrane, bending, expected):
    """Limit load of a plate: tension alone yields at Pm, bending alone at 2/3 Pb, together Pb/3 + √((Pb/3)² + Pm²)."""
    found = fracture.reference_stress(membrane_mpa=membrane, bending_mpa=bending, depth_mm=1e-7, wall_mm=10, aspect=0.5)
    assert float(found) == pytest.approx(expected, rel=1e-5)


def test_reference_stress_of_a_long_crack_in_a_narrow_plate_is_the_net_section():
    """A crack over the whole width, half the wall deep, doubles the stress on what is left (bending restrained)."""
    found = fracture.reference_stress(membrane_mpa=100, depth_mm=5, wall_mm=10, aspect=0.1, half_width_mm=50)
    assert float(found) == pytest.approx(200.0)


@pytest.mark.parametrize(
    ("energy", "wall", "expected"), [(27, 25, 62.35), (40, 25, 75.89), (27, 12.5, 70.37), (100, 25, 120.0)]
)
def test_toughness_from_impact_energy(energy, wall, expected):
    """BS 7910:2013 J.2.1, lower bound (formula from memory, values computed by hand)."""
    assert float(fracture.toughness_from_charpy(energy_j=energy, wall_mm=wall)) == pytest.approx(expected, abs=0.03)


def test_master_curve_at_its_reference_temperature():
    """ASTM E1921: the median toughness of a 25 mm front is 100 MPa√m at T0; here T0 lies 7 °C above T27J."""
    found = fracture.toughness_of_subgrade("J0", temperature_c=7.0, wall_mm=25.0, failure_chance=0.5)
    assert float(found) == pytest.approx(100.0, abs=0.5)
