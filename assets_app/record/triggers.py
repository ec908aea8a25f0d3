"""The database itself forbids changing or removing an entry, on both engines.

Whoever owns the database can drop a trigger; the hash chain is there to show it. Emptying a database on purpose
(``manage.py flush``) lifts the triggers for that one command.
"""

from __future__ import annotations

from django.db.backends.base.base import BaseDatabaseWrapper

TABLE = "assets_app_recordentry"
NAMES = ("record_no_update", "record_no_delete", "record_no_replace", "record_no_truncate")
_SAYS = "the record only grows: an entry is never changed or removed"

_SQLITE = (
    f"CREATE TRIGGER IF NOT EXISTS record_no_update BEFORE UPDATE ON {TABLE} BEGIN SELECT RAISE(ABORT, '{_SAYS}'); END",
    f"CREATE TRIGGER IF NOT EXISTS record_no_delete BEFORE DELETE ON {TABLE} BEGIN SELECT RAISE(ABORT, '{_SAYS}'); END",
    # INSERT OR REPLACE removes the old row without firing the trigger above
    f"CREATE TRIGGER IF NOT EXISTS record_no_replace BEFORE INSERT ON {TABLE} "  # noqa: S608
    f"WHEN EXISTS (SELECT 1 FROM {TABLE} WHERE id = NEW.id OR (site_id = NEW.site_id AND sequence = NEW.sequence)) "
    f"BEGIN SELECT RAISE(ABORT, '{_SAYS}'); END",
)
_POSTGRESQL = (
    "CREATE OR REPLACE FUNCTION record_only_grows() RETURNS trigger LANGUAGE plpgsql AS "
    f"$$ BEGIN RAISE EXCEPTION '{_SAYS}' USING ERRCODE = 'integrity_constraint_violation'; END $$",
    f"CREATE OR REPLACE TRIGGER record_no_update BEFORE UPDATE ON {TABLE} "
    "FOR EACH ROW EXECUTE FUNCTION record_only_grows()",
    f"CREATE OR REPLACE TRIGGER record_no_delete BEFORE DELETE ON {TABLE} "
    "FOR EACH ROW EXECUTE FUNCTION record_only_grows()",
    f"CREATE OR REPLACE TRIGGER record_no_truncate BEFORE TRUNCATE ON {TABLE} "
    "FOR EACH STATEMENT EXECUTE FUNCTION record_only_grows()",
)


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the triggers in place; harmless where they already are."""
    statements = {"sqlite": _SQLITE, "postgresql": _POSTGRESQL}[connection.vendor]
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def lift(connection: BaseDatabaseWrapper) -> None:
    """Take the triggers away; for ``manage.py flush`` and for tests that forge the record."""
    on_table = f" ON {TABLE}" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        for name in NAMES:
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on_table}")


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of the triggers that should be there and are not."""
    if connection.vendor == "sqlite":
        wanted, query = NAMES[:3], "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s"
    else:
        wanted = (NAMES[0], NAMES[1], NAMES[3])
        query = "SELECT tgname FROM pg_trigger WHERE tgrelid = %s::regclass AND tgenabled <> 'D'"
    with connection.cursor() as cursor:
        cursor.execute(query, [TABLE])
        there = {row[0] for row in cursor.fetchall()}
    return [name for name in wanted if name not in there]
