"""A mapping file (TOML): which column feeds which field, and how words, dates and doubled rows are taken.

The format is told in docs/import.md. Without a mapping, headings named like our fields are taken.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from assets_app.refusals import Unprocessable
from assets_app.register.columns import FIELDS, TARGETS, Field

TABLES = {"about", "empty", "dates", "units", "doubled", "file", *TARGETS}
SOURCE_KEYS = {"column", "columns", "join", "value", "values", "words", "unit", "year", "month", "day"}
EMPTY_WORDS = ("", "-", "–", "n/a", "#n/a", "null", "none", "?")
DEFAULT_FORMATS = ("%Y-%m-%d", "%Y/%m/%d", "%d %B %Y", "%d %b %Y")
FIRST_DAY = (
    "Dates given without a day are taken as the first of the month, without a month as 1 January: the early side."
)


@dataclass(frozen=True)
class Source:
    """Where one field comes from: columns joined by ``join``, or a constant, or year, month and day columns."""

    columns: tuple[str, ...] = ()
    join: str = " "
    constant: str | None = None
    values: dict[str, str] = field(default_factory=dict)
    words: str = ""
    unit: str = ""
    dated: bool = False  # columns are year, month, day in this order


@dataclass(frozen=True)
class Mapping:
    """A checked mapping. ``programmes``: one dict of sources for each method owed by a row."""

    targets: dict[str, dict[str, Source]]
    programmes: tuple[dict[str, Source], ...] = ()
    empty: frozenset[str] = frozenset(EMPTY_WORDS)
    formats: tuple[str, ...] = DEFAULT_FORMATS
    pivot: int | None = None
    units: dict[str, str] = field(default_factory=dict)
    number_doubled: bool = False
    sheet: str = ""

    def columns(self) -> set[str]:
        """Every column that feeds something."""
        tables = [*self.targets.values(), *self.programmes]
        return {name for table in tables for source in table.values() for name in source.columns}


def _wrong(message: str) -> Unprocessable:
    return Unprocessable("mapping_wrong", message, field="mapping")


def parse(text: str) -> dict[str, Any]:
    """The tables of a mapping file; an empty text is an empty mapping. Refusal: ``mapping_wrong``."""
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise _wrong(f"The mapping is no TOML: {error}.") from error
    return _plain(data)


def _plain(data: Any) -> Any:
    """TOML knows dates; what is kept with the import is JSON."""
    if isinstance(data, dict):
        return {key: _plain(value) for key, value in data.items()}
    if isinstance(data, list):
        return [_plain(value) for value in data]
    return data.isoformat() if isinstance(data, date | datetime) or hasattr(data, "isoformat") else data


def build(data: dict[str, Any], headings: Iterable[str]) -> Mapping:
    """A mapping from its tables, checked against the headings of the file. Refusal: ``mapping_wrong``, naming what."""
    if not isinstance(data, dict):
        raise _wrong("A mapping holds tables such as [asset] and [joint].")
    _known("the mapping", data, TABLES)
    targets = {name: _table(name, data[name], FIELDS[name]) for name in TARGETS if name != "programme" and name in data}
    programmes = data.get("programme", [])
    programmes = programmes if isinstance(programmes, list) else [programmes]
    owed = tuple(_table("programme", table, FIELDS["programme"]) for table in programmes)
    if not targets and not owed:
        targets, owed = _by_heading(headings)
    return _checked(_with_ways(data, targets, owed), set(headings))


def build_list(data: dict[str, Any], headings: Iterable[str], thing: str, fields: dict[str, Field]) -> Mapping:
    """The mapping of a list whose rows are each one ``thing``: from its table, or from headings named like its fields.

    Refusal: ``mapping_wrong``, naming what.
    """
    if not isinstance(data, dict):
        raise _wrong(f"A mapping holds tables such as [{thing}].")
    _known("the mapping", data, {"about", "empty", "dates", "file", thing})
    table = _table(thing, data[thing], fields) if thing in data else {}
    headings = list(headings)
    for heading in () if table else headings:
        name = plain_heading(heading).removeprefix(f"{thing}_")
        name = plain_heading(heading) if plain_heading(heading) in fields else name
        if name in table:
            raise _wrong(f"Two columns would feed {name}: {table[name].columns[0]} and {heading}.")
        if name in fields:
            table[name] = Source(columns=(heading,))
    built = _with_ways(data, {thing: table}, ())
    _check_columns(built, set(headings))
    if missing := [name for name, field in fields.items() if field.needed and name not in table]:
        raise _wrong(f"The first row must name {', '.join(missing)}; it names {', '.join(filter(None, headings))}.")
    return built


def _with_ways(
    data: dict[str, Any], targets: dict[str, dict[str, Source]], owed: tuple[dict[str, Source], ...]
) -> Mapping:
    """With how words, dates, units and doubled rows are taken."""
    dates, empty = _part(data, "dates", {"formats", "pivot"}), _part(data, "empty", {"words"})
    doubled, file = _part(data, "doubled", {"same_key"}), _part(data, "file", {"sheet"})
    if doubled.get("same_key", "refuse") not in ("refuse", "number"):
        raise _wrong("same_key in [doubled] is refuse or number.")
    units = _part(data, "units", {"length", "stress", "force"})
    return Mapping(
        targets=targets,
        programmes=owed,
        empty=frozenset(w.casefold() for w in (*EMPTY_WORDS, *_texts("words in [empty]", empty.get("words", [])))),
        formats=tuple(_texts("formats in [dates]", dates.get("formats", []))) + DEFAULT_FORMATS,
        pivot=_pivot(dates.get("pivot")),
        units={name: str(unit) for name, unit in units.items()},
        number_doubled=doubled.get("same_key") == "number",
        sheet=str(file.get("sheet", "")),
    )


def _checked(built: Mapping, headings: set[str]) -> Mapping:
    _check_columns(built, headings)
    if "tag" not in built.targets.get("asset", {}):
        raise _wrong("Nothing says which asset a row belongs to: name a column for tag in [asset] (heading asset_tag).")
    for target in ("member", "joint"):
        if target in built.targets and "tag" not in built.targets[target]:
            raise _wrong(f"[{target}] needs a tag, or nothing tells one {target} from the next.")
    needs_joint = [t for t in ("weld", "bolts") if t in built.targets] + ["programme"] * bool(built.programmes)
    if needs_joint and "joint" not in built.targets:
        raise _wrong(f"[{needs_joint[0]}] belongs to a joint: name its tag in [joint] (heading joint_tag).")
    if any("method" not in table for table in built.programmes):
        raise _wrong("[[programme]] needs a method, such as VT.")
    return built


def _check_columns(built: Mapping, headings: set[str]) -> None:
    missing = sorted(built.columns() - headings)
    if missing:
        known = ", ".join(sorted(filter(None, headings)))
        raise _wrong(f"The file has no column {', '.join(missing)}; it has {known}.")
    if built.pivot is None and any("%y" in form for form in built.formats):
        raise _wrong("Two-digit years need a pivot in [dates]: with pivot = 40, 40 is 2040 and 41 is 1941.")


def _known(where: str, table: Any, names: Iterable[str]) -> None:
    if not isinstance(table, dict):
        raise _wrong(f"{where} must be a table.")
    unknown = sorted(set(table) - set(names))
    if unknown:
        raise _wrong(f"{where} cannot have {', '.join(unknown)}; it can have {', '.join(sorted(names))}.")


def _part(data: dict[str, Any], name: str, keys: set[str]) -> dict[str, Any]:
    part = data.get(name, {})
    _known(f"[{name}]", part, keys)
    return dict(part)


def _texts(where: str, value: Any) -> list[str]:
    if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
        raise _wrong(f"{where} must be a list of words.")
    return value


def _pivot(value: Any) -> int | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 99:
        raise _wrong("pivot in [dates] is a two-digit year, 0 to 99.")
    return value


def _table(target: str, table: Any, fields: dict[str, Field]) -> dict[str, Source]:
    _known(f"[{target}]", table, fields)
    return {name: _source(f"{target}.{name}", given) for name, given in table.items()}


def _source(where: str, given: Any) -> Source:
    if isinstance(given, str):
        return Source(columns=(given,))
    if not isinstance(given, dict):
        raise _wrong(f'{where} is a column name, or a table such as {{ value = "weld" }}.')
    _known(where, given, SOURCE_KEYS)
    ways = [key for key in ("column", "columns", "value", "year") if key in given]
    if len(ways) != 1:
        raise _wrong(f"{where} needs one of column, columns, value or year; it has {' and '.join(ways) or 'none'}.")
    values = given.get("values", {})
    _known(f"values of {where}", values, values if isinstance(values, dict) else ())
    common = {
        "values": {str(key).casefold(): str(value) for key, value in values.items()},
        "words": str(given.get("words", "")),
        "unit": str(given.get("unit", "")),
    }
    if common["words"] and "{}" not in common["words"]:
        raise _wrong(f"words of {where} must hold {{}} where the cell goes.")
    if "value" in given:
        return Source(constant=str(given["value"]), **common)
    if "year" in given:
        parts = [given[key] for key in ("year", "month", "day") if key in given]
        if not all(isinstance(part, str) for part in parts) or ("day" in given and "month" not in given):
            raise _wrong(f"{where} takes columns for year, month and day, in that order.")
        return Source(columns=tuple(parts), dated=True, **common)
    columns = given.get("columns", [given.get("column")])
    if not isinstance(columns, list) or not columns or not all(isinstance(each, str) for each in columns):
        raise _wrong(f"{where}: columns is a list of column names.")
    return Source(columns=tuple(columns), join=str(given.get("join", " ")), **common)


def plain_heading(heading: str) -> str:
    """``Weld leg (mm)`` and ``weld.leg_mm`` are one heading: ``weld_leg_mm``."""
    return re.sub(r"[^a-z0-9]+", "_", heading.casefold()).strip("_")


def _by_heading(headings: Iterable[str]) -> tuple[dict[str, dict[str, Source]], tuple[dict[str, Source], ...]]:
    """Headings named like our fields, with or without the unit: ``asset_tag``, ``weld_leg`` or ``weld_leg_mm``."""
    names = {}
    for target, fields in FIELDS.items():
        for name in fields:
            names[f"{target}_{name}"] = (target, name)
            names.setdefault(f"{target}_{re.sub('_(mm|mpa|kn)$', '', name)}", (target, name))
    found: dict[str, dict[str, Source]] = {}
    for heading in headings:
        where = names.get(plain_heading(heading))
        if where is None:
            continue
        target, name = where
        if name in found.setdefault(target, {}):
            raise _wrong(f"Two columns would feed {target}_{name}: {found[target][name].columns[0]} and {heading}.")
        found[target][name] = Source(columns=(heading,))
    programme = found.pop("programme", None)
    return found, (programme,) if programme else ()
