"""Conversions against NIST SP 811 (2008), Appendix B.8, which prints seven figures."""

import pytest

from engineering import units

pytestmark = pytest.mark.published


@pytest.mark.parametrize(
    ("text", "unit", "printed"),
    [
        ("1 in", "mm", 25.4),
        ("1 ft", "mm", 304.8),
        ("1 thou", "mm", 0.0254),
        ("1 ksi", "MPa", 6.894757),
        ("1 psi", "MPa", 6.894757e-3),
        ("1 bar", "MPa", 0.1),
        ("1 kgf/mm2", "MPa", 9.80665),
        ("1 lbf", "N", 4.448222),
        ("1 kip", "N", 4.448222e3),
        ("1 kgf", "N", 9.80665),
        ("1 ft lbf", "N mm", 1.355818e3),
        ("1 lbf in", "N mm", 1.129848e2),
        ("1 lb", "kg", 0.4535924),
        ("1 oz", "kg", 2.834952e-2),
        ("1 in2", "mm2", 645.16),
        ("1 in3", "mm3", 1.638706e4),
        ("1 in4", "mm4", 4.162314e5),
        ("212 F", "degC", 100.0),
    ],
)
def test_conversion_factor_of_nist_sp_811(text, unit, printed):
    assert units.parse(text, unit) == pytest.approx(printed, rel=5e-7)
