"""Bulk read and write of the due engine: the only engine-specific code, two short implementations each.

Rows travel as numpy columns. PostgreSQL: COPY out; COPY into a temporary table and one MERGE (``binary_rows``).
SQLite: a plain SELECT and ``executemany`` of an upsert.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from schedules.due import binary_rows
from schedules.due.copy_out import copied
from schedules.due.rules import LIMITS, NO_DAY, Due

EPOCH = date(1970, 1, 1).toordinal()
DAY_COLUMNS = ["due_on", "middle_on", "next_on", *(limit.replace(" ", "_") + "_on" for limit in LIMITS)]
CODE_COLUMNS = ["governing", "next_limit"]
FLAG_COLUMNS = ["unrated", "unprotected"]
_ID_COLUMNS = ["programme_id", "joint_id", "asset_id", "site_id"]
KEY_COLUMNS = [*_ID_COLUMNS, "method"]
_WRITTEN_KINDS = {  # of each column that is written, its kind (``binary_rows.KINDS``)
    **dict.fromkeys(_ID_COLUMNS, "id"),
    "method": "text",
    **dict.fromkeys(DAY_COLUMNS, "day"),
    **dict.fromkeys(CODE_COLUMNS, "text"),
    **dict.fromkeys(FLAG_COLUMNS, "flag"),
    **{"damage_now": "number", "count_now": "number", "reading_on": "day"},
    **{"forecast_version": "int", "rating_version": "int"},
}
WRITTEN = list(_WRITTEN_KINDS)
CONSTANT = ["code_version", "computed_on", "changed_at"]

Columns = dict[str, NDArray[Any]]


@dataclass(frozen=True)
class Scope:
    """Which programmes: of a range of assets, of some assets, or of some joints."""

    asset_range: tuple[int, int] | None = None
    site_id: int | None = None  # narrows the range
    asset_ids: Sequence[int] = ()
    joint_ids: Sequence[int] = ()
    programmes: tuple[int, int] | None = None  # those of a range lie between these two, and nearly no others do

    def where(self) -> str:
        """The condition in SQL; ids are integers of our own tables."""
        if self.asset_range:
            first, last = self.asset_range
            of_site = f" AND a.site_id = {int(self.site_id)}" if self.site_id else ""
            return f"p.asset_id BETWEEN {int(first)} AND {int(last)}{of_site}"
        parts = [
            f"{column} IN ({','.join(str(int(pk)) for pk in ids)})"
            for column, ids in (("p.asset_id", self.asset_ids), ("p.joint_id", self.joint_ids))
            if len(ids)
        ]
        return "(" + (" OR ".join(parts) or "FALSE") + ")"

    def near(self, alias: str) -> str:
        """What the joins of a range of assets add, so that a part reads its part of each table: the same range.

        A joint, its programmes and their due rows are of one asset for good: no door moves a joint to another.
        """
        if not self.asset_range:
            return ""
        first, last = self.asset_range
        return f" AND {alias}.asset_id BETWEEN {int(first)} AND {int(last)}"

    def near_programmes(self, alias: str) -> str:
        """The same for a table that knows no asset."""
        if not self.programmes:
            return ""
        first, last = self.programmes
        return f" AND {alias}.programme_id BETWEEN {int(first)} AND {int(last)}"


def expect_nearness() -> None:
    """Until commit, let PostgreSQL expect rows of neighbouring keys side by side and in memory, as a part's rows are.

    By its own default it takes every row fetched by key for a seek of a turning disk, and would rather read the whole
    fleet for each part of a sweep.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL random_page_cost = 1.1")


def lie_close(first: int, last: int, count: int) -> bool:
    """Whether so many keys fill their range well enough to be asked for by it: naming each costs ten times as much."""
    return last - first < 4 * count


def read_programmes(scope: Scope) -> Columns:
    """Every live programme in ``scope`` with its rating and the due row as it stands, ordered by programme.

    Days come as ordinals with ``NO_DAY`` for none, numbers as floats with NaN for unknown, texts as object arrays.
    """
    return read_live_and_dead(scope)[0]


def read_live_and_dead(scope: Scope) -> tuple[Columns, list[int]]:
    """The same, and the programmes that have a due row though they, their joint or their asset no longer count."""
    kinds = {name: kind for name, (kind, _) in _READ.items()}
    read = _select_postgres(scope, kinds) if connection.vendor == "postgresql" else _select_sqlite(scope, kinds)
    live = read.pop("live")
    if live.all():
        return read, []
    return {name: values[live] for name, values in read.items()}, read["programme_id"][~live].tolist()


def select_sql(scope: Scope) -> str:
    """The one query that reads what due dates are computed from, for the engine in use."""
    send = binary_rows.sent if connection.vendor == "postgresql" else _sent_sqlite
    return (
        f"SELECT {', '.join(f'{send(kind, what)} AS {name}' for name, (kind, what) in _READ.items())} "  # noqa: S608
        f"FROM schedules_programme p JOIN assets_app_joint j ON j.id = p.joint_id{scope.near('j')} "
        "JOIN assets_app_asset a ON a.id = p.asset_id "
        f"LEFT JOIN schedules_rating r ON r.programme_id = p.id{scope.near_programmes('r')} "
        f"LEFT JOIN schedules_duedate d ON d.programme_id = p.id{scope.near('d')} "
        f"WHERE {scope.where()} AND ({_LIVE} OR d.programme_id IS NOT NULL) ORDER BY p.id"
    )


