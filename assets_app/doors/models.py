"""What the processes behind the doors leave as a sign of life."""

from __future__ import annotations

from django.db import models


class Heartbeat(models.Model):
    """When a worker or beat last showed that it runs. One row a process name; by the machine's own clock."""

    class Kind(models.TextChoices):
        WORKER = "worker", "worker"
        BEAT = "beat", "beat"

    name = models.CharField(max_length=120, primary_key=True, help_text="a worker's node name, or beat")
    kind = models.CharField(max_length=6, choices=Kind.choices)
    beat_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["kind", "-beat_at"], name="heartbeats_of_a_kind")]
