"""Answers of the API as JSON, written by orjson: days and moments go in as they are, in a tenth of the time."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import orjson
from rest_framework.renderers import JSONRenderer

_OPTIONS = orjson.OPT_UTC_Z | orjson.OPT_SERIALIZE_NUMPY


class JSONAnswers(JSONRenderer):
    """As REST framework's own writes them; what orjson refuses (a number beyond 64 bits, say) that one still writes."""

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        if data is None:
            return b""
        if not self.get_indent(accepted_media_type or "", renderer_context or {}):
            try:
                return orjson.dumps(data, default=self.encoder_class().default, option=_OPTIONS)
            except TypeError:
                pass
        written: bytes = super().render(data, accepted_media_type, renderer_context)
        return written
