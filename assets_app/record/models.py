"""The chained record. Entries are only ever added; ``record.actions.append`` is the one way in."""

from __future__ import annotations

import json
from datetime import UTC
from typing import Any

from django.db import models

from assets_app.record.rules import HASHED


class RecordChain(models.Model):
    """The head of one site's chain; its row is locked while an entry is appended."""

    site = models.OneToOneField("assets_app.Site", on_delete=models.PROTECT, related_name="chain")
    head_sequence = models.PositiveBigIntegerField(default=0)
    head_hash = models.CharField(max_length=64, blank=True)


class RecordEntry(models.Model):
    """One deed. ``content`` is canonical JSON text; ``hash`` is SHA-256 over every other column."""

    site = models.ForeignKey("assets_app.Site", on_delete=models.PROTECT, related_name="record")
    sequence = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    deed = models.CharField(max_length=48, help_text="e.g. inspection.recorded, hold.released")
    actor = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, null=True, related_name="+")
    actor_name = models.CharField(max_length=160, help_text="as it stood when signed")
    subject_kind = models.CharField(max_length=32)
    subject_id = models.BigIntegerField()
    asset = models.ForeignKey("assets_app.Asset", on_delete=models.PROTECT, null=True, related_name="+")
    joint = models.ForeignKey("assets_app.Joint", on_delete=models.PROTECT, null=True, related_name="record")
    content = models.TextField()
    previous_hash = models.CharField(max_length=64, blank=True)
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["site_id", "sequence"]
        constraints = [models.UniqueConstraint(fields=["site", "sequence"], name="record_sequence_once_a_site")]
        indexes = [
            models.Index(fields=["joint", "-sequence"], name="record_by_joint"),
            models.Index(fields=["subject_kind", "subject_id"], name="record_by_subject"),
        ]

    def hashed_fields(self) -> dict[str, Any]:
        """What the hash is taken over."""
        return {name: getattr(self, name) for name in HASHED} | {"at": self.at.astimezone(UTC).isoformat()}

    @property
    def facts(self) -> dict[str, Any]:
        """The content, read."""
        return json.loads(self.content)

    @property
    def signed_as(self) -> str:
        """The roles that who signed held then, in words; an entry from before they were written says that."""
        if self.actor_id is None:
            return "the service"
        held = self.facts.get("signed_as")
        if held is None:
            return "not in the record"
        authority = ["release authority"] if held["release_authority"] else []
        return ", ".join([*held["roles"], *authority]) or "no role here"


class IdempotencyKey(models.Model):
    """What a device sent under one key and what it was answered: the same key gets the same answer."""

    person = models.ForeignKey("assets_app.Person", on_delete=models.CASCADE)
    key = models.CharField(max_length=80)
    request_hash = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(default=0, help_text="0 while the first request is still at work")
    body = models.JSONField(null=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["person", "key"], name="idempotency_key_once_a_person")]
