"""Bulk read and write of the due engine: the only engine-specific code, two short implementations each.

Rows travel as numpy columns. PostgreSQL: COPY out; COPY into a temporary table and one MERGE. SQLite: a plain SELECT
and ``executemany`` of an upsert.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv as pa_csv
from django.db import connection
from numpy.typing import NDArray

from schedules.due.rules import LIMITS, NO_DAY, Days, Due

EPOCH = date(1970, 1, 1).toordinal()
DAY_COLUMNS = ["due_on", "middle_on", "next_on", *(limit.replace(" ", "_") + "_on" for limit in LIMITS)]
CODE_COLUMNS = ["governing", "next_limit"]
FLAG_COLUMNS = ["unrated", "unprotected"]
KEY_COLUMNS = ["programme_id", "joint_id", "asset_id", "site_id", "method"]
FIGURE_COLUMNS = ["damage_now", "count_now", "reading_on", "forecast_version", "rating_version"]
WRITTEN = [*KEY_COLUMNS, *DAY_COLUMNS, *CODE_COLUMNS, *FLAG_COLUMNS, *FIGURE_COLUMNS]
CONSTANT = ["code_version", "computed_on", "changed_at"]

Columns = dict[str, NDArray[Any]]


@dataclass(frozen=True)
class Scope:
    """Which programmes: of a range of assets, of some assets, or of some joints."""

    asset_range: tuple[int, int] | None = None
    site_id: int | None = None  # narrows the range
    asset_ids: Sequence[int] = ()
    joint_ids: Sequence[int] = ()

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


def expect_nearness() -> None:
    """Until commit, let PostgreSQL expect rows of neighbouring keys side by side and in memory, as a part's rows are.

    By its own default it takes every row fetched by key for a seek of a turning disk, and would rather read the whole
    fleet for each part of a sweep.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL random_page_cost = 1.1")


def read_programmes(scope: Scope) -> Columns:
    """Every live programme in ``scope`` with its rating and the due row as it stands, ordered by programme.

    Days come as ordinals with ``NO_DAY`` for none, numbers as floats with NaN for unknown, texts as object arrays.
    """
    return read_live_and_dead(scope)[0]


def read_live_and_dead(scope: Scope) -> tuple[Columns, list[int]]:
    """The same, and the programmes that have a due row though they, their joint or their asset no longer count."""
    sql, names = select_sql(scope), list(_selected())
    rows = _copy_out(sql) if connection.vendor == "postgresql" else _select(sql, names)
    read = {name: _typed(name, rows[name]) for name in names}
    live = read.pop("live")
    if live.all():
        return read, []
    return {name: values[live] for name, values in read.items()}, read["programme_id"][~live].tolist()


def select_sql(scope: Scope) -> str:
    """The one query that reads what due dates are computed from, for the engine in use."""
    return (
        f"SELECT {', '.join(f'{what} AS {name}' for name, what in _selected().items())} "  # noqa: S608
        f"FROM schedules_programme p JOIN assets_app_joint j ON j.id = p.joint_id{scope.near('j')} "
        "JOIN assets_app_asset a ON a.id = p.asset_id "
        "LEFT JOIN schedules_rating r ON r.programme_id = p.id "
        f"LEFT JOIN schedules_duedate d ON d.programme_id = p.id{scope.near('d')} "
        f"WHERE {scope.where()} AND ({_LIVE} OR d.programme_id IS NOT NULL) ORDER BY p.id"
    )


_LIVE = "(p.active AND j.active AND a.status <> 'retired')"


