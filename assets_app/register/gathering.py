"""From rows of text to what the file says of each asset, member, joint and programme; every problem by row and column.

Pure: no database, no clock. What the register already holds is compared in ``comparing.py``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any, NamedTuple

from assets_app.refusals import Unprocessable
from assets_app.register.columns import FIELDS, CellError, Field, Ways
from assets_app.register.mapping import FIRST_DAY, Mapping, Source
from assets_app.register.reading import Sheet

LISTED = 1000  # problems kept word by word; the rest is counted
STEP = 5000  # rows between two words of progress
UNITS = {"length": "mm", "stress": "MPa", "force": "kN"}
Key = tuple[str, ...]


@dataclass
class Problems:
    """Errors or warnings: the first ones in full, all of them counted."""

    listed: list[dict[str, Any]] = field(default_factory=list)
    total: int = 0
    rows: set[int] = field(default_factory=set)

    def add(self, row: int, column: str, value: Any, what: str, do: str) -> None:
        self.total += 1
        self.rows.add(row)
        if len(self.listed) < LISTED:
            shown = "" if value is None else str(value)[:120]
            self.listed.append({"row": row, "column": column, "value": shown, "what": what, "do": do})


@dataclass
class Given:
    """What the file says of one thing, and the row that says it first."""

    row: int
    values: dict[str, Any]


@dataclass
class Plan:
    """All that the file says. Keys: (asset,), (asset, member), (asset, joint), (asset, joint, method)."""

    things: dict[str, dict[Key, Given]]
    errors: Problems = field(default_factory=Problems)
    warnings: Problems = field(default_factory=Problems)
    notes: list[str] = field(default_factory=list)
    rows: int = 0
    doubled: int = 0
    feeds: dict[tuple[str, str], str] = field(default_factory=dict)  # (target, field) -> column in words

    def column(self, target: str, name: str) -> str:
        return self.feeds.get((target, name), f"{target}_{name}")


class Reading(NamedTuple):
    """The text made of a row's cells, and its value, or what is wrong with it."""

    text: str
    value: Any
    error: CellError | None
    warning: str


class MappedColumn:
    """One mapped field."""

    def __init__(self, target: str, found: Field, source: Source, mapping: Mapping, places: dict[str, int]) -> None:
        self.target, self.name, self.field, self.source = target, found.name, found, source
        self.places = [places[name] for name in source.columns]
        self.empty = mapping.empty
        unit = source.unit or (mapping.units.get(found.unit) or UNITS.get(found.unit, "") if found.unit else "")
        self.ways = Ways(unit, mapping.formats, mapping.pivot, len(source.columns) if source.dated else 0)
        self.words = " + ".join(source.columns) or "(a constant of the mapping)"
        self.place = self.places[0] if len(self.places) == 1 else None
        self.known: dict[Any, Reading | None] = {}

    def read(self, cells: list[str]) -> Reading | None:
        """What the row says here; None where it says nothing. Worked out once for each cell or set of cells."""
        key = cells[self.place] if self.place is not None else tuple([cells[place] for place in self.places])
        if key not in self.known:
            text = self._text([cells[place] for place in self.places])
            self.known[key] = self._value(text) if text else None
        return self.known[key]

    def constant(self) -> Reading | None:
        """What a constant of the mapping says; None where cells say it."""
        return self._value(self.source.constant) if self.source.constant is not None else None

    def _text(self, cells: list[str]) -> str:
        if self.source.constant is not None:
            return self.source.constant
        parts = [self._plain(cell) for cell in cells]
        if self.source.dated:
            if not parts[0]:
                return ""
            return "/".join(parts[: next((k for k, part in enumerate(parts) if not part), len(parts))])
        joined = self.source.join.join(part for part in parts if part)
        return self.source.words.replace("{}", joined) if joined and self.source.words else joined

    def _plain(self, cell: str) -> str:
        folded = cell.casefold()
        if self.source.values and folded in self.source.values:
            return self.source.values[folded]
        return "" if folded in self.empty else cell

    def _value(self, text: str) -> Reading:
        try:
            taken = self.field.take(text, self.ways)
        except CellError as error:
            return Reading(text, None, error, "")
        return Reading(text, taken.value, None, taken.warning)


