"""Fillet strength against published design values.

SCI P363/P358 and the SBE5 design guide give EN 1993-1-8 values; AISC 360-22 and its manual the American ones; all in
public copies.
"""

import pytest

from engineering.steels import grade
from engineering.weld_strength import (
    aisc_increase,
    aisc_strength_n_per_mm,
    directional_utilisation_of_forces,
    effective_throat_mm,
    full_strength_throat_mm,
    minimum_leg_mm,
    simplified_strength_mpa,
)

pytestmark = pytest.mark.published


@pytest.mark.parametrize(
    ("ultimate", "factor", "printed", "digits"),
    [(360, 0.80, 208, 0), (410, 0.85, 223, 0), (470, 0.90, 241, 0), (490, 0.90, 251.5, 1), (510, 0.90, 261.7, 1)],
)
def test_design_shear_strength_of_a_fillet(ultimate, factor, printed, digits):
    """fvw,d: S235 208, S275 223 (SCI P358), S355 241 (SCI P363) copied; the last two from the formula."""
    assert round(float(simplified_strength_mpa(ultimate_mpa=ultimate, beta_w=factor)), digits) == printed


@pytest.mark.parametrize(("ultimate", "factor", "printed"), [(410, 0.85, 273), (470, 0.90, 295)])
def test_transverse_strength_by_the_directional_method(ultimate, factor, printed):
    """SCI P358 Table G.37, transverse: 273 and 295 MPa, public copy."""
    use = directional_utilisation_of_forces(
        normal_n_per_mm=printed, across_n_per_mm=0, along_n_per_mm=0, throat_mm=1, ultimate_mpa=ultimate, beta_w=factor
    )
    assert float(use) == pytest.approx(1.0, abs=0.5 / printed)


def test_strength_per_length_of_a_fillet():
    """SBE5 6.5: throat 5.6 mm, S275 with fu 410 gives 1248 N/mm, public copy."""
    assert float(5.6 * simplified_strength_mpa(ultimate_mpa=410, beta_w=0.85)) == pytest.approx(1248, abs=0.5)


@pytest.mark.parametrize(("name", "share"), [("S235", 0.46), ("S275", 0.48)])
def test_full_strength_double_fillet(name, share):
    """SBE5 2.2.6: a = 0.46 t for S235, 0.48 t for S275, public copy."""
    steel = grade(name, standard="EN 1993-1-1")
    throat = full_strength_throat_mm(
        1.0, yield_mpa=steel.yield_mpa(10), ultimate_mpa=steel.ultimate_mpa(10), beta_w=steel.fillet_factor
    )
    assert round(float(throat), 2) == share


def test_aisc_fillet_of_one_sixteenth():
    """AISC manual: 1.392 kip/in (LRFD, copied) and 0.928 kip/in (ASD, computed) per 1/16 in of leg, E70."""
    per_sixteenth = effective_throat_mm(25.4 / 16)
    kip_per_in = 4448.222 / 25.4
    for method, printed in (("LRFD", 1.392), ("ASD", 0.928)):
        strength = aisc_strength_n_per_mm(throat_mm=per_sixteenth, electrode_mpa=70 * 6.894757, method=method)
        assert float(strength) / kip_per_in == pytest.approx(printed, abs=0.0006)


def test_aisc_directional_increase():
    """AISC design example J.2A: 1.40 at 60 degrees, public copy; 1.50 across (ANSI/AISC 360-22 J2.4)."""
    assert round(float(aisc_increase(60)), 2) == 1.40
    assert float(aisc_increase(90)) == pytest.approx(1.5)
    assert float(aisc_increase(0)) == 1.0


@pytest.mark.parametrize(
    ("thinner", "leg"), [(3, 3), (6, 3), (6.1, 5), (13, 5), (13.1, 6), (19, 6), (19.1, 8), (60, 8)]
)  # fmt: skip
def test_smallest_fillet(thinner, leg):
    """ANSI/AISC 360-22 Table J2.4, public copy."""
    assert minimum_leg_mm(thinner) == leg
