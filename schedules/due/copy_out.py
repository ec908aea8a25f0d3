"""COPY from PostgreSQL, its rows taken straight from libpq: asked for each row, psycopg costs three times as much.

Source: PostgreSQL documentation, libpq, "Functions Associated with the COPY Command".
"""

from __future__ import annotations

from collections.abc import Iterator

from django.db import connection
from psycopg import OperationalError
from psycopg.errors import error_from_result
from psycopg.pq import ConnStatus, ExecStatus
from psycopg.pq.abc import PGconn


def copied(query: str) -> bytes:
    """What COPY sends in binary for a query, whole.

    Raises Django's database errors, as a cursor would. The connection can go on after them, and after whatever else
    breaks in between two rows, as a worker's time limit does: what is left of the rows is let go.
    """
    with connection.wrap_database_errors:
        connection.ensure_connection()
        return b"".join(_rows(connection.connection.pgconn, f"COPY ({query}) TO STDOUT (FORMAT binary)"))


def _rows(wire: PGconn, statement: str) -> Iterator[bytes]:
    answer = wire.exec_(statement.encode())
    if answer.status == ExecStatus.COPY_OUT:
        row: memoryview | bytes = b"to come"
        try:
            while row := wire.get_copy_data(0)[1]:
                yield bytes(row)
        finally:
            while row:
                row = wire.get_copy_data(0)[1]
            while closing := wire.get_result():
                answer = closing
    if answer.status != ExecStatus.COMMAND_OK:
        lost = wire.status == ConnStatus.BAD
        raise OperationalError(answer.get_error_message()) if lost else error_from_result(answer)
