"""Carbon equivalents, preheat, heat input and cooling time against published figures.

EN 1011-1, EN 1011-2 (Annexes C and D) and EN 1090-2 read in public copies and worked examples; values marked
*computed* come from the published formula by another hand, so they check the working, not the formula.
"""

import pytest

from engineering.weld_heat import (
    Composition,
    carbon_equivalent,
    cet,
    cooling_time,
    governing_cet,
    heat_input_kj_mm,
    hold_before_inspection_h,
    preheat_c,
    shape_factors,
)

pytestmark = pytest.mark.published


def test_carbon_equivalent_of_a_published_steel():
    """Public worked example: C 0.23, Mn 1.35, V 0.11 gives CE 0.477."""
    assert round(carbon_equivalent(Composition(c=0.23, mn=1.35, v=0.11)), 3) == 0.477


@pytest.mark.parametrize(
    ("steel", "equivalent", "total"),
    [
        (Composition(c=0.16, mn=1.40, cr=0.10, mo=0.02, v=0.01, ni=0.10, cu=0.20), 0.43933, 0.31950),
        (Composition(c=0.20, mn=1.50), 0.45000, 0.35000),
        (Composition(c=0.12, mn=1.45, cr=0.05, mo=0.01, v=0.05, ni=0.30, cu=0.10), 0.41033, 0.28100),
    ],
)
def test_carbon_equivalents_computed(steel, equivalent, total):
    """Computed from IIW and EN 1011-2:2001 C.3.2.1."""
    assert carbon_equivalent(steel) == pytest.approx(equivalent, abs=5e-6)
    assert cet(steel) == pytest.approx(total, abs=5e-6)


def test_preheat_of_a_published_unit_test():
    """EN 1011-2 method B, a public unit test: CET 0.35, 20 mm, HD 5, Q 1.5 gives 87.3011 °C."""
    assert float(preheat_c(cet=0.35, thickness_mm=20, hydrogen_ml=5, heat_input_kj_mm=1.5)) == pytest.approx(
        87.3011, abs=5e-5
    )


def test_preheat_of_a_published_example_from_the_certificate_on():
    """Worked example: C .18 Mn 1.4 Cu .2 Ni .1, 31.75 mm, HD 5, 40 kJ/in at 0.8: CET .3325, Q 1.2598, 109.7 °C."""
    value = cet(Composition(c=0.18, mn=1.4, cu=0.2, ni=0.1))
    heat = 40 * 0.8 / 25.4
    assert round(value, 4) == 0.3325
    assert round(heat, 4) == 1.2598
    found = preheat_c(cet=value, thickness_mm=31.75, hydrogen_ml=5, heat_input_kj_mm=heat)
    assert round(float(found), 1) == 109.7


@pytest.mark.parametrize(
    ("value", "d", "hydrogen", "heat", "printed"),
    [
        (0.32, 30, 5, 1.0, 100.07), (0.34, 50, 5, 1.5, 139.53), (0.30, 20, 5, 1.0, 56.53), (0.38, 40, 10, 2.0, 182.40),
        (0.25, 15, 5, 1.0, 1.06), (0.34, 30, 5, 1.5, 108.1), (0.30, 20, 3, 1.0, 38.7), (0.40, 50, 8, 2.0, 200.2),
    ],
)  # fmt: skip
def test_preheat_computed(value, d, hydrogen, heat, printed):
    """Computed by others from EN 1011-2:2001 (C.8)."""
    found = preheat_c(cet=value, thickness_mm=d, hydrogen_ml=hydrogen, heat_input_kj_mm=heat)
    assert float(found) == pytest.approx(printed, abs=0.05)


def test_the_weld_metal_governs_where_the_parent_is_less_than_003_above_it():
    """EN 1011-2:2001 C.3, public copy."""
    assert float(governing_cet(0.32, 0.30)) == pytest.approx(0.33)
    assert float(governing_cet(0.36, 0.30)) == pytest.approx(0.36)


@pytest.mark.parametrize(
    ("process", "volt", "ampere", "speed", "printed"),
    [
        ("135", 24, 200, 4, 0.96), ("121", 30, 600, 10, 1.80), ("141", 12, 150, 2, 0.54), ("111", 25, 200, 5, 0.80),
        ("136", 28, 250, 400 / 60, 0.84), ("121", 30, 500, 500 / 60, 1.80), ("141", 12, 120, 100 / 60, 0.5184),
    ],
)  # fmt: skip
def test_heat_input_by_process(process, volt, ampere, speed, printed):
    """EN 1011-1 efficiencies (public copy); values computed."""
    found = heat_input_kj_mm(voltage_v=volt, current_a=ampere, speed_mm_s=speed, process=process)
    assert float(found) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(
    ("start", "heat", "thickness", "seconds", "transition", "flat"),
    [
        (20, 1.0, 40, 5.288, 14.659, False),  # 5.29 s also in a public copy
        (20, 1.0, 10, 11.364, 14.659, True),
        (100, 1.5, 15, 16.290, 19.179, True),
        (100, 1.5, 12, 25.45, 19.18, True),
        (100, 1.5, 40, 9.964, 19.179, False),
        (150, 2.0, 50, 15.692, 23.239, False),
        (150, 2.0, 20, 21.19, 23.24, True),
    ],
)
def test_cooling_time_and_transition_thickness(start, heat, thickness, seconds, transition, flat):
    """EN 1011-2:2001 Annex D; the first value copied, the others computed."""
    found = cooling_time(heat_input_kj_mm=heat, preheat_c=start, thickness_mm=thickness)
    assert float(found.seconds) == pytest.approx(seconds, abs=0.006)
    assert float(found.transition_mm) == pytest.approx(transition, abs=0.006)
    assert bool(found.two_dimensional) is flat


def test_shape_factors():
    """EN 1011-2:2001 Annex D, from memory; 0.45 to 0.67 of the fillet in a public copy."""
    tee = shape_factors("fillet at a tee")
    assert (tee["f2_low"], tee["f2_high"], tee["f3_low"]) == (0.45, 0.67, 0.67)
    assert shape_factors("between runs in a butt")["f2_low"] == 0.9


@pytest.mark.parametrize(
    ("strength", "size", "heat", "hours"),
    [(355, 6, 1, 0), (355, 8, 3, 8), (355, 8, 3.5, 16), (460, 12.1, 3, 16), (460, 20, 3.5, 24), (690, 10, 1, 48)],
)
def test_hold_time_before_the_last_look(strength, size, heat, hours):
    """EN 1090-2:2018 Table 23 (public copy); the last row AWS D1.1:2020 Table 8.1 (5) for A514 steel."""
    assert hold_before_inspection_h(yield_mpa=strength, size_mm=size, heat_input_kj_mm=heat) == hours
