"""Keys of rows as forms and addresses send them."""

from __future__ import annotations

LONGEST_KEY = 19  # digits; the database's own keys end before


def as_key(text: str) -> int | None:
    """The key; None for what is none. ``str.isdigit`` alone lets in digits that ``int`` refuses, and keys that no
    database holds."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < LONGEST_KEY else None
