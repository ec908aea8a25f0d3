"""Rows of one width, as PostgreSQL's COPY reads and writes them in binary: a part of a sweep is one numpy array.

Every value has a place of its own width, so a column is read by its distance and nothing is parsed. That leaves no
room for NULL, which PostgreSQL gives no bytes: an unknown number travels as NaN, a day that there is not as infinity,
and the SQL of both ways (``sent``, ``taken``) turns one into the other.

Source: PostgreSQL documentation, COPY, "Binary Format".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from schedules.due.rules import NO_DAY

TEXT_WIDTH = 16  # of methods and limits, in bytes; shorter ones are filled up with spaces
SIGNATURE = b"PGCOPY\n\xff\r\n\x00" + bytes(8)  # no flags, no extension
TRAILER = b"\xff\xff"
FIRST_DAY = date(2000, 1, 1).toordinal()  # day 0 of PostgreSQL
OTHER_WIDTH = "the database sent a row of another width: the name of a method or limit is none of ours"
INFINITY = np.int32(2**31 - 1)


@dataclass(frozen=True)
class Kind:
    """How values of one kind travel."""

    sql_type: str
    wire: str  # numpy's name of the bytes
    sent: str  # SQL of a value, never NULL
    taken: str  # SQL of what a value that arrived means


KINDS = {
    "id": Kind("bigint", ">i8", "({0})::bigint", "{0}"),
    "int": Kind("integer", ">i4", "({0})::integer", "{0}"),
    "flag": Kind("boolean", "?", "(({0}) IS TRUE)", "{0}"),
    "day": Kind("date", ">i4", "COALESCE({0}, 'infinity'::date)", "NULLIF({0}, 'infinity'::date)"),
    "number": Kind("double precision", ">f8", "COALESCE(({0})::float8, 'NaN'::float8)", "NULLIF({0}, 'NaN'::float8)"),
    "text": Kind("text", f"S{TEXT_WIDTH}", f"rpad(COALESCE({{0}}, ''), {TEXT_WIDTH})", "rtrim({0})"),
}
NATIVE = {"id": np.int64, "int": np.int64, "flag": np.bool_, "number": np.float64}


def sent(kind: str, sql: str) -> str:
    """The SQL that sends ``sql`` as a value of ``kind``."""
    return KINDS[kind].sent.format(sql)


def taken(kind: str, column: str) -> str:
    """The SQL of what a column that arrived means: NULL where it stands for none."""
    return KINDS[kind].taken.format(column)


def read(content: bytes, kinds: Mapping[str, str]) -> dict[str, NDArray[Any]]:
    """Column -> values of what COPY TO sent; ``kinds`` in the order of its columns.

    Days come as ordinals with ``NO_DAY`` for none, texts as object arrays. Raises ``ValueError`` where a row has
    another width, as one with a text outside ASCII.
    """
    layout = _layout(kinds)
    count, rest = divmod(len(content) - len(SIGNATURE) - len(TRAILER), layout.itemsize)
    rows = np.frombuffer(content, layout, max(count, 0), len(SIGNATURE))
    if rest or not (rows["fields"] == len(kinds)).all():
        raise ValueError(OTHER_WIDTH)
    return {name: _native(kind, rows[name]) for name, kind in kinds.items()}


def written(columns: Mapping[str, NDArray[Any]], kinds: Mapping[str, str]) -> memoryview:
    """The columns as COPY FROM takes them, in the order of ``kinds``."""
    layout = _layout(kinds)
    rows = np.empty(len(columns[next(iter(kinds))]), layout)
    rows["fields"] = len(kinds)
    for name, kind in kinds.items():
        rows[f"{name} width"] = layout[name].itemsize
        rows[name] = _wire(kind, columns[name])
    return memoryview(SIGNATURE + rows.tobytes() + TRAILER)


def _layout(kinds: Mapping[str, str]) -> np.dtype[Any]:
    """A row: how many fields, then each with its width before it."""
    parts: list[tuple[str, str]] = [("fields", ">i2")]
    for name, kind in kinds.items():
        parts += [(f"{name} width", ">i4"), (name, KINDS[kind].wire)]
    return np.dtype(parts)


def _native(kind: str, values: NDArray[Any]) -> NDArray[Any]:
    if kind == "day":
        days = values.astype(np.int64)
        return np.where(days == INFINITY, int(NO_DAY), days + FIRST_DAY).astype(np.int32)
    if kind == "text":
        texts = pa.Array.from_buffers(
            pa.binary(TEXT_WIDTH), len(values), [None, pa.py_buffer(np.ascontiguousarray(values))]
        ).dictionary_encode()
        names = np.array([text.decode().rstrip() for text in texts.dictionary.to_pylist()], dtype=object)
        return names[texts.indices.to_numpy()]
    return values.astype(NATIVE[kind])


def _wire(kind: str, values: NDArray[Any]) -> NDArray[Any]:
    if kind == "day":
        return np.where(values >= NO_DAY, INFINITY, values - np.int32(FIRST_DAY))
    if kind == "text":
        texts = pa.array(values, type=pa.string()).dictionary_encode()
        names = [text.ljust(TEXT_WIDTH).encode("ascii") for text in texts.dictionary.to_pylist()]
        return np.array(names, f"S{TEXT_WIDTH}")[texts.indices.to_numpy()]
    return values
