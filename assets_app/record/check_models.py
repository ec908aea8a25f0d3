"""A check of a site's chain that somebody asked for, and what it found."""

from __future__ import annotations

from django.db import models


class RecordCheck(models.Model):
    """One walk along a chain, by a worker. No part of the record itself: it only says what was found, and when."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        WHOLE = "whole", "whole"
        BROKEN = "broken", "broken"
        FAILED = "failed", "could not be checked"

    site = models.ForeignKey("assets_app.Site", on_delete=models.PROTECT, related_name="record_checks")
    asked_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    entries_done = models.PositiveBigIntegerField(default=0)
    entries_total = models.PositiveBigIntegerField(default=0)
    broken_at = models.PositiveBigIntegerField(null=True, help_text="number of the first broken entry")
    words = models.TextField(blank=True, help_text="what was found, as manage.py verify_record says it")
    ended_at = models.DateTimeField(null=True)
    claim = models.CharField(max_length=32, blank=True)
    claimed_at = models.DateTimeField(null=True, help_text="last sign of life of the run at work")
    attempts = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["-pk"]
        indexes = [
            models.Index(
                fields=["id"], name="record_check_to_do", condition=models.Q(state__in=["waiting", "running"])
            )  # what the sweep looks for
        ]

    def __str__(self) -> str:
        return f"check {self.pk} of {self.site}"

    @property
    def is_over(self) -> bool:
        """Nothing will change any more."""
        return self.state not in (self.State.WAITING, self.State.RUNNING)
