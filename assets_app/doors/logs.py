"""Logs as one JSON object a line, each with the id of the request that caused it.

The id comes in and goes out as ``X-Request-ID``; a task carries that of the request that dispatched it in its headers.
Bodies, query strings, names of people and the addresses they come from are not logged; a person is a number.
"""

from __future__ import annotations

import re
import time
import uuid
from collections.abc import Callable
from typing import Any

import structlog
from celery import signals
from django.conf import settings
from django.contrib.auth import get_user_model
from django.http import HttpRequest, HttpResponse
from django.utils.functional import LazyObject, empty

from assets_app.doors import log_lines, metrics

HEADER = "X-Request-ID"
_TAKEN = re.compile(r"[A-Za-z0-9._-]{8,64}")  # anything else could forge lines or fill the disk
_QUIET = ("health-live", "health-ready", "metrics")


def connect() -> None:
    """Send structlog's lines through logging, and let tasks carry the id of their request."""
    structlog.configure(
        processors=[*log_lines.BEFORE, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )
    signals.setup_logging.connect(_keep_our_logging, dispatch_uid="keep our logging")
    signals.before_task_publish.connect(_put_into_headers, dispatch_uid="request id into headers")
    signals.task_prerun.connect(_take_from_headers, dispatch_uid="request id from headers")
    signals.task_postrun.connect(_forget, dispatch_uid="request id forgotten")


class RequestLogMiddleware:
    """Gives every request an id, tells how long it took, and counts it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self.log = structlog.get_logger("soundjoint.request")

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get(HEADER, "")
        request_id = given if _TAKEN.fullmatch(given) else uuid.uuid4().hex
        began = time.perf_counter()
        with structlog.contextvars.bound_contextvars(request_id=request_id):
            response = self.get_response(request)
            self._tell(request, response, time.perf_counter() - began)
        response[HEADER] = request_id
        return response

    def _tell(self, request: HttpRequest, response: HttpResponse, seconds: float) -> None:
        match = request.resolver_match
        is_file = match is None and request.path.startswith(settings.STATIC_URL)
        # The pattern, never the path: it would grow without end.
        route = f"/{match.route}" if match else "static file" if is_file else "unknown"
        metrics.count_request(request.method or "", route, response.status_code, seconds)
        is_quiet = is_file or (match and match.url_name in _QUIET)
        if is_quiet and response.status_code < 400:
            return
        self.log.info(
            "request",
            method=request.method,
            route=route,
            status=response.status_code,
            ms=round(1000 * seconds, 1),
            person=_known_person(request),
        )


def _known_person(request: HttpRequest) -> int | None:
    """Who it was, where the request asked for that anyhow; a line in the log is worth no query."""
    user = vars(request).get("user")
    if user is None or (isinstance(user, LazyObject) and user._wrapped is empty):
        return None
    return user.pk


def who_signs_in(username: str | None, *_: object) -> str:
    """Whom the lines of django-axes about signing in, failing to, and signing out tell of. Which name was tried and
    from where stands in its tables, for whoever may read those."""
    pk = get_user_model().objects.filter(username=username or "").values_list("pk", flat=True).first()
    return "a name that nobody has" if pk is None else f"person {pk}"


def _keep_our_logging(**_: Any) -> None:
    """Celery sets up no logging of its own where this signal has a receiver; Django's is there already."""


def _put_into_headers(*, headers: dict[str, Any], **_: Any) -> None:
    known = structlog.contextvars.get_contextvars().get("request_id")
    if known:
        headers["request_id"] = known


def _take_from_headers(*, task_id: str, task: Any, **_: Any) -> None:
    if task.request.is_eager:  # runs inside the request itself
        return
    structlog.contextvars.clear_contextvars()
    structlog.contextvars.bind_contextvars(
        task=task.name, task_id=task_id, request_id=getattr(task.request, "request_id", None) or task_id
    )


def _forget(*, task: Any, **_: Any) -> None:
    if not task.request.is_eager:
        structlog.contextvars.clear_contextvars()
