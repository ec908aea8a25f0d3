"""Deferrals: each is signed, has a reason, an interim measure and an end."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q


class Deferral(models.Model):
    """One order put off from the day it was due to a later one."""

    class State(models.TextChoices):
        STANDING = "standing", "standing"
        ENDED = "ended", "ended: the work was done"
        LAPSED = "lapsed", "lapsed: its end passed before the work was done"
        WITHDRAWN = "withdrawn", "withdrawn"

    order = models.ForeignKey("schedules.WorkOrder", on_delete=models.PROTECT, related_name="deferrals")
    site = models.ForeignKey("assets_app.Site", on_delete=models.PROTECT, related_name="deferrals")
    was_due_on = models.DateField()
    ends_on = models.DateField()
    reason = models.TextField()
    interim_measure = models.TextField()
    risk = models.JSONField(
        default=dict, help_text="as it stood when signed: damage, share of the window used, severity"
    )
    cost_estimate = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    signed_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.STANDING)
    ended_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-signed_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(ends_on__gt=F("was_due_on")), name="deferral_ends_after_it_was_due"),
            models.UniqueConstraint(fields=["order"], condition=Q(state="standing"), name="one_standing_deferral"),
        ]
        indexes = [models.Index(fields=["site", "ends_on"], name="deferrals_standing", condition=Q(state="standing"))]