_LIVE = "(p.active AND j.active AND a.status <> 'retired')"

# Column -> its kind and SQL. Whole numbers that do not fit, and counts that are none, show as such.
_READ: dict[str, tuple[str, str]] = {
    "programme_id": ("id", "p.id"),
    "joint_id": ("id", "p.joint_id"),
    "asset_id": ("id", "p.asset_id"),
    "site_id": ("id", "a.site_id"),
    "method": ("text", "p.method"),
    "commissioned": ("day", "COALESCE(j.installed_on, a.commissioned_on)"),
    "installed": ("day", "j.installed_on"),
    "last_look": ("day", "p.last_look_on"),
    "last_look_total": ("number", "p.last_look_total"),
    "calendar_months": (
        "int",
        "CASE WHEN p.calendar_months IS NULL THEN 0 "
        "WHEN p.calendar_months BETWEEN 1 AND 32767 THEN p.calendar_months ELSE -1 END",
    ),
    # Given but no count at all (NaN, text, below 0): none is allowed, so that it shows and is never taken for none.
    "duty_count": (
        "number",
        "CASE WHEN p.duty_count IS NULL THEN NULL WHEN p.duty_count > 0 AND p.duty_count < 1e300 "
        "THEN p.duty_count ELSE 0 END",
    ),
    "damage_per_count": ("number", "r.damage_per_count"),
    "damage_share": ("number", "r.damage_share"),
    "window_count": ("number", "r.window_count"),
    "looks": ("int", "COALESCE(r.looks, 3)"),
    "rating_unprotected": ("flag", "r.unprotected"),
    "rating_missing": ("flag", "r.programme_id IS NULL OR r.incomplete"),
    "rating_impossible": ("flag", "r.impossible"),
    "rating_version": ("int", "COALESCE(r.version, 0)"),
    "live": ("flag", _LIVE),
    "had_row": ("flag", "d.programme_id IS NOT NULL"),
    **{f"old_{name}": ("day", f"d.{name}") for name in DAY_COLUMNS},
    **{f"old_{name}": ("text", f"d.{name}") for name in CODE_COLUMNS},
    **{f"old_{name}": ("flag", f"d.{name}") for name in FLAG_COLUMNS},
}


def write_due(columns: Columns, *, code_version: str, computed_on: date, changed_at: datetime) -> int:
    """Upsert the due rows given as columns (``WRITTEN``); returns how many."""
    count = len(columns["programme_id"])
    if not count:
        return 0
    constants = (code_version, computed_on, changed_at)
    if connection.vendor == "postgresql":
        _merge_postgres(columns, constants)
    else:
        _upsert_sqlite(columns, constants)
    return count


def remove_due(programme_ids: Sequence[int]) -> None:
    """Remove the due rows of programmes that no longer count."""
    for start in range(0, len(programme_ids), 1000):
        ids = ",".join(str(int(pk)) for pk in programme_ids[start : start + 1000])
        with connection.cursor() as cursor:
            cursor.execute(f"DELETE FROM schedules_duedate WHERE programme_id IN ({ids})")  # noqa: S608


def due_columns(due: Due) -> Columns:
    """A ``Due`` as the columns of the table."""
    names = np.array([*LIMITS, ""], dtype=object)  # index -1 is the empty name
    columns: Columns = {"due_on": due.due, "middle_on": due.middle, "next_on": due.next_on}
    columns |= {limit.replace(" ", "_") + "_on": due.on[limit] for limit in LIMITS}
    columns |= {"governing": names[due.governing], "next_limit": names[due.next_limit], "unrated": due.unrated}
    return columns


def changed_rows(new: Columns, old: Columns) -> NDArray[np.bool_]:
    """Which rows differ from what stands in the table; a row that was not there counts as changed."""
    changed = ~old["had_row"]
    for name in (*DAY_COLUMNS, *CODE_COLUMNS, *FLAG_COLUMNS):
        changed |= new[name] != old[f"old_{name}"]
    return changed


# --- reading ----------------------------------------------------------------------------------------------------------


def _select_postgres(scope: Scope, kinds: dict[str, str]) -> Columns:
    scope = _with_programmes(scope)
    if not scope.programmes:
        return binary_rows.read(copied(select_sql(scope)), kinds)
    # It takes ranges of joints and programmes for a chance meeting of few, and would look up each row by itself.
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_nestloop = off")
        content = copied(select_sql(scope))
        cursor.execute("SET LOCAL enable_nestloop TO DEFAULT")
    return binary_rows.read(content, kinds)


def _with_programmes(scope: Scope) -> Scope:
    """A range of assets with that of their programmes, where these lie close together as an import leaves them."""
    if not scope.asset_range:
        return scope
    with connection.cursor() as cursor:
        counted = "SELECT COUNT(*), MIN(id), MAX(id) FROM schedules_programme WHERE asset_id BETWEEN %s AND %s"
        cursor.execute(counted, scope.asset_range)
        count, first, last = cursor.fetchone()
    return replace(scope, programmes=(first, last)) if count and lie_close(first, last, count) else scope


