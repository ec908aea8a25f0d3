"""How an entry is hashed. Pure; ``verifier.py`` repeats exactly this with nothing but the standard library."""

from __future__ import annotations

import hashlib
import json
from datetime import date, datetime
from decimal import Decimal
from typing import Any

# Every column of an entry that says something, so that none can be altered without breaking the hash.
HASHED = (
    "previous_hash",
    "site_id",
    "sequence",
    "at",
    "deed",
    "actor_id",
    "actor_name",
    "subject_kind",
    "subject_id",
    "asset_id",
    "joint_id",
    "content",
)


def canonical(content: dict[str, Any]) -> str:
    """``content`` as JSON text that is the same for the same content: sorted keys, no spaces, UTF-8; NaN is refused."""
    return json.dumps(
        content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False, default=_plain
    )


def entry_hash(fields: dict[str, Any]) -> str:
    """SHA-256 (hex) over the canonical JSON of the ``HASHED`` fields; ``at`` is ISO 8601 text in UTC."""
    return hashlib.sha256(canonical({name: fields[name] for name in HASHED}).encode()).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    raise TypeError(f"the record cannot hold {type(value).__name__}")
