"""Inspection reports that are too large to write while somebody waits."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import models
from django.db.models import Q

from assets_app.claims import SILENT_AFTER
from assets_app.register.models import Asset, Joint, Site

KEPT = timedelta(days=30)  # common practice, no source; the record stays, so the file can be made again


class WrittenReport(models.Model):
    """One report asked for: of what, by whom, how far it is, what became of it, and its file while that is kept."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "being written"
        DONE = "done", "written"
        REFUSED = "refused", "refused, nothing written"
        FAILED = "failed", "failed, nothing written"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    asset = models.ForeignKey(Asset, on_delete=models.CASCADE, related_name="+")
    joint = models.ForeignKey(Joint, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    since = models.DateField()
    until = models.DateField()
    looks = models.PositiveIntegerField(help_text="that fell in it when it was asked for")
    photos = models.PositiveIntegerField(help_text="that it prints")
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    done_percent = models.PositiveSmallIntegerField(default=0)
    why = models.TextField(blank=True, help_text="why there is no file, and what to do")
    asked_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    claimed_at = models.DateTimeField(null=True, blank=True, help_text="last sign of life of the run at work")
    claim = models.CharField(max_length=32, blank=True, help_text="names the run at work; another run changes it")
    attempts = models.PositiveSmallIntegerField(default=0)
    file = models.FileField(upload_to="reports/", blank=True, help_text="empty once it is no longer kept")
    file_sha256 = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=Q(done_percent__lte=100), name="report_done_within_hundred"),
        ]
        indexes = [
            models.Index(fields=["id"], name="report_to_write", condition=Q(state__in=["waiting", "running"])),
            models.Index(fields=["ended_at"], name="report_with_file", condition=~Q(file="")),
        ]

    def __str__(self) -> str:
        return f"report {self.pk} of {self.subject}"

    @property
    def subject(self) -> str:
        """Tag of what it tells of."""
        return self.joint.tag if self.joint else self.asset.tag

    @property
    def is_over(self) -> bool:
        """Nothing will change any more but that its file goes."""
        return self.state not in (self.State.WAITING, self.State.RUNNING)

    @property
    def broke_off(self) -> int:
        """How many runs of it ended without a word."""
        return max(self.attempts - 1, 0)

    def is_silent(self, now: datetime) -> bool:
        """Its run should have given a sign of life by now: it may have died."""
        running = self.state == self.State.RUNNING and self.claimed_at is not None
        return running and self.claimed_at < now - SILENT_AFTER / 4

    @property
    def kept_until(self) -> datetime | None:
        return self.ended_at + KEPT if self.ended_at else None