def gather(sheet: Sheet, mapping: Mapping, *, today: date, progress: Callable[[int], None] = lambda rows: None) -> Plan:
    """Read every row. ``today`` is the site's day; ``progress`` is told how many rows are done, every ``STEP`` rows."""
    places = {name: place for place, name in enumerate(sheet.headings) if name}
    columns = {
        target: [MappedColumn(target, FIELDS[target][name], source, mapping, places) for name, source in table.items()]
        for target, table in mapping.targets.items()
    }
    owed = [
        [
            MappedColumn("programme", FIELDS["programme"][name], source, mapping, places)
            for name, source in table.items()
        ]
        for table in mapping.programmes
    ]
    every = [column for group in (*columns.values(), *owed) for column in group]
    check_constants(every)
    plan = Plan({target: {} for target in FIELDS}, rows=len(sheet.rows), notes=list(sheet.notes))
    plan.feeds = {(column.target, column.name): column.words for column in every}
    say_what_was_assumed(plan, sheet, mapping, every)
    reader = _Rows(plan, columns, owed, today, len(sheet.headings), number=mapping.number_doubled)
    for done, (row, cells) in enumerate(sheet.rows, start=1):
        reader.take(row, cells)
        if done % STEP == 0:
            progress(done)
    progress(len(sheet.rows))
    return plan


def check_constants(columns: list[MappedColumn]) -> None:
    for column in columns:
        said = column.constant()
        if said and said.error:
            where = f"{column.target}.{column.name}"
            raise Unprocessable("mapping_wrong", f"The value of {where}: {said.error}", field="mapping")


def say_what_was_assumed(plan: Plan, sheet: Sheet, mapping: Mapping, columns: list[MappedColumn]) -> None:
    unread = [name for name in sheet.headings if name and name not in mapping.columns()]
    if unread:
        plan.notes.append(f"Columns not read: {', '.join(unread)}.")
    if any(column.ways.dated and column.ways.dated < 3 for column in columns):
        plan.notes.append(FIRST_DAY)
    if mapping.pivot is not None:
        first, last = mapping.pivot, mapping.pivot + 1
        plan.notes.append(
            f"Two-digit years up to {first:02d} are taken as 20{first:02d}, from {last:02d} as 19{last:02d}."
        )
    units = sorted({f"{column.field.unit} in {column.ways.unit}" for column in columns if column.field.unit})
    if units:
        plan.notes.append(f"Figures without a unit are taken as {', '.join(units)}.")


def stands_alone(plan: Plan, seen: dict[tuple[str, ...], int], row: int, cells: list[str], width: int) -> bool:
    """Whether the row fits the headings and is not the same as one before it; what is wrong is told to the plan."""
    if len(cells) > width and any(cells[width:]):
        plan.errors.add(
            row, "", cells[width], f"The row has {len(cells)} cells under {width} headings.",
            "Put a text that holds the delimiter into double quotes, or name the column.",
        )  # fmt: skip
        return False
    first = seen.setdefault(tuple(cells), row)
    if first != row:
        plan.doubled += 1
        plan.warnings.add(
            row, "", "", f"The same as row {first} in every cell; the two were merged into one.",
            "If they are two things, give each its own tag.",
        )  # fmt: skip
    return first == row


def read_cells(plan: Plan, row: int, cells: list[str], group: list[MappedColumn]) -> dict[str, Any]:
    """The values that the row gives to the fields; a cell that cannot be taken is told to the plan and left out."""
    values = {}
    for column in group:
        said = column.read(cells)
        if said is None:
            continue
        if said.error:
            plan.errors.add(row, column.words, said.text, said.error.what, said.error.do)
            continue
        if said.warning:
            plan.warnings.add(row, column.words, said.text, said.warning, "Check the spelling.")
        values[column.name] = said.value
    return values


