"""A PDF as an answer of a page or of the API."""

from __future__ import annotations

import json
import re
from typing import Any

from django.http import HttpResponse
from rest_framework.renderers import BaseRenderer

CONTENT_TYPE = "application/pdf"


class PdfRenderer(BaseRenderer):
    """Negotiates ``application/pdf``. The PDF itself is answered as bytes; what comes through here is a refusal."""

    media_type = CONTENT_TYPE
    format = "pdf"

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        return json.dumps(data).encode()


def pdf_answer(content: bytes, name: str) -> HttpResponse:
    """Shown in the browser, kept nowhere on the way; ``name`` without its ending."""
    answer = HttpResponse(content, content_type=CONTENT_TYPE)
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-") or "sheet"
    answer["Content-Disposition"] = f'inline; filename="{plain}.pdf"'
    answer["Cache-Control"] = "private, no-store"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
