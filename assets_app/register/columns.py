"""Which fields a register file can feed, and how the text of one cell becomes a value: a value, or a named error."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Field as Column
from django.db.models import Model

from assets_app.inspections.models import Method
from assets_app.register.models import Asset, BoltGroup, Joint, Member, Weld
from engineering import bolts, details, sections, steels, tables, units
from engineering.errors import InputError

TARGETS = ("asset", "member", "joint", "weld", "bolts", "programme")
MODELS: dict[str, type[Model]] = {"asset": Asset, "member": Member, "joint": Joint, "weld": Weld, "bolts": BoltGroup}
UNRATED = "Taken as written; what needs it stays unrated until it is known."
YES = frozenset({"yes", "y", "true", "1", "active", "x"})
NO = frozenset({"no", "n", "false", "0", "inactive"})
EARLIEST, LATEST = date(1800, 1, 1), date(2200, 12, 31)


class CellError(ValueError):
    """A cell that cannot be taken: ``what`` is wrong with it and what to ``do``."""

    def __init__(self, what: str, do: str) -> None:
        super().__init__(f"{what} {do}")
        self.what, self.do = what, do


@dataclass(frozen=True)
class Ways:
    """How the cells of one column are written: unit of a plain number, date formats, pivot, parts joined to a date."""

    unit: str = ""
    formats: tuple[str, ...] = ("%Y-%m-%d",)
    pivot: int | None = None
    dated: int = 0  # the cell is this many parts (year, month, day) joined by a slash


@dataclass(frozen=True)
class Taken:
    """A value and, where it is taken with care, a word of warning."""

    value: Any
    warning: str = ""


Reader = Callable[[str, Ways], Any]


@dataclass(frozen=True)
class Field:
    """One field that a file can feed: how it is read, and the table's column that has the last word."""

    name: str
    read: Reader
    column: Column[Any, Any] | None = None
    unit: str = ""
    help: str = ""
    needed: bool = False  # of a list: no row can do without it

    def take(self, text: str, ways: Ways) -> Taken:
        """The value of a cell that is not empty. Raises ``CellError``."""
        if "\x00" in text:
            raise CellError("The cell holds a NUL character.", "Type it anew.")
        found = self.read(text, ways)
        taken = found if isinstance(found, Taken) else Taken(found)
        if self.column is not None:
            try:
                self.column.run_validators(taken.value)
            except ValidationError as error:
                raise CellError(f"{_shown(text)}: {' '.join(error.messages)}", "Correct the cell.") from error
        return taken


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")


def _reason(text: str, error: InputError) -> str:
    """What the engineering floor says of the text, with the text in it once."""
    said = error.reason.rstrip(".") + "."
    return said if said.startswith(("'", '"')) else f"{_shown(text)}: {said}"


# Readers --------------------------------------------------------------------------------------------------------------


def _text(text: str, ways: Ways) -> str:
    return text


def _word(column: Column[Any, Any], also: dict[str, str] | None = None) -> Reader:
    """One of the choices of a column, by its value or its label, in any case."""
    choices = list(column.flatchoices)
    known = {str(label).casefold(): value for value, label in choices}
    known |= {str(value).casefold(): value for value, _ in choices} | (also or {})
    offered = ", ".join(str(value) for value, _ in choices)

    def read(text: str, ways: Ways) -> str:
        value = known.get(text.casefold())
        if value is None:
            raise CellError(f"{_shown(text)} is none of {offered}.", "Use one of them, or map the word to one.")
        return value

    return read


def _quantity(unit: str, factor: float = 1.0) -> Reader:
    def read(text: str, ways: Ways) -> float:
        try:
            return units.parse(text, unit, default_unit=ways.unit or None) * factor
        except InputError as error:
            raise CellError(
                f"{_shown(text)}: {error.reason}.", "Correct the cell or the unit in the mapping."
            ) from error

    return read


def _whole(text: str) -> int:
    try:
        return units.parse_count(text)
    except InputError as error:
        raise CellError(_reason(text, error), "Write a whole number.") from error


def _count(text: str, ways: Ways) -> int:
    number = _whole(text)
    if number > 32_000:
        raise CellError(f"{_shown(text)} is too large.", "Check the column.")
    return number


def _number(low: float, high: float) -> Reader:
    def read(text: str, ways: Ways) -> float:
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            value = float("nan")
        if not low <= value <= high:
            raise CellError(f"{_shown(text)} is no number from {low:g} to {high:g}.", "Write degrees, such as 51.25.")
        return value

    return read


