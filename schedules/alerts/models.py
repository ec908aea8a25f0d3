"""Alert intents, written in the transaction that causes them, and their deliveries, once a person and channel."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class Intent(models.Model):
    """Something people must be told. ``key`` makes it one thing: writing it twice changes nothing."""

    class Kind(models.TextChoices):
        OVERDUE = "overdue", "overdue"
        DUE_SOON = "due soon", "due soon"
        HOLD_PLACED = "hold placed", "hold placed"
        HOLD_RELEASED = "hold released", "hold released"
        DEFERRAL_ENDING = "deferral ending", "deferral about to end"
        COUNTER_SILENT = "counter silent", "counter not read"
        QUALIFICATION_ENDING = "qualification ending", "qualification about to lapse"
        UNRATED = "unrated", "unrated joints"

    site = models.ForeignKey("assets_app.Site", on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=24, choices=Kind.choices)
    key = models.CharField(max_length=160, unique=True)
    subject = models.CharField(max_length=200)
    text = models.TextField()
    link = models.CharField(max_length=200, blank=True, help_text="path on this service")
    joint = models.ForeignKey("assets_app.Joint", on_delete=models.CASCADE, null=True, related_name="+")
    programme = models.ForeignKey("schedules.Programme", on_delete=models.CASCADE, null=True, related_name="+")
    for_day = models.DateField(null=True, help_text="the day it speaks of; one that shifts a little is not told again")
    person = models.ForeignKey(
        "assets_app.Person", on_delete=models.CASCADE, null=True, related_name="+", help_text="told whatever their role"
    )
    created_at = models.DateTimeField()
    expanded_at = models.DateTimeField(null=True, help_text="when its deliveries were written")

    class Meta:
        indexes = [
            models.Index(fields=["id"], name="intents_to_expand", condition=Q(expanded_at=None)),
            models.Index(fields=["programme", "kind", "for_day"], name="intents_of_a_programme"),
        ]


class Delivery(models.Model):
    """One intent to one person by one channel."""

    class Channel(models.TextChoices):
        IN_APP = "in-app", "in-app"
        EMAIL = "email", "email"

    class State(models.TextChoices):
        OWED = "owed", "owed"
        CLAIMED = "claimed", "being sent"
        SENT = "sent", "sent"
        FAILED = "failed", "given up"

    intent = models.ForeignKey(Intent, on_delete=models.CASCADE, related_name="deliveries")
    person = models.ForeignKey("assets_app.Person", on_delete=models.CASCADE, related_name="deliveries")
    channel = models.CharField(max_length=8, choices=Channel.choices)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OWED)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)
    seen_at = models.DateTimeField(null=True)
    last_error = models.CharField(max_length=240, blank=True)
    batch = models.CharField(
        max_length=32, blank=True, help_text="the message it goes out in; a repeat after a crash bears the same name"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["intent", "person", "channel"], name="told_once_a_person_and_channel")
        ]
        indexes = [
            models.Index(fields=["next_try_at"], name="deliveries_owed", condition=Q(state__in=["owed", "claimed"])),
            models.Index(fields=["person", "channel", "-id"], name="deliveries_of_a_person"),
            models.Index(fields=["batch"], name="deliveries_of_a_batch", condition=~Q(batch="")),
        ]


class Scan(models.Model):
    """How far the passing of days at a site has been looked through for things to tell."""

    site = models.OneToOneField("assets_app.Site", on_delete=models.CASCADE, primary_key=True, related_name="+")
    through = models.DateField(null=True, help_text="the site's day of the last scan")
