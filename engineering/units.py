"""Quantities as people write them, turned into the internal units: the edge of the system, and nowhere else.

``3/8"``, ``1 1/2 in``, ``10mm``, ``10,5 mm``, ``1 200 kg``, ``355 N/mm²`` are read; whatever could mean two things
(``1,000 mm``, ``12 ga``, ``10-12 mm``) is refused with a word on what to write instead. Units met often are read from a
table here; any other goes to the library pint, which also checks that it is of the right sort.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from functools import cache, lru_cache
from typing import Any

from engineering.errors import InputError

INCH_MM = 25.4
POUND_KG = 0.45359237
GRAVITY = 9.80665  # m/s², the standard value behind kgf and lbf
_LBF_N = POUND_KG * GRAVITY
_PSI_MPA = _LBF_N / INCH_MM**2


@dataclass(frozen=True)
class _Quantity:
    """One sort of quantity: its name, internal unit, factors to it, and spellings that are refused with the reason."""

    name: str
    unit: str
    example: str
    factors: dict[str, float]
    refused: dict[str, str] = field(default_factory=dict)
    offsets: dict[str, float] = field(default_factory=dict)


# fmt: off
_LENGTHS = {
    "mm": 1.0, "millimetre": 1.0, "millimetres": 1.0, "millimeter": 1.0, "millimeters": 1.0,
    "cm": 10.0, "dm": 100.0, "m": 1000.0, "metre": 1000.0, "metres": 1000.0, "meter": 1000.0, "meters": 1000.0,
    "km": 1e6, "µm": 1e-3, "um": 1e-3, "micron": 1e-3, "microns": 1e-3,
    "in": INCH_MM, "inch": INCH_MM, "inches": INCH_MM, '"': INCH_MM, "in.": INCH_MM,
    "ft": 12 * INCH_MM, "foot": 12 * INCH_MM, "feet": 12 * INCH_MM, "'": 12 * INCH_MM, "yd": 36 * INCH_MM,
    "thou": INCH_MM / 1000,
}
_GAUGE = "a gauge number means another thickness for each material and standard; write the thickness, such as 2.66 mm"
_STRESSES = {
    "MPa": 1.0, "N/mm2": 1.0, "N/mm²": 1.0, "N/mm^2": 1.0, "MN/m2": 1.0, "MN/m²": 1.0, "GPa": 1e3, "kPa": 1e-3,
    "Pa": 1e-6, "kN/mm2": 1e3, "kN/mm²": 1e3, "kN/cm2": 10.0, "kN/cm²": 10.0, "bar": 0.1,
    "psi": _PSI_MPA, "ksi": 1000 * _PSI_MPA, "kgf/mm2": GRAVITY, "kgf/mm²": GRAVITY,
}
_TON = "a ton is three different things; write t (1000 kg), kg or lb"
_QUANTITIES = (
    _Quantity(
        "length", "mm", "10 mm or 3/8 in", _LENGTHS, {
            **dict.fromkeys(("ga", "gauge", "gage", "swg"), _GAUGE),
            "mil": "a mil is read in two ways; write thou or mm",
        }
    ),
    _Quantity("area", "mm2", "245 mm2", {"mm2": 1.0, "mm²": 1.0, "cm2": 100.0, "cm²": 100.0, "m2": 1e6, "m²": 1e6,
              "in2": INCH_MM**2, "in²": INCH_MM**2, "sq in": INCH_MM**2}),
    _Quantity("section modulus", "mm3", "110 cm3", {"mm3": 1.0, "mm³": 1.0, "cm3": 1e3, "cm³": 1e3, "in3": INCH_MM**3,
              "in³": INCH_MM**3}),
    _Quantity("second moment of area", "mm4", "856 cm4", {"mm4": 1.0, "mm⁴": 1.0, "cm4": 1e4, "cm⁴": 1e4,
              "in4": INCH_MM**4, "in⁴": INCH_MM**4}),
    _Quantity("stress", "MPa", "355 MPa or 50 ksi", _STRESSES, {"mPa": "mPa is a thousandth of a pascal; write MPa"}),
    _Quantity("force", "N", "12 kN", {"N": 1.0, "kN": 1e3, "MN": 1e6, "lbf": _LBF_N, "kip": 1000 * _LBF_N,
              "kips": 1000 * _LBF_N, "kgf": GRAVITY, "daN": 10.0},
              {"kg": "kg is a mass; write N, kN or kgf", "lb": "lb is a mass; write lbf",
               "lbs": "lbs is a mass; write lbf", "t": "t is a mass; write kN", "ton": "write kN"}),
    _Quantity("moment", "N mm", "5 kN m", {"N mm": 1.0, "Nmm": 1.0, "N m": 1e3, "Nm": 1e3, "kN m": 1e6, "kNm": 1e6,
              "lbf ft": _LBF_N * 12 * INCH_MM, "ft lbf": _LBF_N * 12 * INCH_MM, "ft lb": _LBF_N * 12 * INCH_MM,
              "lbf in": _LBF_N * INCH_MM, "kip in": 1000 * _LBF_N * INCH_MM, "kip ft": 12e3 * _LBF_N * INCH_MM}),
    _Quantity("mass", "kg", "1200 kg", {"kg": 1.0, "g": 1e-3, "t": 1e3, "tonne": 1e3, "tonnes": 1e3, "lb": POUND_KG,
              "lbs": POUND_KG}, {"ton": _TON, "tons": _TON}),
    _Quantity("count", "1", "12000", dict.fromkeys(("1", "cycle", "cycles", "count", "counts", "times", "rides",
              "lifts", "trips", "starts", "pcs", "off"), 1.0), {"k": "write the number in full, such as 12000"}),
    _Quantity("time", "day", "14 days", {"day": 1.0, "days": 1.0, "d": 1.0, "h": 1 / 24, "hour": 1 / 24,
              "hours": 1 / 24, "min": 1 / 1440, "week": 7.0, "weeks": 7.0},
              dict.fromkeys(("month", "months", "year", "years"), "months and years differ in length; write days")),
    _Quantity("angle", "deg", "30°", {"deg": 1.0, "°": 1.0, "degree": 1.0, "degrees": 1.0, "rad": 180 / math.pi}),
    _Quantity("strain", "microstrain", "850 microstrain", {"microstrain": 1.0, "µe": 1.0, "ue": 1.0, "µε": 1.0,
              "µm/m": 1.0, "um/m": 1.0, "%": 1e4}),
    _Quantity("temperature", "degC", "120 °C", {"degC": 1.0, "°C": 1.0, "C": 1.0, "degF": 5 / 9, "°F": 5 / 9,
              "F": 5 / 9, "K": 1.0}, offsets={"degF": -160 / 9, "°F": -160 / 9, "F": -160 / 9, "K": -273.15}),
)
# fmt: on
_BY_UNIT = {quantity.unit: quantity for quantity in _QUANTITIES}
_FAMILIAR_CASE = {  # one spelling in lower case may stand for the unit when no other reading exists
    quantity.unit: {
        name.casefold(): name
        for name in quantity.factors
        if sum(other.casefold() == name.casefold() for other in [*quantity.factors, *quantity.refused]) == 1
        or name == quantity.unit
    }
    for quantity in _QUANTITIES
}

_WRITTEN_IN_FRACTIONS = ("in", "inch", "inches", '"', "ft", "foot", "feet", "'")
_LONGEST = 60  # characters; a longer cell is no quantity
_UNIT_NAME = re.compile(r"[A-Za-zµ][A-Za-zµ0-9/^*² ³]{0,23}\Z")
_GLYPHS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_SAME = str.maketrans(
    {
        "″": '"',
        "”": '"',
        "“": '"',
        "′": "'",
        "’": "'",
        "μ": "µ",
        "−": "-",
        "–": "-",
        "⁄": "/",
        "·": " ",
        "⋅": " ",
        "*": " ",
        "\u00a0": " ",
        "\u202f": " ",
        "\u2009": " ",
    }
)
_PLAIN = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s+\-.,/][^\d]*[2-4]?)?\Z")
_FRACTION = re.compile(r"([+-]?)(?:(\d+)(?:\s+|\s*-\s*))?(\d+)\s*/\s*(\d+)\s*(\D*)\Z")
_FEET_INCHES = re.compile(r"(\d+)\s*(?:'|ft|feet|foot)\s*-?\s*(\d.*?)\s*(?:\"|''|in\.?|inch|inches)\Z")
_NUMBER_AND_REST = re.compile(r"([+-]?[\d.,' ]*\d[.]?(?:[eE][+-]?\d+)?)\s*(.*)\Z", re.DOTALL)
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:([ ,.'])\d{3})(?:\1\d{3})*(?:[.,]\d+)?\Z")


def parse(text: object, unit: str, *, argument: str = "value", default_unit: str | None = None) -> float:
    """The number in ``unit`` that ``text`` stands for.

    Args:
        text: what a person typed, or a number (then in ``default_unit``).
        unit: the unit wanted: mm, mm2, mm3, mm4, MPa, N, N mm, kg, 1 (a count), day, deg, microstrain, degC.
        argument: name put into the error.
        default_unit: unit of a plain number; None takes ``unit``.

    A decimal comma is read (``10,5``); ``1,000`` could mean two things and is refused, save for a count. A length
    written as a vulgar fraction without a unit (``3/8``) is read where the default is inches or feet; elsewhere it is
    refused (``unit_needed``): most who write so mean inches, and a guess may be wrong by 25 times. Results of a
    conversion carry 12 figures.

    Errors: ``InputError`` (``not_a_number``, ``unit_needed``) that says what to write instead.
    Example: ``parse("3/8 in", "mm")`` is 9.525.
    Source of factors: inch (25.4 mm), pound (0.45359237 kg) and gravity (9.80665 m/s²) are exact by NIST SP 811.
    """
    quantity = _quantity(unit)
    given = default_unit or unit
    if isinstance(text, str):
        if len(text) > _LONGEST:
            raise _refusal(argument, text[:20] + "...", quantity, "is too long for a quantity")
        return _parse_text(text, quantity.unit, argument, given)
    if isinstance(text, bool) or text is None:
        raise _refusal(argument, text, quantity, "is no number")
    try:
        number = float(text)  # type: ignore[arg-type]  # int, float, Decimal, numpy scalar; the rest raises
    except (TypeError, ValueError):
        raise _refusal(argument, text, quantity, "is no number") from None
    if not math.isfinite(number):
        raise _refusal(argument, text, quantity, "is no finite number")
    return _convert(number, given, quantity, argument, text)


def parse_length_mm(text: object, *, argument: str = "length", default_unit: str = "mm") -> float:
    """Length in mm; text, argument, default_unit as for ``parse``. Example: ``parse_length_mm("1 1/2 in")`` is 38.1."""
    return parse(text, "mm", argument=argument, default_unit=default_unit)


def parse_stress_mpa(text: object, *, argument: str = "stress", default_unit: str = "MPa") -> float:
    """Stress in MPa; text, argument, default_unit as for ``parse``. Example: ``"50 ksi"`` is 344.74."""
    return parse(text, "MPa", argument=argument, default_unit=default_unit)


def parse_force_n(text: object, *, argument: str = "force", default_unit: str = "N") -> float:
    """Force in N; text, argument, default_unit as for ``parse``. Example: ``"12 kN"`` is 12000."""
    return parse(text, "N", argument=argument, default_unit=default_unit)


def parse_mass_kg(text: object, *, argument: str = "mass", default_unit: str = "kg") -> float:
    """Mass in kg; text, argument, default_unit as for ``parse``. Example: ``"2,5 t"`` is 2500."""
    return parse(text, "kg", argument=argument, default_unit=default_unit)


def parse_count(text: object, *, argument: str = "count") -> int:
    """A whole number, 0 or more, from text such as ``12 000`` or ``12,000``; else ``InputError`` names ``argument``."""
    number = parse(text, "1", argument=argument)
    if number < 0 or number != int(number):
        raise InputError(argument, f"must be a whole number, 0 or more, got {text!r}", code="out_of_range")
    return int(number)


@lru_cache(maxsize=100_000)
def _parse_text(text: str, unit: str, argument: str, default_unit: str) -> float:
    quantity = _BY_UNIT[unit]
    simple = _PLAIN.match(text)
    if simple and (simple[2] is None or simple[2] in quantity.factors):
        return _convert(float(simple[1]), simple[2] or default_unit, quantity, argument, text)
    cleaned = _clean(text)
    if not cleaned:
        raise InputError(
            argument, f"is empty; write a number with its unit, such as {quantity.example}", code="not_a_number"
        )
    feet = _FEET_INCHES.match(cleaned) if unit == "mm" else None
    if feet:
        inches = _parse_text(feet[2], unit, argument, "in")
        return float(f"{float(feet[1]) * 12 * INCH_MM + inches:.12g}")
    fraction = _FRACTION.match(cleaned)
    if fraction:
        return _from_fraction(fraction, quantity, argument, text, default_unit)
    simple = _PLAIN.match(cleaned)
    if simple:
        return _convert(float(simple[1]), (simple[2] or default_unit).strip(), quantity, argument, text)
    return _from_written(cleaned, quantity, argument, text, default_unit)


def _clean(text: str) -> str:
    cleaned = text.translate(_SAME).strip()
    for glyph, plain in _GLYPHS.items():
        if glyph in cleaned:
            cleaned = cleaned.replace(glyph, f" {plain}").strip()
    return cleaned.replace("''", '"')


def _from_fraction(found: re.Match[str], quantity: _Quantity, argument: str, text: str, default_unit: str) -> float:
    sign, whole, top, bottom, rest = found.groups()
    if int(bottom) == 0:
        raise _refusal(argument, text, quantity, "divides by nothing")
    number = int(whole or 0) + int(top) / int(bottom)
    unit = rest.strip()
    if not unit:
        unit = default_unit
        if quantity.unit == "mm" and unit not in _WRITTEN_IN_FRACTIONS:
            reason = f"{text!r} could be inches or {unit}; write the unit, such as {text.strip()} in"
            raise InputError(argument, reason, code="unit_needed")
    return _convert(-number if sign == "-" else number, unit, quantity, argument, text)


def _from_written(cleaned: str, quantity: _Quantity, argument: str, text: str, default_unit: str) -> float:
    """Numbers with a decimal comma or with grouped thousands."""
    found = _NUMBER_AND_REST.match(cleaned)
    if not found:
        raise _refusal(argument, text, quantity, "is no number")
    written, unit = found[1].strip(), found[2].strip()
    if unit[:1] in ("-", "+", "±", "/", "~") or unit.casefold().startswith("to "):
        raise _refusal(argument, text, quantity, "is more than one value; give the one that counts")
    return _convert(_grouped(written, quantity, argument, text), unit or default_unit, quantity, argument, text)


def _grouped(written: str, quantity: _Quantity, argument: str, text: str) -> float:
    exponent = re.search(r"[eE][+-]?\d+\Z", written)
    tail = exponent[0] if exponent else ""
    digits = written[: len(written) - len(tail)]
    if digits.count(",") == 1 and "." not in digits and " " not in digits and "'" not in digits:
        whole, decimals = digits.split(",")
        if len(decimals) == 3 and whole.lstrip("+-").lstrip("0"):
            if quantity.unit == "1":
                return float(whole + decimals + tail)
            raise _refusal(argument, text, quantity, f"could be {whole}{decimals} or {whole}.{decimals}; write which")
        return float(f"{whole or '0'}.{decimals}{tail}")
    grouped = _GROUPED.match(digits)
    if grouped:
        separator = grouped[1]
        return float(digits.replace(separator, "").replace(",", ".") + tail)
    raise _refusal(argument, text, quantity, "is no number")


def _convert(number: float, unit: str, quantity: _Quantity, argument: str, text: object) -> float:
    factor = quantity.factors.get(unit)
    if factor is None:
        _refuse_known(unit, quantity, argument, text)
        unit = _FAMILIAR_CASE[quantity.unit].get(" ".join(unit.casefold().split()), unit)
        factor = quantity.factors.get(unit)
    if factor is None:
        _refuse_known(unit.casefold(), quantity, argument, text)
        factor = _factor_by_library(unit, quantity)
    if factor is None:
        raise _refusal(argument, text, quantity, f"has the unit {unit!r}, which is not known for a {quantity.name}")
    if factor == 1.0 and not quantity.offsets:
        result = number
    else:  # 12 figures: 3/8 in is 9.525 mm and not a hair less
        result = float(f"{number * factor + quantity.offsets.get(unit, 0.0):.12g}")
    if not math.isfinite(result):
        raise _refusal(argument, text, quantity, "is too large")
    return result


@cache
def _registry() -> Any:
    import pint  # only a unit outside the tables above pays for loading it

    return pint.UnitRegistry()


def _factor_by_library(unit: str, quantity: _Quantity) -> float | None:
    """Factor to the internal unit by pint, or None where it knows no such unit or it is of another sort."""
    wanted = {"deg": "degree", "1": "dimensionless"}.get(quantity.unit, quantity.unit)
    if quantity.offsets or quantity.unit == "microstrain" or not _UNIT_NAME.match(unit):
        return None
    import pint

    try:
        return float(_registry().Quantity(1.0, unit).to(wanted).magnitude)
    except (pint.PintError, AttributeError, ValueError, TypeError, ArithmeticError):
        return None


def _refuse_known(unit: str, quantity: _Quantity, argument: str, text: object) -> None:
    if unit in quantity.refused:
        raise _refusal(argument, text, quantity, f"cannot be read: {quantity.refused[unit]}")


def _quantity(unit: str) -> _Quantity:
    try:
        return _BY_UNIT[unit]
    except KeyError:
        raise InputError("unit", f"must be one of {', '.join(_BY_UNIT)}; got {unit!r}", code="unknown_row") from None


def _refusal(argument: str, text: object, quantity: _Quantity, why: str) -> InputError:
    reason = f"{text!r} {why}. Write a {quantity.name} such as {quantity.example}"
    return InputError(argument, reason, code="not_a_number")
