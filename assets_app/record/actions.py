"""The one way into the record."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from django.db import connection

from assets_app.people.models import Person, Role
from assets_app.record.models import RecordChain, RecordEntry
from assets_app.record.rules import canonical, entry_hash

SIGNED_AS = "signed_as"
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
    ``actor`` None means the service itself; of a person the roles held at the site at this moment are written along,
    under ``signed_as`` of the content, so that the hash covers them. Raises ``RuntimeError`` outside a transaction: a
    deed and its entry stand or fall together.
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
        content=canonical(content | _signed_as(actor, site_id)),
        previous_hash=chain.head_hash,
    )
    entry.hash = entry_hash(entry.hashed_fields())
    entry.save(force_insert=True)
    chain.head_sequence, chain.head_hash = entry.sequence, entry.hash
    chain.save(update_fields=["head_sequence", "head_hash"])
    return entry


def lock_chains(site_ids: Iterable[int]) -> None:
    """Lock the chains of several sites in order, for a deed that will append to all of them in any order."""
    for site_id in sorted(site_ids):
        _locked_chain(site_id)


def _signed_as(actor: Person | None, site_id: int) -> dict[str, Any]:
    if actor is None:
        return {}
    roles = list(Role.objects.filter(person_id=actor.pk, site_id=site_id).order_by("name"))
    held = {"roles": [role.name for role in roles], "release_authority": any(role.release_authority for role in roles)}
    return {SIGNED_AS: held}


def _locked_chain(site_id: int) -> RecordChain:
    chains = RecordChain.objects.select_for_update()
    try:
        return chains.get(site_id=site_id)
    except RecordChain.DoesNotExist:  # the site's first entry
        RecordChain.objects.get_or_create(site_id=site_id)
    return chains.get(site_id=site_id)
