"""What a bolt sheet found and left, bolt by bolt."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models

AT_LEAST_NOTHING = [MinValueValidator(0)]


class BoltReading(models.Model):
    """One bolt at one look. Empty means not measured, or not looked at."""

    class State(models.TextChoices):
        OK = "ok", "ok"
        LOOSE = "loose", "loose"
        MISSING = "missing", "missing"
        BROKEN = "broken", "broken"

    class Witness(models.TextChoices):
        IN_LINE = "in line", "in line"
        MOVED = "moved", "moved"
        NONE = "none", "no mark"

    inspection = models.ForeignKey("assets_app.Inspection", on_delete=models.PROTECT, related_name="bolt_readings")
    number = models.PositiveIntegerField(help_text="of the bolt, from 1, as on the drawing")
    state = models.CharField(max_length=8, choices=State.choices, help_text="as found")
    torque_found_nm = models.FloatField(null=True, blank=True, validators=AT_LEAST_NOTHING)
    torque_left_nm = models.FloatField(null=True, blank=True, validators=AT_LEAST_NOTHING)
    tension_found_kn = models.FloatField(null=True, blank=True, validators=AT_LEAST_NOTHING)
    tension_left_kn = models.FloatField(null=True, blank=True, validators=AT_LEAST_NOTHING)
    witness = models.CharField(max_length=8, choices=Witness.choices, blank=True, help_text="witness mark as found")
    as_typed = models.CharField(max_length=120, blank=True, help_text="the figures as the person wrote them")

    class Meta:
        ordering = ["inspection", "number"]
        constraints = [models.UniqueConstraint(fields=["inspection", "number"], name="bolt_read_once_a_look")]

    def __str__(self) -> str:
        return f"bolt {self.number}: {self.state}"
