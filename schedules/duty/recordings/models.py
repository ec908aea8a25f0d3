"""The table of recordings."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

POSITIVE = [MinValueValidator(0.000001)]


class Recording(models.Model):
    """One column of one file of strain or stress: how it was taken, and what screening and counting made of it."""

    class Unit(models.TextChoices):
        MPA = "mpa", "MPa (stress)"
        MICROSTRAIN = "microstrain", "µm/m (strain)"

    class Cleaning(models.TextChoices):
        SPIKES = "spikes", "bridge lost samples, replace spikes"
        DRIFT = "drift", "the same, and take the slow drift off"
        GAPS = "gaps", "bridge lost samples, only list spikes"
        NOTHING = "nothing", "nothing: the file holds turning points only"

    class Residue(models.TextChoices):
        CLOSED = "closed", "the recording repeats: every cycle closes"
        HALF = "half", "what stays open counts half"

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "being counted"
        DONE = "done", "counted"
        REFUSED = "refused", "refused"
        FAILED = "failed", "failed"

    asset = models.ForeignKey("assets_app.Asset", on_delete=models.CASCADE, related_name="recordings")
    file_name = models.CharField(max_length=255)
    file = models.FileField(upload_to="recordings/%Y/%m/", max_length=255)
    sha256 = models.CharField(max_length=64)
    column = models.CharField(max_length=120)
    unit = models.CharField(max_length=12, choices=Unit.choices)
    youngs_modulus_mpa = models.FloatField(default=210_000, validators=POSITIVE, help_text="turns strain to stress")
    operating_cycles = models.FloatField(validators=POSITIVE, help_text="counts of the primary counter it covers")
    cleaning = models.CharField(max_length=8, choices=Cleaning.choices, default=Cleaning.SPIKES)
    spike_limit_mpa = models.FloatField(
        null=True, blank=True, validators=POSITIVE, help_text="empty: worked out from the recording"
    )
    bin_width_mpa = models.FloatField(default=1.0, validators=POSITIVE)
    residue = models.CharField(max_length=6, choices=Residue.choices, default=Residue.CLOSED)
    note = models.CharField(max_length=200, blank=True, help_text="which gauge, where, on which day")
    reading_notes = models.JSONField(default=list, help_text="what was assumed to read the file, in words")

    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    rows_total = models.BigIntegerField(default=0, help_text="samples expected, for the progress")
    rows_done = models.BigIntegerField(default=0)
    samples = models.BigIntegerField(null=True, blank=True, help_text="samples counted")
    screening = models.JSONField(default=dict, help_text="what screening did: figures, places and words")
    histogram = models.JSONField(default=list, help_text="[[range in MPa, count per operating cycle], ...]")
    before = models.JSONField(default=dict, help_text="least and greatest stress by stretch, as it came, MPa")
    after = models.JSONField(default=dict, help_text="the same of what was counted")
    error = models.JSONField(default=dict, help_text="code, field and message where it was refused")
    started_by = models.ForeignKey("assets_app.Person", on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    claimed_at = models.DateTimeField(null=True, blank=True, help_text="when the run at work began")
    claim = models.CharField(max_length=32, blank=True, help_text="names the run at work; another run changes it")
    attempts = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["asset", "-id"], name="recordings_of_asset"),
            models.Index(
                fields=["id"], name="recording_to_work_off", condition=Q(state__in=["waiting", "running"])
            ),  # what the sweep looks for
        ]

    def __str__(self) -> str:
        return f"recording {self.pk} of {self.file_name}"

    @property
    def is_over(self) -> bool:
        """Nothing will change any more."""
        return self.state not in (self.State.WAITING, self.State.RUNNING)
