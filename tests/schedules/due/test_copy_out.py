"""What goes wrong in the middle of a COPY is told as a cursor would tell it, and the connection goes on."""

from __future__ import annotations

import signal

import pytest
from django.db import DataError, OperationalError, ProgrammingError, connection, transaction

from schedules.due import binary_rows
from schedules.due.copy_out import copied

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]

MANY = "SELECT k, rpad('', 500, 'x') FROM generate_series(1, 200000) k"


def goes_on() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 7")
        return cursor.fetchone() == (7,)


def ask(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)


def test_all_rows_come_as_psycopg_brings_them():
    query = "SELECT k, k / 3.0::float8, NULL::date FROM generate_series(1, 5000) k"
    with connection.cursor() as cursor, cursor.cursor.copy(f"COPY ({query}) TO STDOUT (FORMAT binary)") as copy:
        theirs = b"".join(copy)
    assert copied(query) == theirs
    assert goes_on()


def test_no_row_is_nothing_but_the_frame():
    assert copied("SELECT 1 WHERE FALSE") == binary_rows.SIGNATURE + binary_rows.TRAILER


@pytest.mark.parametrize(
    ("query", "error"),
    [
        ("SELECT 1 / (k - 90000) FROM generate_series(1, 100000) k", DataError),  # after many rows
        ("SELECT 1 FROM nowhere", ProgrammingError),
        ("SELECT 1, pg_sleep(5) FROM generate_series(1, 5)", OperationalError),
    ],
)
def test_an_error_is_raised_as_by_a_cursor(query, error):
    ask("SET statement_timeout = '500ms'")
    with pytest.raises(error), transaction.atomic():
        copied(query)
    ask("RESET statement_timeout")
    assert goes_on()


def test_a_lost_connection_is_one():
    with pytest.raises(OperationalError):
        copied("SELECT pg_terminate_backend(pg_backend_pid()) FROM generate_series(1, 5)")
    connection.close()
    assert goes_on()


def test_a_time_limit_in_between_leaves_the_connection_in_order():
    def limit(*_):
        raise TimeoutError

    before = signal.signal(signal.SIGALRM, limit)
    try:
        signal.setitimer(signal.ITIMER_REAL, 0.05)
        with pytest.raises(TimeoutError), transaction.atomic():
            copied(MANY)
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
    assert goes_on()
