"""Is it alive, and is it fit to serve? Two addresses for whatever watches the service.

``/health/live/`` says that the process answers. ``/health/ready/`` asks the database, the broker, beat, the workers and
the age of the oldest stale mark, and answers 503 when one of them is not well, with what to do. What only the database
could tell is not known while it does not answer (``"ok": null``). Neither tells names or addresses.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.db import DatabaseError
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from kombu import Connection
from kombu.exceptions import OperationalError as BrokerError

from assets_app.doors import heartbeats, metrics

STALE_MARK_MEASURE = "stale_marks_oldest_seconds"
BROKER_TIMEOUT_S = 2

Answer = dict[str, Any]


@require_safe
@never_cache
def live(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"live": True})


@require_safe
@never_cache
def ready(request: HttpRequest) -> JsonResponse:
    checks: dict[str, Answer] = {}
    for name, check in CHECKS.items():
        is_known = name not in IN_DATABASE or checks["database"]["ok"]
        checks[name] = _asked(check) if is_known else {"ok": None, "trouble": "not known without the database"}
        if checks[name]["ok"] is False:
            checks[name]["do"] = TO_DO[name]
    well = all(check["ok"] for check in checks.values())
    return JsonResponse({"ready": well, "checks": checks}, status=200 if well else 503)


def _asked(check: Callable[[], Answer]) -> Answer:
    """The check's answer with its time; trouble is told by its kind only."""
    began = time.perf_counter()
    try:
        answer = check()
    except (DatabaseError, BrokerError, OSError) as error:
        answer = {"ok": False, "trouble": type(error).__name__}
    return {**answer, "ms": round(1000 * (time.perf_counter() - began), 1)}


def _database() -> Answer:
    metrics.ask_database()
    return {"ok": True}


def _broker() -> Answer:
    options = {"socket_connect_timeout": BROKER_TIMEOUT_S, "socket_timeout": BROKER_TIMEOUT_S}
    with Connection(settings.CELERY_BROKER_URL, transport_options=options) as broker:
        broker.ensure_connection(max_retries=1, interval_start=0, timeout=BROKER_TIMEOUT_S)
    return {"ok": True}


def _beat() -> Answer:
    ages = heartbeats.ages_s("beat").values()
    youngest = min(ages, default=None)
    return {"ok": _fresh(youngest), "age_s": _rounded(youngest)}


def _workers() -> Answer:
    """One that answers is enough; those that fell silent are counted."""
    ages = heartbeats.ages_s("worker").values()
    silent = sum(not _fresh(age) for age in ages)
    youngest = min(ages, default=None)
    return {"ok": _fresh(youngest), "age_s": _rounded(youngest), "alive": len(ages) - silent, "silent": silent}


def _stale_marks() -> Answer:
    oldest = next((m.values.get("") for m in metrics.standing() if m.name == STALE_MARK_MEASURE), None)
    return {"ok": oldest is not None and oldest <= settings.STALE_MARK_LIMIT_S, "oldest_s": _rounded(oldest)}


def _fresh(age_s: float | None) -> bool:
    return age_s is not None and age_s <= heartbeats.SILENT_AFTER_S


def _rounded(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 1)


TO_DO = {
    "database": "Start the database, or set DATABASE_URL right. Until then nothing is answered and nothing computed.",
    "broker": "Start Redis, or set REDIS_URL right. Nothing is lost: what is owed stands in the database.",
    "beat": "Start one beat, or read its log. Until then no alert goes out, and nothing that a day brings is found.",
    "workers": "Start a worker, or read its log. Until then due dates stand as they were and no alert goes out.",
    "stale_marks": "Due dates lag behind what was entered: read the logs of the workers, or start one more.",
}
CHECKS: dict[str, Callable[[], Answer]] = {
    "database": _database,
    "broker": _broker,
    "beat": _beat,
    "workers": _workers,
    "stale_marks": _stale_marks,
}
IN_DATABASE = frozenset({"beat", "workers", "stale_marks"})
