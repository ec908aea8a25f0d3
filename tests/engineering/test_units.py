"""Quantities as people write them: read right, or refused with a word on what to write instead."""

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engineering import units
from engineering.errors import InputError


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("10 mm", 10),
        ("10mm", 10),
        ("10", 10),
        ("  10 mm ", 10),
        ("10\u00a0mm", 10),
        ("10,5 mm", 10.5),
        ("10.5", 10.5),
        (".5 in", 12.7),
        ("0,125 in", 3.175),
        ("1e3 mm", 1000),
        ("10 MM", 10),
        ("2 IN", 50.8),
        ("1.2 m", 1200),
        ("3/8 in", 9.525),
        ('3/8"', 9.525),
        ("3/8″", 9.525),
        ("1 1/2 in", 38.1),
        ('1-1/2"', 38.1),
        ("1½ in", 38.1),
        ('⅜"', 9.525),
        ("-3/8 in", -9.525),
        ("1/2 mm", 0.5),
        ("5'6\"", 1676.4),
        ("5' 6 1/2\"", 1689.1),
        ("5 ft 6 in", 1676.4),
        ("5'", 1524),
        ("1 200 mm", 1200),
        ("1.234,5 mm", 1234.5),
        ("1,234.5 mm", 1234.5),
        ("1,000,000 mm", 1e6),
        ("12'000 mm", 12000),
        ("0.25 inches", 6.35),
        ("6 thou", 0.1524),
        ("−5 mm", -5),
        (7, 7),
        (7.5, 7.5),
        (Decimal("7.5"), 7.5),
        (np.float64(7.5), 7.5),
        ("2 rod", 10058.4),
    ],
)
def test_a_length_is_read_as_it_is_meant(text, mm):
    assert units.parse_length_mm(text) == pytest.approx(mm, rel=1e-5 if text == "2 rod" else 1e-12)


def test_results_of_a_conversion_are_free_of_binary_dust():
    assert units.parse_length_mm("3/8 in") == 9.525
    assert units.parse_length_mm("1 1/2 in") == 38.1


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("", "empty"),
        ("   ", "empty"),
        ("thick", "10 mm"),
        ("12 ga", "gauge number"),
        ("12 GA", "gauge number"),
        ("16 swg", "gauge number"),
        ("1,000 mm", "1000 or 1.000"),
        ("10-12 mm", "more than one value"),
        ("10 to 12 mm", "more than one value"),
        ("10 ± 1 mm", "more than one value"),
        ("3/0 in", "divides by nothing"),
        ("10 kg", "not known for a length"),
        ("10 parsnips", "not known for a length"),
        ("5 mil", "thou"),
        ("NaN", "no number"),
        ("inf", "no number"),
        ("1e999", "too large"),
        ("10 mm 5", "no number"),
        ("~10 mm", "no number"),
        ("7 mm²", "not known for a length"),
        ("9" * 100, "too long"),
        (True, "no number"),
        (None, "no number"),
        (float("nan"), "finite"),
        (float("inf"), "finite"),
        ([1], "no number"),
        ("1,00,5", "no number"),
    ],
)
def test_what_cannot_be_read_is_refused_with_a_hint(text, hint):
    with pytest.raises(InputError, match="(?i)" + hint.replace(".", r"\.")) as caught:
        units.parse_length_mm(text, argument="wall")
    assert caught.value.argument == "wall"
    assert caught.value.code == "not_a_number"


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("355 N/mm²", "MPa", 355),
        ("355 mpa", "MPa", 355),
        ("0,21 GPa", "MPa", 210),
        ("5 N/cm^2", "MPa", 0.05),
        ("12 kN", "N", 12000),
        ("12 KN", "N", 12000),
        ("5 kN·m", "N mm", 5e6),
        ("2,5 t", "kg", 2500),
        ("2 weeks", "day", 14),
        ("36 h", "day", 1.5),
        ("30°", "deg", 30),
        ("850 µε", "microstrain", 850),
        ("20", "degC", 20),
        ("373.15 K", "degC", 100),
        ("-40 °F", "degC", -40),
        ("110 cm3", "mm3", 110_000),
    ],
)
def test_other_quantities_are_read_too(text, unit, value):
    assert units.parse(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "hint"),
    [
        ("355 mPa", "MPa", "write MPa"),
        ("3 lb", "N", "write lbf"),
        ("3 kg", "N", "kgf"),
        ("3 tons", "kg", "three"),
        ("3 months", "day", "write days"),
        ("12k", "1", "in full"),
        ("5 V", "degC", "not known"),
    ],
)
def test_a_unit_that_could_mislead_is_refused(text, unit, hint):
    with pytest.raises(InputError, match=hint):
        units.parse(text, unit)


def test_a_plain_number_takes_the_stated_default_unit():
    assert units.parse_length_mm("2", default_unit="in") == 50.8
    assert units.parse_length_mm(2, default_unit="in") == 50.8
    assert units.parse_length_mm("2 mm", default_unit="in") == 2
    assert units.parse_stress_mpa("50", default_unit="ksi") == pytest.approx(344.738, abs=1e-3)


def test_a_default_unit_that_is_not_of_the_sort_is_refused():
    with pytest.raises(InputError):
        units.parse_length_mm("2", default_unit="kg")


def test_an_unknown_wanted_unit_is_refused():
    with pytest.raises(InputError) as caught:
        units.parse("2", "furlongs")
    assert caught.value.argument == "unit"


@pytest.mark.parametrize("text", ["3/8", "1 1/2", "-3/8", "⅜", "1½"])
def test_a_fraction_without_a_unit_is_asked_about_where_it_was_hardly_meant_in_mm(text):
    with pytest.raises(InputError, match="could be inches or mm; write the unit") as caught:
        units.parse_length_mm(text)
    assert caught.value.code == "unit_needed"
    assert units.parse_length_mm(text, default_unit="in") == units.parse_length_mm(f"{text} in")


@pytest.mark.parametrize(
    ("text", "number"), [("12000", 12000), ("12,000", 12000), ("12 000 cycles", 12000), (12.0, 12), ("0", 0)]
)
def test_a_count_is_a_whole_number(text, number):
    found = units.parse_count(text)
    assert (found, type(found)) == (number, int)


@pytest.mark.parametrize("text", ["1.5", "-1", "twelve", "3/8"])
def test_a_count_that_is_not_whole_is_refused(text):
    with pytest.raises(InputError):
        units.parse_count(text)


@given(st.floats(-1e9, 1e9), st.sampled_from(["mm", "m", "in", "ft"]))
def test_a_written_number_with_its_unit_reads_back(number, unit):
    factor = {"mm": 1, "m": 1000, "in": 25.4, "ft": 304.8}[unit]
    assert units.parse_length_mm(f"{number!r} {unit}") == pytest.approx(number * factor, rel=1e-11)


@given(st.integers(0, 40), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_every_fraction_of_an_inch_reads_back(whole, top, bottom):
    text = f'{whole} {top}/{bottom}"' if whole else f'{top}/{bottom}"'
    assert units.parse_length_mm(text) == pytest.approx((whole + top / bottom) * 25.4, rel=1e-11)


def read(text: str) -> float | InputError:
    try:
        return units.parse(text, "mm", argument="length")
    except InputError as error:
        return error


@given(st.text(max_size=30))
def test_any_text_is_either_a_finite_number_or_a_named_error(text):
    found = read(text)
    assert found.argument == "length" if isinstance(found, InputError) else math.isfinite(found)
