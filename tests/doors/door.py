"""One person through one door of the world; what it changed is taken back."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from http.cookies import SimpleCookie
from typing import Any

from django.db import connection, transaction
from django.test import Client
from django.urls import reverse

from tests.doors.rows import ROWS
from tests.doors.world import World

WRITES = re.compile(r"\s*(INSERT INTO|UPDATE|DELETE FROM)\s+\"?(\w+)", re.IGNORECASE)
MAY_BE_WRITTEN = {"django_session"}  # what the list was asked last is remembered for the way back


class Door:
    """The world, and a way to send one person through one door; what it changed is taken back."""

    def __init__(self, world: World) -> None:
        self.world, self.ghost = world, world.ghost()
        self.cookies = {who: self._signed_in(person) for who, person in world.people.items()}
        self.written: list[str] = []
        # A client loads all middleware with its first request, so the same two serve everybody.
        self.clients = {strict: Client(enforce_csrf_checks=strict) for strict in (False, True)}

    @staticmethod
    def _signed_in(person: Any) -> str:
        client = Client()
        if person is not None:
            client.force_login(person)
        return client.cookies.output(header="", sep=";")

    def go(
        self,
        key: str,
        role: str,
        where: str,
        *,
        method: str = "",
        ghost: bool = False,
        strict: bool = False,
        sent: dict[str, Any] | None = None,
        raises: bool = True,
    ) -> Any:
        """The answer; ``written`` then names the tables that were written to."""
        row, world = ROWS[key], self.ghost if ghost else self.world
        method, name = method or key.split()[0], key.split()[1]
        client = self._client(role, where, strict=strict, raises=raises)
        path, content = reverse(name, kwargs=row.where(world)), row.sent(world) if sent is None else sent
        options: dict[str, Any] = {"data": content}
        if method != "GET" and not row.form and path.startswith("/api/"):
            options = {"data": json.dumps(content), "content_type": "application/json"}
        elif method not in ("GET", "POST"):
            options = {}
        return self._asked(lambda: getattr(client, method.lower())(path, **options))

    def send(
        self,
        role: str,
        where: str,
        method: str,
        path: str,
        *,
        query: Any = None,
        body: Any = None,
        raw: bytes | None = None,
        kind: str = "application/json",
    ) -> Any:
        """Anything to any address; a server error is an answer here."""
        client = self._client(role, where, raises=False)
        content = raw
        if raw is None:
            plain = isinstance(body, dict | list | str | int | float | bool | None)
            content = json.dumps(body, default=str).encode() if plain else b""
        return self._asked(
            lambda: client.generic(method.upper(), path, content, content_type=kind, query_params=dict(query or {}))
        )

    def _client(self, role: str, where: str, *, strict: bool = False, raises: bool = True) -> Client:
        client = self.clients[strict]
        client.raise_request_exception = raises
        client.cookies = SimpleCookie(self.cookies[role, where])
        return client

    def _asked(self, ask: Callable[[], Any]) -> Any:
        self.written = []
        with transaction.atomic():
            with connection.execute_wrapper(self._watch):
                response = ask()
                response.body = b"".join(response.streaming_content) if response.streaming else response.content
            transaction.set_rollback(True)
        return response

    def _watch(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        found = WRITES.match(sql)
        if found and found[2] not in MAY_BE_WRITTEN:
            self.written.append(found[2])
        return execute(sql, params, many, context)
