"""The same request sent twice is done once: the header ``Idempotency-Key`` and its table."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from typing import Any

from django.db import transaction
from rest_framework.request import Request
from rest_framework.response import Response

from assets_app.record.models import IdempotencyKey
from assets_app.refusals import Conflict, Unprocessable


def once(request: Request, deed: Callable[[], tuple[int, dict[str, Any]]]) -> Response:
    """Run ``deed`` (returning status and JSON body) in a transaction, once a person and key.

    Without the header the deed just runs. The same key with the same content gets the first answer again; with other
    content ``Unprocessable`` (``key_reused``). A refusal rolls everything back, the key too, so it can be sent again.
    """
    key = request.headers.get("Idempotency-Key", "")
    with transaction.atomic():
        if not key:
            status, body = deed()
            return Response(body, status=status)
        if len(key) > 80:
            raise Unprocessable("key_too_long", "Idempotency-Key may have at most 80 characters.")
        digest = _request_hash(request)
        row, fresh = IdempotencyKey.objects.select_for_update().get_or_create(
            person_id=request.user.pk, key=key, defaults={"request_hash": digest}
        )
        if not fresh:
            return _replay(row, digest)
        row.status, row.body = deed()
        row.save(update_fields=["status", "body"])
        return Response(row.body, status=row.status)


def _replay(row: IdempotencyKey, digest: str) -> Response:
    if row.request_hash != digest:
        raise Unprocessable("key_reused", "This Idempotency-Key was used for another request. Use a new key.")
    if row.status == 0:
        raise Conflict("still_at_work", "The first request with this key is still at work. Send it again in a moment.")
    return Response(row.body, status=row.status, headers={"Idempotency-Replayed": "true"})


def _request_hash(request: Request) -> str:
    """Over method, path and content; an uploaded file counts by its bytes."""
    digest = hashlib.sha256(f"{request.method}\n{request.path}\n".encode())
    data = request.data
    if isinstance(data, Mapping):
        data = {name: value for name, value in data.items() if not hasattr(value, "chunks")}
    digest.update(json.dumps(data, sort_keys=True, default=str).encode())
    for name in sorted(request.FILES):
        upload = request.FILES[name]
        digest.update(name.encode())
        for chunk in upload.chunks():
            digest.update(chunk)
        upload.seek(0)
    return digest.hexdigest()
