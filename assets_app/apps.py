from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.models.signals import post_migrate


class AssetsAppConfig(AppConfig):
    name = "assets_app"
    verbose_name = "Assets and inspections"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from assets_app.doors import heartbeats, logs
        from assets_app.people.certificate_file import CERTIFICATES
        from assets_app.register import lists

        lists.offer(CERTIFICATES)
        post_migrate.connect(_guard_record, sender=self)
        logs.connect()
        heartbeats.connect()


def _guard_record(*, using: str, **_: Any) -> None:
    """SQLite rebuilds a table to alter it and drops its triggers silently: put them back after every migration."""
    from assets_app.record import triggers

    connection = connections[using]
    if triggers.TABLE in connection.introspection.table_names():
        triggers.install(connection)
