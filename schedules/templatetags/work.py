"""Small words of the work pages."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template

register = template.Library()


@register.filter
def held_by(asset_id: int, holds: Mapping[int, Any]) -> Any:
    """The hold that stands on an asset, from a mapping; None where none does."""
    return holds.get(asset_id)
