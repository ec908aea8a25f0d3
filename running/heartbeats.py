"""How long ago a worker or beat last wrote a sign of life, asked of the database without the service's own code.

What hangs may still run; the supervisor ends it and starts it again. See ``assets_app/doors/heartbeats.py``.
"""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime

_SQL = "SELECT beat_at FROM assets_app_heartbeat WHERE name = "


def age_of(database_url: str, name: str) -> Callable[[], float | None]:
    """A function that tells the seconds since the last sign of life of ``name``.

    It answers infinity where there is none, and None where the database does not say: then nobody is to blame.
    """
    read = _postgres if database_url.startswith("postgres") else _sqlite

    def age_s() -> float | None:
        found = read(database_url, name)
        if found is None or found == "":
            return None if found is None else math.inf
        at = found if isinstance(found, datetime) else datetime.fromisoformat(found)
        return (datetime.now(UTC) - (at if at.tzinfo else at.replace(tzinfo=UTC))).total_seconds()

    return age_s


def _postgres(url: str, name: str) -> datetime | str | None:
    import psycopg

    try:
        with psycopg.connect(url, connect_timeout=3) as connection:
            row = connection.execute(_SQL + "%s", [name]).fetchone()
    except psycopg.Error:
        return None
    return row[0] if row else ""


def _sqlite(url: str, name: str) -> datetime | str | None:
    try:
        with closing(sqlite3.connect(f"file:{url.removeprefix('sqlite:///')}?mode=ro", uri=True, timeout=3)) as one:
            row = one.execute(_SQL + "?", [name]).fetchone()
    except sqlite3.Error:
        return None
    return str(row[0]) if row else ""
