"""Counters, readings, seasons, forecasts and stress spectra."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q


class Counter(models.Model):
    """Counts an asset's duty. The primary counter drives the asset's due dates."""

    class Unit(models.TextChoices):
        CYCLES = "cycles", "operating cycles"
        HOURS = "hours", "hours"
        KM = "km", "km"
        LIFTS = "lifts", "lifts"

    asset = models.ForeignKey("assets_app.Asset", on_delete=models.CASCADE, related_name="counters")
    name = models.CharField(max_length=64)
    unit = models.CharField(max_length=8, choices=Unit.choices)
    is_primary = models.BooleanField(default=True)
    rolls_over_at = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(1)], help_text="shows 0 again after this many"
    )
    expected_every_days = models.PositiveIntegerField(
        default=14, help_text="not read for longer than this: forecast at its busiest rate"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["asset", "name"], name="counter_name_once_an_asset"),
            models.UniqueConstraint(fields=["asset"], condition=Q(is_primary=True), name="one_primary_counter"),
        ]

    def __str__(self) -> str:
        return f"{self.name} of {self.asset}"


class Reading(models.Model):
    """What a counter showed. ``total`` runs on through rollover and exchange of the meter; it never falls."""

    class Kind(models.TextChoices):
        READING = "reading", "reading"
        EXCHANGE = "exchange", "meter exchanged"

    class Source(models.TextChoices):
        PAGE = "page", "page"
        API = "api", "API"
        FILE = "file", "file"

    counter = models.ForeignKey(Counter, on_delete=models.CASCADE, related_name="readings")
    kind = models.CharField(max_length=10, choices=Kind.choices, default=Kind.READING)
    read_at = models.DateTimeField()
    read_on = models.DateField(help_text="the day on the site's clock")
    value = models.FloatField(
        validators=[MinValueValidator(0)], help_text="as shown; at an exchange: what the new meter shows"
    )
    closing_value = models.FloatField(null=True, blank=True, help_text="at an exchange: what the old meter showed last")
    total = models.FloatField(help_text="counted since commissioning")
    source = models.CharField(max_length=4, choices=Source.choices)
    posted_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, null=True, related_name="+")
    posted_at = models.DateTimeField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["counter_id", "read_at"]
        constraints = [models.UniqueConstraint(fields=["counter", "read_at"], name="one_reading_a_moment")]
        indexes = [models.Index(fields=["counter", "-read_at"], name="latest_reading")]


class Season(models.Model):
    """When an asset (or a whole site) operates: from one day of the year to another, on some weekdays.

    A span whose opening lies after its close runs over the new year. No season at all means open every day.
    """

    site = models.ForeignKey("assets_app.Site", on_delete=models.CASCADE, related_name="seasons")
    asset = models.ForeignKey(
        "assets_app.Asset",
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="seasons",
        help_text="empty: every asset of the site that has no season of its own",
    )
    name = models.CharField(max_length=64)
    opens_month = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(12)])
    opens_day = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(31)])
    closes_month = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(12)])
    closes_day = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(31)])
    weekdays = models.CharField(max_length=7, default="1111111", help_text="Monday first; 1 open, 0 closed")

    class Meta:
        ordering = ["opens_month", "opens_day"]


class CounterForecast(models.Model):
    """How a counter is expected to run on: parameters of the middle and the early curve, and how they did so far."""

    counter = models.OneToOneField(Counter, on_delete=models.CASCADE, primary_key=True, related_name="forecast")
    version = models.PositiveIntegerField(default=1)
    as_of = models.DateField(help_text="day of the last reading used")
    total = models.FloatField(help_text="total at that reading")
    parameters = models.JSONField(
        default=dict, help_text="rates by weekday and season, middle and early; see duty.rules"
    )
    basis = models.TextField(help_text="in words: how many readings, which rate, whether it is at its busiest rate")
    back_test = models.JSONField(default=dict, help_text="error and coverage on the counter's own past readings")
    computed_at = models.DateTimeField()


class StressSpectrum(models.Model):
    """Stress ranges that one count of the primary counter puts into a joint. The latest valid one governs."""

    class Status(models.TextChoices):
        MEASURED = "measured", "measured"
        CALCULATED = "calculated", "calculated"
        ASSUMED = "assumed", "assumed, to be confirmed"

    joint = models.ForeignKey("assets_app.Joint", on_delete=models.CASCADE, related_name="spectra")
    kind = models.CharField(max_length=6, choices=[("direct", "direct"), ("shear", "shear")], default="direct")
    bins = models.JSONField(help_text="[[range in MPa, count per unit of the counter], ...]")
    peak_stress_mpa = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0)], help_text="greatest tension"
    )
    bending_share = models.FloatField(default=0.0, validators=[MinValueValidator(0), MaxValueValidator(1)])
    status = models.CharField(max_length=10, choices=Status.choices, default=Status.ASSUMED)
    source = models.CharField(max_length=200, help_text="who measured or calculated it, and in which document")
    valid_from = models.DateField()
    created_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["joint_id", "-valid_from", "-id"]
        constraints = [models.UniqueConstraint(fields=["joint", "valid_from"], name="one_spectrum_a_day")]
