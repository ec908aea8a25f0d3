"""``manage.py flush`` empties the whole database, which is the one case in which the record is let go."""

from __future__ import annotations

from typing import Any

from django.core.management.commands import flush
from django.db import connections

from assets_app.record import triggers


class Command(flush.Command):
    """Lifts the triggers that keep the record, empties everything, puts them back."""

    def handle(self, **options: Any) -> None:
        connection = connections[options["database"]]
        triggers.lift(connection)
        try:
            super().handle(**options)
        finally:
            triggers.install(connection)
