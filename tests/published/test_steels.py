"""Strength of steels against EN 1993-1-1:2005 Table 3.1 (public copy) and product standards (from memory)."""

import pytest

from engineering.steels import grade
from engineering.tables import FROM_MEMORY, PUBLISHED

pytestmark = pytest.mark.published

TABLE_3_1 = [  # grade, standard, fy and fu up to 40 mm, fy and fu up to 80 mm
    ("S235", "EN 1993-1-1", 235, 360, 215, 360),
    ("S275", "EN 1993-1-1", 275, 430, 255, 410),
    ("S355", "EN 1993-1-1", 355, 490, 335, 470),
    ("S355N", "EN 1993-1-1", 355, 490, 335, 470),
    ("S460N", "EN 1993-1-1", 460, 540, 430, 540),
    ("S355M", "EN 1993-1-1", 355, 470, 335, 450),
    ("S460M", "EN 1993-1-1", 460, 540, 430, 530),
    ("S460Q", "EN 1993-1-1", 460, 570, 440, 550),
    ("S235H", "EN 10210-1", 235, 360, 215, 340),
    ("S355H", "EN 10210-1", 355, 510, 335, 490),
    ("S460NH", "EN 10210-1", 460, 560, 430, 550),
]


@pytest.mark.parametrize(("name", "standard", "fy", "fu", "fy_thick", "fu_thick"), TABLE_3_1)
def test_nominal_strength_by_thickness(name, standard, fy, fu, fy_thick, fu_thick):
    """EN 1993-1-1:2005 Table 3.1, public copy."""
    steel = grade(name, standard=standard)
    assert (steel.yield_mpa(40), steel.ultimate_mpa(40)) == (fy, fu)
    assert (steel.yield_mpa(40.1), steel.ultimate_mpa(80)) == (fy_thick, fu_thick)
    assert steel.band(10).status == PUBLISHED


@pytest.mark.parametrize(
    ("thickness", "fy"), [(16, 355), (17, 345), (40, 345), (63, 335), (80, 325), (100, 315)]
)  # fmt: skip
def test_s355_by_its_product_standard(thickness, fy):
    """EN 10025-2, from memory."""
    assert grade("S355J2").yield_mpa(thickness) == fy
    assert grade("S355J2").band(thickness).status == FROM_MEMORY


@pytest.mark.parametrize(("name", "factor"), [("S235", 0.80), ("S275", 0.85), ("S355", 0.90), ("S420N", 1.0),
                                              ("S460M", 1.0)])  # fmt: skip
def test_fillet_factor(name, factor):
    """EN 1993-1-8:2005 Table 4.1, public copy."""
    assert grade(name).fillet_factor == factor