def _money(text: str, ways: Ways) -> Decimal:
    plain = re.sub(r"[\s']", "", text)
    if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d+)?", plain):
        plain = plain.replace(",", "")
    try:
        value = Decimal(plain).quantize(Decimal("0.01")) if re.fullmatch(r"\d+(\.\d+)?", plain) else None
    except InvalidOperation:
        value = None
    if value is None:
        raise CellError(f"{_shown(text)} is no sum of money.", "Write 12500 or 12,500.00 without a currency sign.")
    return value


def _flag(text: str, ways: Ways) -> bool:
    if text.casefold() in YES | NO:
        return text.casefold() in YES
    raise CellError(f"{_shown(text)} is neither yes nor no.", "Write yes or no.")


def _positions(text: str, ways: Ways) -> list[list[float]]:
    """Coordinates in mm: ``[[0, 0], [60, 0]]`` or ``0 0; 60 0``."""
    try:
        pairs = json.loads(text) if text.startswith("[") else [pair.split() for pair in text.split(";")]
        points = [[float(x), float(y)] for x, y in pairs]
        if not all(abs(value) < 1e6 for point in points for value in point):
            raise ValueError
    except (ValueError, TypeError, RecursionError, OverflowError) as error:
        raise CellError(f"{_shown(text)} is no list of positions.", "Write 0 0; 60 0; 60 80 in mm.") from error
    return points


def read_date(text: str, ways: Ways) -> date:
    """A day by the formats of the mapping, two-digit years by its pivot; where ``ways.dated``, year/month/day."""
    found = _from_parts(text, ways) if ways.dated else _from_formats(text, ways)
    if not EARLIEST <= found <= LATEST:
        raise CellError(f"{_shown(text)} is the year {found.year}.", "Check the cell.")
    return found


def _from_parts(text: str, ways: Ways) -> date:
    parts = text.split("/")
    if not all(re.fullmatch(r"[0-9]{1,4}", part) for part in parts):
        raise CellError(f"{_shown(text)} is no year, month and day in figures.", "Write 2016, 7 and 31.")
    year, month, day = (int(part) for part in (*parts, "1", "1")[:3])
    if len(parts[0]) <= 2:
        year = _full_year(year, text, ways)
    try:
        return date(year, month, day)
    except ValueError as error:
        raise CellError(f"Year/month/day {_shown(text)} is no day: {error}.", "Correct the cell.") from error


def _from_formats(text: str, ways: Ways) -> date:
    plain = text.removesuffix(" 00:00:00")
    for form in ways.formats:
        try:
            found = datetime.strptime(plain, form).date()  # noqa: DTZ007  # a day, not a moment
        except ValueError as error:
            if "day is out of range" in str(error):
                raise CellError(f"{_shown(text)} is no day of the calendar.", "Correct the cell.") from error
            continue
        try:
            return found.replace(year=_full_year(found.year % 100, text, ways)) if "%y" in form else found
        except ValueError as error:
            raise CellError(f"{_shown(text)} is no day.", "Correct the cell.") from error
    known = ", ".join(date(2026, 3, 31).strftime(form) for form in ways.formats)
    raise CellError(
        f"{_shown(text)} is not written like {known}.",
        "Write 2026-03-31, or name the format in [dates] of the mapping.",
    )


def _full_year(two_digits: int, text: str, ways: Ways) -> int:
    if ways.pivot is None:
        raise CellError(f"{_shown(text)} has a two-digit year.", "Give a pivot in [dates] of the mapping.")
    return two_digits + (2000 if two_digits <= ways.pivot else 1900)


def _detail(text: str, ways: Ways) -> str:
    try:
        details.detail(text)
    except InputError as error:
        raise CellError(
            f"There is no detail {_shown(text)} in the catalogue.", "Use a row id of the catalogue, or leave it empty."
        ) from error
    return text


def _known_or_warned(look_up: Callable[[str], Any], what: str) -> Reader:
    """Taken as written; a word of warning where ``look_up`` does not know it."""

    def read(text: str, ways: Ways) -> Taken:
        try:
            look_up(text)
        except InputError:
            return Taken(text, f"{what} {_shown(text)} is not known here. {UNRATED}")
        return Taken(text)

    return read


def _process(text: str, ways: Ways) -> Taken:
    if not re.fullmatch(r"[1-9][0-9]{0,2}(\.[0-9])?", text):
        raise CellError(f"{_shown(text)} is no process number.", "Write the ISO 4063 number, such as 111 or 135.")
    known = text in tables.load("process_efficiency").rows
    return Taken(text, "" if known else f"Process {text} has no heat efficiency here. {UNRATED}")


