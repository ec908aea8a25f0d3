"""Query sets whose SQL is made once: for what every request asks, making it anew costs more than its answer.

A query set names with ``Given`` what differs from one time to the next; its statement is compiled at its first use, and
later uses only send it with their own values.

    STANDING = Statement(lambda: Role.objects.filter(person_id=Given("person")).values_list("site_id", "name"))
    STANDING.rows(person=7)
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from django.db import connection
from django.db.models import Field, ForeignKey, Lookup, QuerySet, Value


class Given(Value):
    """The place of a value that is named when the statement is sent."""

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        return "%s", [self]


@ForeignKey.register_lookup
@Field.register_lookup
class OneOf(Lookup):
    """``joint_id__one_of=Given("joints")``: one statement for any number of keys; they are given as a list."""

    lookup_name = "one_of"
    prepare_rhs = False

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        column, params = self.process_lhs(compiler, connection)
        found = "= ANY(%s)" if connection.vendor == "postgresql" else "IN (SELECT value FROM json_each(%s))"
        keys = self.rhs if isinstance(self.rhs, Given) else _adapted(self.rhs)
        return f"{column} {found}", [*params, keys]


class Statement:
    """The rows of a ``values_list`` query set, as tuples; threads may share it."""

    def __init__(self, build: Callable[[], QuerySet[Any]]) -> None:
        self._build = build
        self._compiled: tuple[str, tuple[Any, ...], Any, Any] | None = None

    def rows(self, **given: Any) -> list[tuple[Any, ...]]:
        """The rows for the given values. ``KeyError`` where one is not named."""
        sql, places, compiler, converters = self._compiled or self._compile()
        values = [_adapted(given[place.value]) if isinstance(place, Given) else place for place in places]
        with connection.cursor() as cursor:
            cursor.execute(sql, values)
            found: list[tuple[Any, ...]] = cursor.fetchall()
        return [tuple(row) for row in compiler.apply_converters(found, converters)] if converters else found

    def _compile(self) -> tuple[str, tuple[Any, ...], Any, Any]:
        compiler = self._build().query.get_compiler(connection=connection)
        sql, places = compiler.as_sql()
        converters = compiler.get_converters([column for column, _, _ in compiler.select])
        self._compiled = sql, places, compiler, converters
        return self._compiled


def _adapted(value: Any) -> Any:
    """As Django gives it to the database."""
    if isinstance(value, datetime):
        return connection.ops.adapt_datetimefield_value(value)
    if isinstance(value, list):
        return value if connection.vendor == "postgresql" else json.dumps(value)
    return connection.ops.adapt_datefield_value(value) if isinstance(value, date) else value
