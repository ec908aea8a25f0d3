"""How an entry is hashed. Pure; the stand-alone verifier repeats exactly this."""

from __future__ import annotations

import hashlib
import json
from datetime import date, datetime
from decimal import Decimal
from typing import Any


def canonical(content: dict[str, Any]) -> str:
    """``content`` as JSON text that is the same for the same content: sorted keys, no spaces, UTF-8."""
    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=_plain)


def entry_hash(
    *, previous_hash: str, site_id: int, sequence: int, at: str, deed: str, actor_name: str, content: str
) -> str:
    """SHA-256 (hex) over the entry and its predecessor; fields are joined by a newline, none of them may hold one."""
    fields = [previous_hash, str(site_id), str(sequence), at, deed, actor_name.replace("\n", " "), content]
    return hashlib.sha256("\n".join(fields).encode()).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    raise TypeError(f"the record cannot hold {type(value).__name__}")
