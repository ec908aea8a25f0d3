"""Alert intents, written in the transaction that causes them, and their deliveries: once a person and channel, and once
a webhook endpoint; the site's rules and each person's own settings."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from assets_app.people.models import RoleName

LONGEST_DAYS = 365


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
        NOT_COMPUTED = "not computed", "dates not computed"
        ESCALATED = "escalated", "overdue for long"

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
    role = models.CharField(
        max_length=12, choices=RoleName.choices, blank=True, help_text="an escalation's step: only this role is told"
    )
    acknowledged_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, null=True, related_name="+")
    acknowledged_at = models.DateTimeField(null=True, help_text="somebody sees to it: no further escalation")
    created_at = models.DateTimeField()
    expanded_at = models.DateTimeField(null=True, help_text="when its deliveries were written")

    class Meta:
        indexes = [
            models.Index(fields=["id"], name="intents_to_expand", condition=Q(expanded_at=None)),
            models.Index(fields=["programme", "kind", "for_day"], name="intents_of_a_programme"),
            models.Index(
                fields=["site", "kind", "created_at"], name="intents_of_single_looks", condition=~Q(programme=None)
            ),
        ]


class CountedLook(models.Model):
    """A look in a flood: told in one alert with the count, not by itself. Written once for a kind and day, in the
    transaction that causes it; kept, so that it is no news again."""

    site = models.ForeignKey("assets_app.Site", on_delete=models.CASCADE, related_name="+", db_index=False)
    programme = models.ForeignKey("schedules.Programme", on_delete=models.CASCADE, related_name="+", db_index=False)
    kind = models.CharField(max_length=24, choices=Intent.Kind.choices)
    for_day = models.DateField(help_text="the day it is due")
    counted_at = models.DateTimeField()
    intent = models.ForeignKey(
        Intent, on_delete=models.CASCADE, null=True, related_name="+", help_text="the alert that told its count"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["programme", "kind", "for_day"], name="counted_once_a_day_of_a_look")
        ]
        indexes = [
            models.Index(fields=["site", "kind", "counted_at"], name="looks_counted_untold", condition=Q(intent=None))
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
            models.Index(fields=["-id"], name="deliveries_given_up", condition=Q(state="failed")),
            models.Index(fields=["person", "channel", "-id"], name="deliveries_of_a_person"),
            models.Index(fields=["batch"], name="deliveries_of_a_batch", condition=~Q(batch="")),
        ]


class Scan(models.Model):
    """How far the passing of days at a site has been looked through for things to tell."""

    site = models.OneToOneField("assets_app.Site", on_delete=models.CASCADE, primary_key=True, related_name="+")
    through = models.DateField(null=True, help_text="the site's day of the last scan")


class AlertRule(models.Model):
    """Who hears of a kind at a site, by role; and how many days before. Rows are only added: the newest of a site, kind
    and role governs, the others are its history. Without one the table in ``rules`` stands."""

    site = models.ForeignKey("assets_app.Site", on_delete=models.CASCADE, related_name="alert_rules")
    kind = models.CharField(max_length=24, choices=Intent.Kind.choices)
    role = models.CharField(
        max_length=12, choices=RoleName.choices, blank=True, help_text="empty: the kind's lead time, for all roles"
    )
    in_app = models.BooleanField(default=True)
    email = models.BooleanField(default=True)
    is_on = models.BooleanField(default=True)
    days = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(LONGEST_DAYS)],
        help_text="lead time of the kind, or an escalation step's days overdue; empty: the default",
    )
    reason = models.TextField()
    set_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["site", "-id"], name="alert_rules_of_a_site")]


class AlertSettings(models.Model):
    """When emails reach a person. What is in-app is there at once; a hold that is placed waits for nothing."""

    class Digest(models.TextChoices):
        AT_ONCE = "at once", "at once"
        DAILY = "daily", "once a day"

    person = models.OneToOneField(
        "assets_app.Person", on_delete=models.CASCADE, primary_key=True, related_name="alert_settings"
    )
    time_zone = models.CharField(max_length=64, blank=True, help_text="IANA name; empty: the clock of the site")
    quiet_from = models.TimeField(null=True, blank=True)
    quiet_until = models.TimeField(null=True, blank=True)
    digest = models.CharField(max_length=8, choices=Digest.choices, default=Digest.AT_ONCE)
    digest_hour = models.PositiveSmallIntegerField(default=7, validators=[MaxValueValidator(23)])


class CalendarLink(models.Model):
    """A private link to a person's calendar. Only the token's hash is kept; whoever has the link reads the feed."""

    person = models.ForeignKey("assets_app.Person", on_delete=models.CASCADE, related_name="calendar_links")
    token_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-id"]


class WebhookEndpoint(models.Model):
    """A receiver of a site's alerts. It is served by one worker at a time, in order; its back-off is the endpoint's."""

    site = models.ForeignKey("assets_app.Site", on_delete=models.CASCADE, related_name="webhook_endpoints")
    url = models.CharField(max_length=500)
    secret = models.CharField(max_length=64, help_text="signs each message; told once")
    kinds = models.JSONField(default=list, help_text="kinds it is told; empty: all")
    is_on = models.BooleanField(default=True)
    made_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    failures = models.PositiveIntegerField(default=0, help_text="in a row")
    next_try_at = models.DateTimeField()
    claim = models.CharField(max_length=32, blank=True, help_text="the worker that serves it")
    claimed_until = models.DateTimeField(null=True)

    class Meta:
        ordering = ["site_id", "id"]


class WebhookDelivery(models.Model):
    """One intent to one endpoint. Its message bears the same id however often it is tried."""

    class State(models.TextChoices):
        OWED = "owed", "owed"
        SENT = "sent", "sent"
        FAILED = "failed", "given up"

    endpoint = models.ForeignKey(WebhookEndpoint, on_delete=models.CASCADE, related_name="deliveries")
    intent = models.ForeignKey(Intent, on_delete=models.CASCADE, related_name="webhook_deliveries")
    state = models.CharField(max_length=8, choices=State.choices, default=State.OWED)
    attempts = models.PositiveIntegerField(default=0)
    owed_since = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    last_error = models.CharField(max_length=240, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["endpoint", "intent"], name="posted_once_an_endpoint")]
        indexes = [
            models.Index(fields=["endpoint", "intent"], name="webhook_posts_owed", condition=Q(state="owed")),
            models.Index(fields=["endpoint", "intent"], name="webhook_posts_given_up", condition=Q(state="failed")),
        ]
