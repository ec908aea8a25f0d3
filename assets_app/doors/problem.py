"""Refusals as problem+json (RFC 9457), for the API."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import DataError, OperationalError
from django.http import Http404, JsonResponse
from rest_framework import exceptions
from rest_framework.response import Response

from assets_app.refusals import Refused
from engineering.errors import InputError

CONTENT_TYPE = "application/problem+json"


def handler(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler: every error of the API carries ``type``, ``title``, ``status``, ``code``, ``detail``."""
    if isinstance(error, Refused):
        return _problem(error.status, error.code, error.message, field=error.field, **error.data)
    if isinstance(error, InputError):
        return _problem(422, error.code, error.reason, field=error.argument)
    if isinstance(error, Http404):
        return _problem(404, "not_found", "There is nothing here that you can see.")
    if isinstance(error, PermissionDenied):
        return _problem(403, "not_allowed", "You may not do this.")
    if isinstance(error, exceptions.ValidationError):
        return _problem(422, "fields", "Some fields need another value.", errors=_field_errors(error.detail))
    if isinstance(error, exceptions.APIException):
        response = _problem(error.status_code, str(error.default_code), str(error.detail))
        for name, value in _extra_headers(error).items():
            response[name] = value
        return response
    if isinstance(error, RequestDataTooBig):
        return _problem(413, "too_large", "That is too much at once.")
    if isinstance(error, OverflowError | DataError):  # an id beyond 64 bits in a filter, a day before the year 1
        return _problem(422, "out_of_range", "A number or a day lies outside of what can be kept.")
    if isinstance(error, OperationalError):
        return _problem(503, "busy", "The database is busy. Nothing was written; send it again in a moment.")
    return None


def plain(status: int, *, code: str = "", detail: str = "") -> JsonResponse:
    """A refusal that came before any view of the API: no such address, a forged form, a fault of ours."""
    title = HTTPStatus(status).phrase
    body = {"type": "about:blank", "title": title, "status": status, "code": code or title.lower().replace(" ", "_")}
    return JsonResponse(body | {"detail": detail or f"{title}."}, status=status, content_type=CONTENT_TYPE)


def _problem(status: int, code: str, detail: str, *, field: str = "", **extra: Any) -> Response:
    body = {"type": "about:blank", "title": code.replace("_", " "), "status": status, "code": code, "detail": detail}
    if field:
        body["field"] = field
    return Response({**body, **extra}, status=status, content_type=CONTENT_TYPE)


def _field_errors(detail: Any, path: str = "") -> list[dict[str, str]]:
    """DRF's nested error tree as a flat list of field, message and code."""
    if isinstance(detail, dict):
        return [row for key, value in detail.items() for row in _field_errors(value, f"{path}.{key}".lstrip("."))]
    if isinstance(detail, list):
        rows: list[dict[str, str]] = []
        for index, value in enumerate(detail):
            nested = isinstance(value, dict | list)
            rows += _field_errors(value, f"{path}[{index}]" if nested else path)
        return rows
    return [{"field": path, "message": str(detail), "code": getattr(detail, "code", "invalid")}]


def _extra_headers(error: exceptions.APIException) -> dict[str, str]:
    headers: dict[str, str] = {}
    if getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = str(error.auth_header)
    if getattr(error, "wait", None):
        headers["Retry-After"] = f"{error.wait:.0f}"
    return headers