def _selected() -> dict[str, str]:
    """Column -> SQL."""
    day = _ordinal_postgres if connection.vendor == "postgresql" else _ordinal_sqlite
    return {
        "programme_id": "p.id",
        "joint_id": "p.joint_id",
        "asset_id": "p.asset_id",
        "site_id": "a.site_id",
        "method": "p.method",
        "commissioned": day("COALESCE(j.installed_on, a.commissioned_on)"),
        "installed": day("j.installed_on"),
        "last_look": day("p.last_look_on"),
        "last_look_total": "p.last_look_total",
        "calendar_months": "CASE WHEN p.calendar_months IS NULL THEN 0 "
        "WHEN p.calendar_months BETWEEN 1 AND 32767 THEN p.calendar_months ELSE -1 END",
        # Given but no count at all (NaN, text, below 0): none is allowed, so that it shows and is never taken for none.
        "duty_count": "CASE WHEN p.duty_count IS NULL THEN NULL WHEN p.duty_count > 0 AND p.duty_count < 1e300 "
        "THEN p.duty_count ELSE 0 END",
        "damage_per_count": "r.damage_per_count",
        "damage_share": "r.damage_share",
        "window_count": "r.window_count",
        "looks": "COALESCE(r.looks, 3)",
        "rating_unprotected": _flag("r.unprotected"),
        "rating_missing": _flag("r.programme_id IS NULL OR r.incomplete"),
        "rating_impossible": _flag("r.impossible"),
        "rating_version": "COALESCE(r.version, 0)",
        "live": _flag(_LIVE),
        "had_row": "CASE WHEN d.programme_id IS NULL THEN 0 ELSE 1 END",
        **{f"old_{name}": day(f"d.{name}") for name in DAY_COLUMNS},
        **{f"old_{name}": f"COALESCE(d.{name}, '')" for name in CODE_COLUMNS},
        **{f"old_{name}": _flag(f"d.{name}") for name in FLAG_COLUMNS},
    }


_TEXTS = frozenset({"method", *(f"old_{name}" for name in CODE_COLUMNS)})
_RATING_FLAGS = frozenset({"rating_unprotected", "rating_missing", "rating_impossible"})
_DAYS = frozenset({"commissioned", "installed", "last_look", *(f"old_{name}" for name in DAY_COLUMNS)})


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
    changed = old["had_row"] == 0
    for name in (*DAY_COLUMNS, *CODE_COLUMNS, *FLAG_COLUMNS):
        changed |= new[name] != old[f"old_{name}"]
    return changed


# --- reading ----------------------------------------------------------------------------------------------------------


def _ordinal_postgres(column: str) -> str:
    return f"({column} - DATE '0001-01-01' + 1)"


def _ordinal_sqlite(column: str) -> str:
    return f"CAST(julianday({column}) - 1721424.5 AS INTEGER)"


def _flag(column: str) -> str:
    return f"CASE WHEN {column} THEN 1 ELSE 0 END"


def _copy_out(sql: str) -> dict[str, pa.ChunkedArray]:
    buffer = io.BytesIO()
    with connection.cursor() as cursor, cursor.cursor.copy(f"COPY ({sql}) TO STDOUT (FORMAT csv, HEADER)") as copy:
        for block in copy:
            buffer.write(block)
    options = pa_csv.ConvertOptions(
        column_types={name: pa.string() for name in _TEXTS}, strings_can_be_null=False, quoted_strings_can_be_null=False
    )
    table = pa_csv.read_csv(pa.py_buffer(buffer.getvalue()), convert_options=options)
    return {name: table.column(name) for name in table.column_names}


def _select(sql: str, names: list[str]) -> dict[str, list[Any]]:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        rows = cursor.fetchall()
    return {name: [row[place] for row in rows] for place, name in enumerate(names)}


def _typed(name: str, values: Any) -> NDArray[Any]:
    if name in _TEXTS:
        return np.array(values.to_pylist() if hasattr(values, "to_pylist") else values, dtype=object)
    floats = _floats(values)
    if name in _DAYS:
        return np.where(np.isnan(floats), float(NO_DAY), floats).astype(np.int32)
    if name.startswith("old_") or name in {"live", "had_row", *_RATING_FLAGS}:
        return floats.astype(bool)
    if name.endswith("_id") or name in {"calendar_months", "looks", "rating_version"}:
        return floats.astype(np.int64)
    return floats


def _floats(values: Any) -> NDArray[np.float64]:
    if hasattr(values, "to_numpy"):
        if pa.types.is_null(values.type):
            return np.full(len(values), np.nan)
        return np.asarray(values.cast(pa.float64()).to_numpy())
    return np.array([np.nan if value is None else value for value in values], dtype=float)


# --- writing ----------------------------------------------------------------------------------------------------------


