"""Tables of published values as data files, each with its source, edition and status.

A table is a TOML file beside this module::

    title = "Probability of detection"
    edition = "2019"
    source = "who published it, where"
    status = "published"            # or "common practice" or "from memory: to be confirmed"
    caution = "one sentence"
    check_column = "x0_mm"          # a numeric column ...
    check_sum = 123.45              # ... and the sum over it, so that a slip of the finger shows
    [[rows]]
    id = "mt-good"                  # unique; rows may carry their own source, edition and status

An office replaces a table by passing its own ``Table`` to the function that reads it; nothing here is global state.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from engineering.errors import InputError

PUBLISHED = "published"
COMMON_PRACTICE = "common practice"
FROM_MEMORY = "from memory: to be confirmed"
STATUSES = (PUBLISHED, COMMON_PRACTICE, FROM_MEMORY)

_HERE = Path(__file__).parent


@dataclass(frozen=True)
class Row:
    """One row of a table: its cells by name, and where it comes from."""

    id: str
    cells: Mapping[str, Any]
    source: str
    edition: str
    status: str

    def __getitem__(self, column: str) -> Any:
        return self.cells[column]

    def get(self, column: str, default: Any = None) -> Any:
        return self.cells.get(column, default)


@dataclass(frozen=True)
class Table:
    """A named set of rows with a common title and caution; ``rows`` maps row id to ``Row``."""

    name: str
    title: str
    source: str
    edition: str
    status: str
    caution: str
    rows: Mapping[str, Row]

    def row(self, row_id: str) -> Row:
        """The row called ``row_id``; ``InputError`` (``unknown_row``) lists what there is."""
        try:
            return self.rows[row_id]
        except (KeyError, TypeError):  # a list or a dictionary in place of a name
            known = ", ".join(sorted(self.rows))
            raise InputError(self.name, f"no row {row_id!r}; known rows: {known}", code="unknown_row") from None


def build(name: str, data: Mapping[str, Any]) -> Table:
    """A ``Table`` from plain data (a parsed file, or an office's own table); ``InputError`` names what is wrong."""
    for key in ("title", "source", "edition", "status", "rows"):
        if not data.get(key):
            raise InputError(name, f"table lacks {key!r}", code="shape")
    rows: dict[str, Row] = {}
    for cells in data["rows"]:
        row_id = str(cells.get("id", ""))
        if not row_id or row_id in rows:
            raise InputError(name, f"every row needs an id of its own, got {row_id!r}", code="shape")
        status = str(cells.get("status", data["status"]))
        if status not in STATUSES:
            raise InputError(name, f"row {row_id!r}: status must be one of {', '.join(STATUSES)}", code="shape")
        rows[row_id] = Row(
            id=row_id,
            cells=dict(cells),
            source=str(cells.get("source", data["source"])),
            edition=str(cells.get("edition", data["edition"])),
            status=status,
        )
    _verify_sum(name, data)
    return Table(
        name=name,
        title=str(data["title"]),
        source=str(data["source"]),
        edition=str(data["edition"]),
        status=str(data["status"]),
        caution=str(data.get("caution", "")),
        rows=rows,
    )


@cache
def load(name: str) -> Table:
    """The shipped table ``name`` (file name without ``.toml``); raises ``InputError`` if there is none."""
    path = _HERE / f"{name}.toml"
    if not path.is_file():
        raise InputError("name", f"no table {name!r}; shipped: {', '.join(shipped())}", code="unknown_row")
    return build(name, tomllib.loads(path.read_text(encoding="utf-8")))


def shipped() -> list[str]:
    """Names of all shipped tables."""
    return sorted(path.stem for path in _HERE.glob("*.toml"))


def _verify_sum(name: str, data: Mapping[str, Any]) -> None:
    column = data.get("check_column")
    if not column:
        return
    total = sum(float(row[column]) for row in data["rows"] if column in row)
    if abs(total - float(data["check_sum"])) > 1e-6 * max(1.0, abs(total)):
        raise InputError(
            name, f"column {column!r} sums to {total:g}, the file says {data['check_sum']:g}", code="shape"
        )