class _Rows:
    """Takes row after row into the plan."""

    def __init__(
        self,
        plan: Plan,
        columns: dict[str, list[MappedColumn]],
        owed: list[list[MappedColumn]],
        today: date,
        width: int,
        *,
        number: bool,
    ) -> None:
        self.plan, self.columns, self.owed, self.today, self.width, self.number = (
            plan, columns, owed, today, width, number,
        )  # fmt: skip
        self.seen: dict[tuple[str, ...], int] = {}
        self.keys: dict[Key, list[int]] = {}

    def take(self, row: int, cells: list[str]) -> None:
        if not stands_alone(self.plan, self.seen, row, cells, self.width):
            return
        said = {target: read_cells(self.plan, row, cells, group) for target, group in self.columns.items()}
        owed = [values for group in self.owed if (values := self._programme(row, cells, group))]
        tag = said["asset"].pop("tag", None)
        if tag is None:
            self._needs_tag(row, "asset")
            return
        self._merge_all(row, tag, said, owed)

    def _programme(self, row: int, cells: list[str], group: list[MappedColumn]) -> dict[str, Any]:
        values = read_cells(self.plan, row, cells, group)
        last, words = values.get("last_look_on"), {column.name: column.words for column in group}
        if last and last > self.today:
            self.plan.errors.add(
                row, words["last_look_on"], last, f"The last look, {last:%-d %b %Y}, lies ahead.", "Correct the date."
            )
        if "method" in values or not values:
            return values
        if not values.keys().isdisjoint(("calendar_months", "duty_count", "last_look_on")):
            self.plan.errors.add(
                row, words["method"], "", "It says how often or when, but not by which method.", "Name the method: VT."
            )
        return {}

    def _needs_tag(self, row: int, target: str) -> None:
        column = self.plan.column(target, "tag")
        if row not in self.plan.errors.rows:
            self.plan.errors.add(row, column, "", f"The row names no {target}.", "Give it a tag.")

    def _merge_all(self, row: int, tag: str, said: dict[str, dict[str, Any]], owed: list[dict[str, Any]]) -> None:
        joint, member = said.get("joint", {}), said.get("member", {})
        joint_tag, member_tag = joint.pop("tag", None), member.pop("tag", None)
        if self.number:
            tag = self._numbered(row, tag, (member_tag or "", joint_tag or ""))
        self._merge("asset", (tag,), row, said["asset"])
        if member_tag:
            self._merge("member", (tag, member_tag), row, member)
            if "member" in said and ("joint", "member") not in self.plan.feeds and joint_tag:
                joint["member"] = member_tag
        elif member:
            self._needs_tag(row, "member")
        weld, bolts = said.get("weld", {}), said.get("bolts", {})
        if not joint_tag:
            if joint or weld or bolts or any("last_look_on" in values for values in owed):
                self._needs_tag(row, "joint")
            return
        self._kind(row, joint, weld, bolts)
        self._merge("joint", (tag, joint_tag), row, joint)
        for target, values in (("weld", weld), ("bolts", bolts)):
            if values:
                self._merge(target, (tag, joint_tag), row, values)
        for values in owed:
            method = values.pop("method")
            self._merge("programme", (tag, joint_tag, method), row, values)

    def _kind(self, row: int, joint: dict[str, Any], weld: dict[str, Any], bolts: dict[str, Any]) -> None:
        """The kind follows from the columns that are filled; what contradicts itself is refused."""
        column = self.plan.column("joint", "kind")
        if weld and bolts:
            what = f"Both a weld ({', '.join(weld)}) and bolts ({', '.join(bolts)}) are described in one row."
            self.plan.errors.add(row, column, "", what, "Give each its own row and tag.")
        elif joint.get("kind", "weld") != "weld" and weld:
            self.plan.errors.add(
                row, column, joint["kind"], f"A bolted joint has no {', '.join(weld)}.", "Clear it, or change the kind."
            )
        elif joint.get("kind", "bolted") != "bolted" and bolts:
            self.plan.errors.add(
                row, column, joint["kind"], f"A weld has no {', '.join(bolts)}.", "Clear it, or change the kind."
            )
        elif "kind" not in joint and (weld or bolts):
            joint["kind"] = "weld" if weld else "bolted"

    def _numbered(self, row: int, tag: str, rest: Key) -> str:
        """The tag, with /2, /3 ... where earlier rows with other figures have the same key."""
        rows = self.keys.setdefault((tag, *rest), [])
        rows.append(row)
        if len(rows) == 1:
            return tag
        numbered = f"{tag}/{len(rows)}"
        self.plan.warnings.add(
            row, self.plan.column("asset", "tag"), tag,
            f"The same key as row {rows[0]} with other figures: kept apart as {numbered}.",
            "Give each its own tag in the file: the numbers follow the order of the rows.",
        )  # fmt: skip
        return numbered

    def _merge(self, target: str, key: Key, row: int, values: dict[str, Any]) -> None:
        held = self.plan.things[target].get(key)
        if held is None:
            self.plan.things[target][key] = Given(row, values)
            return
        for name, value in values.items():
            if held.values.setdefault(name, value) != value:
                self.plan.errors.add(
                    row, self.plan.column(target, name), value,
                    f"Row {held.row} says {held.values[name]} for the same {target} {' / '.join(key)}.",
                    "Make both rows say the same, or give each its own tag.",
                )  # fmt: skip