def _select_sqlite(scope: Scope, kinds: dict[str, str]) -> Columns:
    with connection.cursor() as cursor:
        cursor.execute(select_sql(scope))
        rows = cursor.fetchall()
    return {name: _typed(kind, [row[place] for row in rows]) for place, (name, kind) in enumerate(kinds.items())}


def _sent_sqlite(kind: str, sql: str) -> str:
    if kind == "day":
        return f"CAST(julianday({sql}) - 1721424.5 AS INTEGER)"
    if kind == "text":
        return f"COALESCE({sql}, '')"
    return f"(({sql}) IS TRUE)" if kind == "flag" else sql


def _typed(kind: str, values: list[Any]) -> NDArray[Any]:
    if kind == "text":
        return np.array(values, dtype=object)
    if kind == "day":
        return np.array([NO_DAY if value is None else value for value in values]).astype(np.int32)
    if kind == "number":
        return np.array([np.nan if value is None else value for value in values], dtype=float)
    return np.array(values).astype(binary_rows.NATIVE[kind])


# --- writing ----------------------------------------------------------------------------------------------------------


def _merge_postgres(columns: Columns, constants: tuple[Any, ...]) -> None:
    with connection.cursor() as cursor:
        copy_in(cursor, "due_fresh", rows_of(columns))
        _merge(cursor, "due_fresh", (int(columns["programme_id"].min()), int(columns["programme_id"].max())), constants)
        cursor.execute("DROP TABLE due_fresh")


def rows_of(columns: Columns) -> memoryview:
    """The rows as ``copy_in`` takes them."""
    return binary_rows.written(columns, _WRITTEN_KINDS)


def copy_in(cursor: Any, table: str, rows: memoryview) -> None:
    """COPY the rows into a temporary table of that name, which lasts until commit."""
    columns = ", ".join(f"{name} {binary_rows.KINDS[kind].sql_type}" for name, kind in _WRITTEN_KINDS.items())
    cursor.execute(f"CREATE TEMPORARY TABLE {table} ({columns}) ON COMMIT DROP")
    with cursor.cursor.copy(f"COPY {table} FROM STDIN (FORMAT binary)") as copy:
        copy.write(rows)


def taken(table: str) -> dict[str, str]:
    """Column -> SQL of what such a table holds for it."""
    return {name: binary_rows.taken(kind, f"{table}.{name}") for name, kind in _WRITTEN_KINDS.items()}


def _merge(cursor: Any, table: str, between: tuple[int, int], constants: tuple[Any, ...]) -> None:
    """Merge the rows of a temporary table at once; their programmes lie ``between`` two.

    A merge looks rows up by a join, where an upsert tries each row by the index first; told where they lie, it reads no
    others. It does not wait for a row that another process is just inserting; the engine holds the assets, so there is
    none.
    """
    every = taken(table) | dict.fromkeys(CONSTANT, "%s")
    kept = {name: value for name, value in every.items() if name != "programme_id"}
    cursor.execute(
        f"MERGE INTO schedules_duedate d USING {table} "  # noqa: S608
        f"ON d.programme_id = {table}.programme_id AND d.programme_id BETWEEN %s AND %s "
        f"WHEN MATCHED THEN UPDATE SET {', '.join(f'{name} = {value}' for name, value in kept.items())} "
        f"WHEN NOT MATCHED THEN INSERT ({', '.join(every)}) VALUES ({', '.join(every.values())})",
        [*between, *constants, *constants],
    )


def _upsert_sqlite(columns: Columns, constants: tuple[Any, ...]) -> None:
    fixed = [connection.ops.adapt_datefield_value(constants[1]), connection.ops.adapt_datetimefield_value(constants[2])]
    data = [_python(kind, columns[name]) for name, kind in _WRITTEN_KINDS.items()]
    places = ", ".join(["%s"] * (len(WRITTEN) + len(CONSTANT)))
    update = ", ".join(f"{name} = EXCLUDED.{name}" for name in [*WRITTEN, *CONSTANT] if name != "programme_id")
    sql = (
        f"INSERT INTO schedules_duedate ({', '.join([*WRITTEN, *CONSTANT])}) VALUES ({places}) "  # noqa: S608
        f"ON CONFLICT (programme_id) DO UPDATE SET {update}"
    )
    with connection.cursor() as cursor:
        cursor.executemany(sql, [(*row, constants[0], *fixed) for row in zip(*data, strict=True)])


def _python(kind: str, values: NDArray[Any]) -> list[Any]:
    if kind == "day":
        texts = np.datetime_as_string((np.where(values < NO_DAY, values, EPOCH) - EPOCH).astype("datetime64[D]"))
        return [text if day < NO_DAY else None for text, day in zip(texts.tolist(), values.tolist(), strict=True)]
    if kind == "number":
        return [None if value != value else value for value in values.tolist()]
    return list(values.tolist())
