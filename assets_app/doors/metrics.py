"""Figures for a Prometheus server at ``/metrics``: requests by route, and how the work behind the doors stands.

The floors above answer ``standing_asked`` with measures of their own. Only a request that comes straight from this
machine, or that carries ``METRICS_TOKEN``, is answered. Where several web processes share a port, they add up their
requests in the folder ``PROMETHEUS_MULTIPROC_DIR``.
"""

from __future__ import annotations

import hmac
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, connection
from django.dispatch import Signal
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from assets_app.patience import within

SHARED = os.environ.get("PROMETHEUS_MULTIPROC_DIR", "")
if SHARED:
    Path(SHARED).mkdir(parents=True, exist_ok=True)  # prometheus_client looks for it when it is imported

from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, Histogram, generate_latest  # noqa: E402
from prometheus_client.core import GaugeMetricFamily  # noqa: E402
from prometheus_client.multiprocess import MultiProcessCollector  # noqa: E402

DATABASE_TIMEOUT_S = 3
standing_asked = Signal()  # kwargs: now: datetime; a receiver answers with an iterable of Measure

_own = CollectorRegistry()
_requests = Histogram(
    "soundjoint_request_seconds",
    "Time to answer a request, by route.",
    ["method", "route", "status"],
    buckets=(0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10),
    registry=_own,
)
_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
REFUSED = (
    "The figures are told to this machine itself, or to who sends METRICS_TOKEN as `Authorization: Bearer`.\n"
    "Whoever runs the service sets it.\n"
)
_FORWARDED = ("X-Forwarded-For", "X-Forwarded-Proto", "X-Forwarded-Host", "Forwarded", "X-Real-Ip")


@dataclass(frozen=True, kw_only=True)
class Measure:
    """One figure, or one a label: ``values`` maps a label's value (or the empty text) to the number."""

    name: str
    what: str
    values: Mapping[str, float]
    label: str = field(default="")


def ask_database() -> None:
    """Raises ``DatabaseError`` or ``TimeoutError`` where the database does not answer soon. On a connection of its own:
    one that hangs would hold whoever asks."""

    def select() -> None:
        try:
            with connection.cursor() as cursor:
                cursor.execute("SELECT 1")
        finally:
            connection.close()

    within(DATABASE_TIMEOUT_S, select)


def standing() -> Iterator[Measure]:
    """What the floors above measure now, one after another."""
    from django.utils import timezone

    for _, measures in standing_asked.send(sender=__name__, now=timezone.now()):
        yield from measures


def count_request(method: str, route: str, status: int, seconds: float) -> None:
    method = method if method in _METHODS else "other"
    _requests.labels(method, route, f"{status // 100}xx").observe(seconds)


def may_read(request: HttpRequest) -> bool:
    """With the token, or straight from this machine: not through a proxy, which would make everybody look local."""
    wanted = settings.METRICS_TOKEN
    given = request.headers.get("Authorization", "").removeprefix("Bearer ")
    if wanted and hmac.compare_digest(given.encode(), wanted.encode()):
        return True
    if any(name in request.headers for name in _FORWARDED):
        return False
    return request.META.get("REMOTE_ADDR") in {"127.0.0.1", "::1"}


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    if not may_read(request):
        return HttpResponse(REFUSED, status=403, content_type="text/plain")
    asked = CollectorRegistry()
    asked.register(_Standing())
    if SHARED:
        MultiProcessCollector(asked)
        body = generate_latest(asked)
    else:
        body = generate_latest(asked) + generate_latest(_own)
    return HttpResponse(body, content_type=CONTENT_TYPE_LATEST)


class _Standing:
    """The measures as Prometheus wants them. Without the database they are left out, and that is told."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        answers = 0.0
        try:
            ask_database()
            yield from self._families()
            answers = 1.0
        except (DatabaseError, TimeoutError):
            pass
        what = "1 where the database answers; at 0 the figures that stand in it are missing here."
        yield GaugeMetricFamily("soundjoint_database_answers", what, value=answers)

    def _families(self) -> Iterator[GaugeMetricFamily]:
        for measure in standing():
            family = GaugeMetricFamily(
                f"soundjoint_{measure.name}", measure.what, labels=[measure.label] if measure.label else None
            )
            for label, value in measure.values.items():
                family.add_metric([label] if measure.label else [], value)
            yield family
