"""Workers and beat write a sign of life into the database, so that one that hangs is seen although it still runs.

A worker's comes from its own event loop, beat's from each entry that it managed to publish: a beat that cannot reach
the broker falls silent too. The clock is the machine's, not the one that due dates are computed by.
"""

from __future__ import annotations

import logging
import time
from datetime import UTC, datetime, timedelta
from typing import Any

from celery import signals
from django.db import DatabaseError, connection

EVERY_S = 10.0
SILENT_AFTER_S = 60.0
FORGOTTEN_AFTER = timedelta(days=1)  # a worker that never came back, such as a container that was replaced
BEAT = "beat"

_log = logging.getLogger(__name__)
_written_at: dict[str, float] = {}


def connect() -> None:
    """Let Celery's processes of this program write their signs of life."""
    signals.heartbeat_sent.connect(_worker_lives, dispatch_uid="worker lives")
    signals.worker_shutdown.connect(_worker_leaves, dispatch_uid="worker leaves")
    signals.beat_init.connect(_beat_starts, dispatch_uid="beat starts")
    signals.beat_embedded_init.connect(_beat_starts, dispatch_uid="embedded beat starts")


def write(name: str, kind: str) -> None:
    """Write a sign of life now; a database that does not answer is logged and costs nothing else."""
    from assets_app.doors.models import Heartbeat

    now = datetime.now(UTC)
    try:
        Heartbeat.objects.update_or_create(name=name, defaults={"kind": kind, "beat_at": now})
        Heartbeat.objects.filter(beat_at__lt=now - FORGOTTEN_AFTER).delete()
    except DatabaseError as error:
        _log.warning("no sign of life of %s written: %s", name, type(error).__name__)


def ages_s(kind: str) -> dict[str, float]:
    """Name -> seconds since its last sign of life."""
    from assets_app.doors.models import Heartbeat

    now = datetime.now(UTC)
    rows = Heartbeat.objects.filter(kind=kind).order_by("name").values_list("name", "beat_at")
    return {name: (now - at).total_seconds() for name, at in rows}


def _now_and_then(name: str, kind: str) -> None:
    if time.monotonic() - _written_at.get(name, -EVERY_S) < EVERY_S:
        return
    _written_at[name] = time.monotonic()
    write(name, kind)
    connection.close()  # pool processes are forked from this one and must not share its connection


def _worker_lives(*, sender: Any, **_: Any) -> None:
    _now_and_then(sender.eventer.hostname, "worker")


def _worker_leaves(*, sender: Any, **_: Any) -> None:
    """One that ends in order is not missed."""
    from assets_app.doors.models import Heartbeat

    try:
        Heartbeat.objects.filter(name=sender.hostname).delete()
    except DatabaseError as error:
        _log.warning("could not sign off %s: %s", sender.hostname, type(error).__name__)
    connection.close()


def _beat_starts(**_: Any) -> None:
    signals.after_task_publish.connect(_beat_lives, dispatch_uid="beat lives")


def _beat_lives(**_: Any) -> None:
    _now_and_then(BEAT, "beat")
