"""Lists that are imported row by row: each row is one deed of the desk, done by the desk's own function.

So a row is judged and recorded as if it had been typed; nothing is decided here. A kind of list is offered by the
capability that knows its deed (``offer``), the floor above too.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from django.db import transaction

from assets_app.people.models import Person
from assets_app.refusals import NotFound, Refused, Unprocessable
from assets_app.register.columns import FIELDS, TARGETS, Field
from assets_app.register.gathering import Given, MappedColumn, Plan, check_constants, read_cells, say_what_was_assumed
from assets_app.register.gathering import stands_alone as _stands_alone
from assets_app.register.mapping import build_list
from assets_app.register.models import RegisterImport, Site
from assets_app.register.reading import Sheet
from engineering.figures import grouped

STEP = 200  # rows between two words of progress
MOST_ROWS = 1000  # each is a deed with its entry in the record, all in one transaction that others wait for
REGISTER = RegisterImport.Kind.REGISTER.value


class Took(NamedTuple):
    """What became of a row: ``new``, ``changed`` or ``unchanged``; ``care`` says what was left as it is, and why."""

    how: str
    field: str = ""
    care: str = ""


@dataclass(frozen=True)
class ListKind:
    """One kind of list. ``thing`` names a row, and its table in a mapping; ``right`` is the deed of ``rules.MAY``.

    ``lock`` locks all that the rows will need in one order, so that no two runs wait for each other; ``take`` does one
    row (keywords: site, values, actor, now) or raises ``Refused``, naming the field.
    """

    name: str
    thing: str
    right: str
    fields: dict[str, Field]
    lock: Callable[[Site, Sequence[dict[str, Any]]], None]
    take: Callable[..., Took]

    @property
    def first_field(self) -> str:
        """The field that says whom or what the row is about."""
        return next(iter(self.fields))


_KINDS: dict[str, ListKind] = {}


def offer(kind: ListKind) -> None:
    """Let files of this kind be imported. Called once, when the service starts."""
    _KINDS[RegisterImport.Kind(kind.name).value] = kind


def known(name: str) -> ListKind:
    """The kind of that name; refuses (``unknown_kind``) another."""
    if name not in _KINDS:
        offered = ", ".join([REGISTER, *_KINDS])
        raise Unprocessable("unknown_kind", f"A file holds one of {offered}; {name!r} is none.", field="kind")
    return _KINDS[name]


def right_to_import(name: str) -> str:
    """The deed of the permission table that an import of this kind is."""
    return "register.import" if name == REGISTER else known(name).right


def right_to_send(sent: Any) -> str:
    """The same from what was sent, however little that says; a kind that is none is left to the form."""
    name = sent.get("kind") or REGISTER
    return right_to_import(name) if name in (REGISTER, *_KINDS) else "read"


def rights() -> dict[str, str]:
    """Kind -> deed of the permission table, the register first."""
    return {name: right_to_import(name) for name in (REGISTER, *_KINDS)}


def headings(name: str) -> list[str]:
    """The headings of a file of this kind that needs no mapping."""
    if name == REGISTER:
        return [f"{target}_{field}" for target in TARGETS for field in FIELDS[target]]
    return list(known(name).fields)


def template(name: str) -> str:
    """An empty file of this kind (CSV): its headings."""
    file = io.StringIO()
    csv.writer(file, lineterminator="\r\n").writerow(headings(name))
    return file.getvalue()


def gather_list(sheet: Sheet, tables: dict[str, Any], kind: ListKind, progress: Callable[[int], None]) -> Plan:
    """What the rows say, as ``things[kind.thing]`` by row; every cell that cannot be taken is among the errors.

    Refusals: ``mapping_wrong``, ``too_many_rows``.
    """
    if len(sheet.rows) > MOST_ROWS:
        raise Unprocessable(
            "too_many_rows", f"{grouped(len(sheet.rows))} rows; send at most {grouped(MOST_ROWS)} in one file."
        )
    mapping = build_list(tables, sheet.headings, kind.thing, kind.fields)
    places = {name: place for place, name in enumerate(sheet.headings) if name}
    sources = mapping.targets[kind.thing]
    columns = [MappedColumn(kind.thing, kind.fields[name], sources[name], mapping, places) for name in sources]
    check_constants(columns)
    plan = Plan({kind.thing: {}}, rows=len(sheet.rows), notes=list(sheet.notes))
    plan.feeds = {(column.target, column.name): column.words for column in columns}
    say_what_was_assumed(plan, sheet, mapping, columns)
    seen: dict[tuple[str, ...], int] = {}
    for done, (row, cells) in enumerate(sheet.rows, start=1):
        if _stands_alone(plan, seen, row, cells, len(sheet.headings)):
            _take_cells(plan, kind, row, read_cells(plan, row, cells, columns))
        if done % STEP == 0:
            progress(done)
    progress(len(sheet.rows))
    return plan


def _take_cells(plan: Plan, kind: ListKind, row: int, values: dict[str, Any]) -> None:
    for name, field in kind.fields.items():
        column = plan.column(kind.thing, name)
        if field.needed and name not in values and (row, column) not in _told(plan):
            plan.errors.add(row, column, "", f"The row names no {name.replace('_', ' ')}.", "Fill the cell.")
    if row not in plan.errors.rows:
        plan.things[kind.thing][(str(row),)] = Given(row, values)


def _told(plan: Plan) -> set[tuple[int, str]]:
    return {(error["row"], error["column"]) for error in plan.errors.listed[-20:]}


def take_rows(plan: Plan, kind: ListKind, site: Site, actor: Person, now: datetime) -> dict[str, int]:
    """Do the rows one after the other, inside the caller's transaction; a row that is refused is among the errors."""
    given = list(plan.things[kind.thing].values())
    kind.lock(site, [each.values for each in given])
    counts = {"new": 0, "changed": 0, "unchanged": 0}
    for each in given:
        try:
            with transaction.atomic():
                took = kind.take(site=site, values=dict(each.values), actor=actor, now=now)
        except Refused as refused:
            name = refused.field if refused.field in kind.fields else kind.first_field
            plan.errors.add(each.row, plan.column(kind.thing, name), each.values.get(name), refused.message, "")
            continue
        counts[took.how] += 1
        if took.care:
            name = took.field or kind.first_field
            plan.warnings.add(each.row, plan.column(kind.thing, name), each.values.get(name), took.care, "")
    return counts


def nobody_here(username: str) -> NotFound:
    """The answer to a user name that is nobody's at the site, or nobody's at all: the two are not told apart."""
    said = f"Nobody with the user name {username!r} has a role at this site. Correct it, or give the role first."
    return NotFound("not_found", said, field="person")