def _update_clause() -> str:
    return ", ".join(f"{name} = EXCLUDED.{name}" for name in [*WRITTEN, *CONSTANT] if name != "programme_id")


def _merge_postgres(columns: Columns, constants: tuple[Any, ...]) -> None:
    with connection.cursor() as cursor:
        merge_csv(cursor, csv_of(columns), constants)


def csv_of(columns: Columns) -> memoryview:
    """The rows as CSV, as COPY reads them."""
    buffer = pa.BufferOutputStream()
    table = pa.table({name: _arrow(name, columns[name]) for name in WRITTEN})
    pa_csv.write_csv(table, buffer, pa_csv.WriteOptions(include_header=False))
    return memoryview(buffer.getvalue())


def merge_csv(cursor: Any, rows: memoryview, constants: tuple[Any, ...]) -> None:
    """COPY the rows into a temporary table and merge them at once.

    A merge looks rows up by a join, where an upsert tries each row by the index first. It does not wait for a row that
    another process is just inserting; the engine holds the assets, so there is none.
    """
    names = ", ".join(WRITTEN)
    cursor.execute(
        f"CREATE TEMPORARY TABLE due_fresh ON COMMIT DROP AS SELECT {names} FROM schedules_duedate LIMIT 0"  # noqa: S608
    )
    texts = "method, governing, next_limit"
    with cursor.cursor.copy(f"COPY due_fresh ({names}) FROM STDIN (FORMAT csv, FORCE_NOT_NULL ({texts}))") as copy:
        copy.write(rows)
    fresh = [f"f.{name}" for name in WRITTEN] + ["%s"] * len(CONSTANT)
    every = dict(zip([*WRITTEN, *CONSTANT], fresh, strict=True))
    kept = {name: value for name, value in every.items() if name != "programme_id"}
    cursor.execute(
        "MERGE INTO schedules_duedate d USING due_fresh f ON d.programme_id = f.programme_id "  # noqa: S608
        f"WHEN MATCHED THEN UPDATE SET {', '.join(f'{name} = {value}' for name, value in kept.items())} "
        f"WHEN NOT MATCHED THEN INSERT ({', '.join(every)}) VALUES ({', '.join(every.values())})",
        [*constants, *constants],
    )
    cursor.execute("DROP TABLE due_fresh")


def _upsert_sqlite(columns: Columns, constants: tuple[Any, ...]) -> None:
    fixed = [connection.ops.adapt_datefield_value(constants[1]), connection.ops.adapt_datetimefield_value(constants[2])]
    data = [_python(name, columns[name]) for name in WRITTEN]
    places = ", ".join(["%s"] * (len(WRITTEN) + len(CONSTANT)))
    sql = (
        f"INSERT INTO schedules_duedate ({', '.join([*WRITTEN, *CONSTANT])}) VALUES ({places}) "  # noqa: S608
        f"ON CONFLICT (programme_id) DO UPDATE SET {_update_clause()}"
    )
    with connection.cursor() as cursor:
        cursor.executemany(sql, [(*row, constants[0], *fixed) for row in zip(*data, strict=True)])


def _arrow(name: str, values: NDArray[Any]) -> pa.Array:
    if name in DAY_COLUMNS or name == "reading_on":
        days: Days = np.where(values < NO_DAY, values - EPOCH, 0).astype(np.int32)
        return pa.array(days, mask=values >= NO_DAY).cast(pa.date32())
    if values.dtype == object:
        return pa.array(values, type=pa.string()).dictionary_encode().cast(pa.string())
    if values.dtype.kind == "f":
        return pa.array(values, from_pandas=True)
    return pa.array(values)


def _python(name: str, values: NDArray[Any]) -> list[Any]:
    if name in DAY_COLUMNS or name == "reading_on":
        texts = np.datetime_as_string((np.where(values < NO_DAY, values, EPOCH) - EPOCH).astype("datetime64[D]"))
        return [text if day < NO_DAY else None for text, day in zip(texts.tolist(), values.tolist(), strict=True)]
    if values.dtype.kind == "f":
        return [None if value != value else value for value in values.tolist()]
    return list(values.tolist())
