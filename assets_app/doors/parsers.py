"""JSON as the API takes it: what no column could hold is refused here, once, before any serializer sees it."""

from __future__ import annotations

import math
from typing import Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser

LARGEST, DEEPEST = 2**63 - 1, 60


class StrictJSONParser(JSONParser):
    """Refuses what is nested too deep, numbers beyond 64 bits or infinite, and text with NUL or half a character."""

    def parse(self, stream: Any, media_type: str | None = None, parser_context: dict[str, Any] | None = None) -> Any:
        try:
            told = super().parse(stream, media_type, parser_context)
        except RecursionError:
            raise ParseError(f"Nested deeper than {DEEPEST} levels.") from None
        _check(told, 0)
        return told


def _check(value: Any, depth: int) -> None:
    if depth > DEEPEST:
        raise ParseError(f"Nested deeper than {DEEPEST} levels.")
    if isinstance(value, dict):
        for name, each in value.items():
            _check(name, depth)
            _check(each, depth + 1)
    elif isinstance(value, list):
        for each in value:
            _check(each, depth + 1)
    elif isinstance(value, str):
        _check_text(value)
    elif isinstance(value, float) and not math.isfinite(value):
        raise ParseError("A number is too large.")
    elif isinstance(value, int) and not -LARGEST <= value <= LARGEST:
        raise ParseError("A whole number is too large.")


def _check_text(value: str) -> None:
    """A text that reads as a number is one where a field takes it so; an infinite one is no figure of anything."""
    if "\x00" in value or any("\ud800" <= each <= "\udfff" for each in value):
        raise ParseError("A text holds characters that are none.")