def _quality(text: str, ways: Ways) -> str:
    if text.upper() not in ("B", "C", "D"):
        raise CellError(f"{_shown(text)} is no quality level.", "ISO 5817 has B, C and D.")
    return text.upper()


# The fields -----------------------------------------------------------------------------------------------------------

_LENGTH, _STRESS, _FORCE = _quantity("mm"), _quantity("MPa"), _quantity("N", 0.001)
_METHODS = {label.rpartition(" (")[0]: value for value, label in Method.choices}
_SPECIAL: dict[tuple[str, str], tuple[Reader, str]] = {
    ("asset", "latitude"): (_number(-90, 90), ""),
    ("asset", "longitude"): (_number(-180, 180), ""),
    ("asset", "replacement_value"): (_money, ""),
    ("member", "section"): (_known_or_warned(sections.parse, "Section"), ""),
    ("member", "steel_grade"): (_known_or_warned(steels.grade, "Steel grade"), ""),
    ("weld", "detail"): (_detail, ""),
    ("weld", "process"): (_process, ""),
    ("weld", "quality_level"): (_quality, ""),
    ("weld", "detail_category_mpa"): (_STRESS, "stress"),
    ("bolts", "detail"): (_detail, ""),
    ("bolts", "size"): (_known_or_warned(bolts.size, "Bolt size"), ""),
    ("bolts", "property_class"): (_known_or_warned(bolts.property_class, "Property class"), ""),
    ("bolts", "preload_kn"): (_FORCE, "force"),
    ("bolts", "positions"): (_positions, ""),
}
_LEFT_OUT = {"id", "site", "asset", "joint", "member", "other_member"}
_ALSO = {("joint", "kind"): {"welded": "weld", "bolt": "bolted", "bolts": "bolted"}}


def field_of(target: str, column: Column[Any, Any]) -> Field:
    """How a column of a table is read from a file."""
    special = _SPECIAL.get((target, column.name))
    if special:
        return Field(column.name, special[0], column, special[1])
    kind = column.get_internal_type()
    if column.choices:
        return Field(column.name, _word(column, _ALSO.get((target, column.name))), column)
    if kind == "FloatField":
        return Field(column.name, _LENGTH, column, "length")
    readers = {"DateField": read_date, "BooleanField": _flag, "PositiveIntegerField": _count}
    readers["PositiveSmallIntegerField"] = _count
    return Field(column.name, readers.get(kind, _text), column)


def _fields_of(target: str) -> dict[str, Field]:
    columns = MODELS[target]._meta.concrete_fields
    return {column.name: field_of(target, column) for column in columns if column.name not in _LEFT_OUT}


def read_method(text: str, ways: Ways) -> str:
    value = text.upper() if text.upper() in Method.values else _METHODS.get(text.casefold())
    if value is None:
        raise CellError(f"{_shown(text)} is no method.", f"Use one of {', '.join(Method.values)}.")
    return value


def _months(text: str, ways: Ways) -> int:
    months = _count(text, ways)
    if not 1 <= months <= 1200:
        raise CellError(f"{_shown(text)} months is no interval.", "Write 1 to 1200 months.")
    return months


def _duty(text: str, ways: Ways) -> float:
    count = _whole(text)
    if not 1 <= count <= MOST_COUNTS:
        raise CellError(f"{_shown(text)} is no count between looks.", f"Write 1 to {MOST_COUNTS} of the counter.")
    return float(count)


def _document(text: str, ways: Ways) -> str:
    if len(text) > 200:
        raise CellError("The source is longer than 200 characters.", "Shorten it.")
    return text


def _member_tag(text: str, ways: Ways) -> str:
    if len(text) > 64:
        raise CellError(f"{_shown(text)} is longer than 64 characters.", "Shorten it.")
    return text


MOST_COUNTS = 10**12  # between two looks
FIELDS: dict[str, dict[str, Field]] = {target: _fields_of(target) for target in MODELS}
FIELDS["joint"] |= {name: Field(name, _member_tag) for name in ("member", "other_member")}
FIELDS["programme"] = {
    "method": Field("method", read_method),
    "calendar_months": Field("calendar_months", _months),
    "duty_count": Field("duty_count", _duty),
    "last_look_on": Field("last_look_on", read_date),
    "source": Field("source", _document),
}
