"""Inspections, findings, evidence and engineers' assessments."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q


class Method(models.TextChoices):
    """Inspection methods; the two letters are those of ISO 9712."""

    VT = "VT", "visual (VT)"
    PT = "PT", "penetrant (PT)"
    MT = "MT", "magnetic particle (MT)"
    UT = "UT", "ultrasonic (UT)"
    ET = "ET", "eddy current (ET)"
    RT = "RT", "radiographic (RT)"
    BOLT_CHECK = "BC", "bolt check (BC)"


class Severity(models.TextChoices):
    """Ordered from least to most grave; ``SEVERITY_ORDER`` gives the rank."""

    RECORD = "record", "record"
    WATCH = "watch", "watch"
    PLAN_REPAIR = "plan repair", "plan repair"
    REPAIR_BEFORE_USE = "repair before use", "repair before use"
    HOLD_NOW = "hold now", "hold now"


SEVERITY_ORDER = {severity.value: rank for rank, severity in enumerate(Severity)}


class Inspection(models.Model):
    """One look at one joint by one method."""

    class Result(models.TextChoices):
        ACCEPTED = "accepted", "nothing beyond the limits"
        FINDINGS = "findings", "findings recorded"
        INCOMPLETE = "incomplete", "could not be completed (does not count as a look)"

    class Conditions(models.TextChoices):
        GOOD = "good", "good"
        NORMAL = "normal", "normal"
        POOR = "poor", "poor"

    joint = models.ForeignKey("assets_app.Joint", on_delete=models.PROTECT, related_name="inspections")
    method = models.CharField(max_length=2, choices=Method.choices)
    inspected_at = models.DateTimeField()
    inspected_on = models.DateField(help_text="the day on the site's clock")
    inspector = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="inspections")
    conditions = models.CharField(max_length=8, choices=Conditions.choices, default=Conditions.NORMAL)
    result = models.CharField(max_length=12, choices=Result.choices)
    counter_total = models.FloatField(null=True, blank=True, help_text="duty counter's total on that day, if known")
    note = models.TextField(blank=True)
    corrects = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrections")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["-inspected_at", "-id"]
        indexes = [models.Index(fields=["joint", "method", "-inspected_on"], name="looks_of_a_joint")]

    @property
    def counts_as_look(self) -> bool:
        return self.result != self.Result.INCOMPLETE


class Finding(models.Model):
    """Something seen. Weld kinds carry their ISO 6520-1 number; bolt kinds our own word."""

    class State(models.TextChoices):
        OPEN = "open", "open"
        ASSESSED = "assessed", "open, assessed by an engineer"
        REPAIRED = "repaired", "repaired"
        CLOSED = "closed", "closed without repair"

    joint = models.ForeignKey("assets_app.Joint", on_delete=models.PROTECT, related_name="findings")
    inspection = models.ForeignKey(
        Inspection, on_delete=models.PROTECT, related_name="findings", help_text="where it was first seen"
    )
    kind = models.CharField(max_length=24, help_text="ISO 6520-1 number, or missing, broken, loose, gap, movement")
    place = models.CharField(max_length=24, blank=True, help_text="toe, root, throat, parent metal, bolt number")
    clock_deg = models.FloatField(null=True, blank=True, help_text="on a tube: degrees clockwise from the top")
    position_mm = models.FloatField(null=True, blank=True, help_text="on a plate: from the datum end")
    bolts = models.JSONField(default=list, blank=True, help_text="numbers of the bolts concerned, from 1")
    severity = models.CharField(max_length=20, choices=Severity.choices)
    severity_computed = models.CharField(max_length=20, choices=Severity.choices, help_text="by the rule table")
    severity_reason = models.TextField(help_text="what the rule table said, or why a person changed it")
    accepted = models.BooleanField(null=True, help_text="against the acceptance limit; empty: could not be judged")
    acceptance_note = models.TextField(blank=True, help_text="limit, clause, by how much out, or what is missing")
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    note = models.TextField(blank=True)
    found_on = models.DateField()
    closed_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-found_on", "-id"]
        indexes = [
            models.Index(fields=["joint", "state"], name="findings_of_a_joint"),
            models.Index(fields=["severity", "id"], name="findings_open_by_severity", condition=Q(closed_on=None)),
        ]

    @property
    def is_open(self) -> bool:
        return self.state in (self.State.OPEN, self.State.ASSESSED)


class FindingSize(models.Model):
    """One measurement of a finding: the same crack measured again is the same finding with another size."""

    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, related_name="sizes")
    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="sizes")
    measured_on = models.DateField()
    length_mm = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0)])
    depth_mm = models.FloatField(
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
        help_text="depth, or what the kind is measured by: height, width, diameter, shortfall, gap",
    )
    angle_deg = models.FloatField(null=True, blank=True, help_text="kinds that are measured by an angle")
    counter_total = models.FloatField(null=True, blank=True)
    as_typed = models.CharField(max_length=64, blank=True, help_text="the size as the person wrote it")

    class Meta:
        ordering = ["measured_on", "id"]
        constraints = [models.UniqueConstraint(fields=["finding", "inspection"], name="size_once_a_look")]


class Evidence(models.Model):
    """A photo: the original kept by its hash, a re-encoded copy for the page."""

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, null=True, blank=True, related_name="evidence")
    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, null=True, blank=True, related_name="evidence")
    joint = models.ForeignKey("assets_app.Joint", on_delete=models.PROTECT, related_name="evidence")
    original_sha256 = models.CharField(max_length=64)
    original = models.FileField(upload_to="evidence/original/%Y/%m/")
    view = models.ImageField(upload_to="evidence/view/%Y/%m/", width_field="width", height_field="height")
    width = models.PositiveIntegerField(default=0)
    height = models.PositiveIntegerField(default=0)
    taken_at = models.DateTimeField(null=True, blank=True)
    added_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField()
    caption = models.CharField(max_length=160, blank=True)

    class Meta:
        ordering = ["added_at", "id"]


class Assessment(models.Model):
    """An engineer's signed judgement that a finding, or a used-up fatigue life, may stand until a day."""

    joint = models.ForeignKey("assets_app.Joint", on_delete=models.PROTECT, related_name="assessments")
    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, null=True, blank=True, related_name="assessments")
    severity = models.CharField(max_length=20, choices=Severity.choices, blank=True, help_text="given to the finding")
    ends_on = models.DateField()
    reason = models.TextField()
    signed_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="assessments")
    signed_at = models.DateTimeField()

    class Meta:
        ordering = ["-signed_at", "-id"]
