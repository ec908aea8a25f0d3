"""The one way into the record."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django.db import connection, transaction

from assets_app.people.models import Person
from assets_app.record.models import RecordChain, RecordEntry
from assets_app.record.rules import canonical, entry_hash

SERVICE = "Soundjoint"  # who acts when no person does


def append(
    *,
    site_id: int,
    deed: str,
    actor: Person | None,
    subject: Any,
    content: dict[str, Any],
    now: datetime,
    asset_id: int | None = None,
    joint_id: int | None = None,
) -> RecordEntry:
    """Append one entry to the site's chain, inside the caller's transaction.

    ``subject`` is the model instance the deed was done to; ``content`` must be plain JSON types, dates or decimals.
    ``actor`` None means the service itself. Raises ``RuntimeError`` outside a transaction: a deed and its entry stand
    or fall together.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("record.append needs the transaction of the deed it records")
    chain = _locked_chain(site_id)
    entry = RecordEntry(
        site_id=site_id,
        sequence=chain.head_sequence + 1,
        at=now.astimezone(UTC),
        deed=deed,
        actor=actor,
        actor_name=(actor.display_name if actor else SERVICE)[:160],
        subject_kind=subject._meta.model_name,
        subject_id=subject.pk,
        asset_id=asset_id,
        joint_id=joint_id,
        content=canonical(content),
        previous_hash=chain.head_hash,
    )
    entry.hash = entry_hash(entry.hashed_fields())
    entry.save(force_insert=True)
    chain.head_sequence, chain.head_hash = entry.sequence, entry.hash
    chain.save(update_fields=["head_sequence", "head_hash"])
    return entry


def _locked_chain(site_id: int) -> RecordChain:
    with transaction.atomic():
        RecordChain.objects.get_or_create(site_id=site_id)
    return RecordChain.objects.select_for_update().get(site_id=site_id)
