"""Shapes of recordings in the API. They check form; the actions decide."""

from __future__ import annotations

from rest_framework import serializers

from schedules.duty.models import StressSpectrum
from schedules.duty.recordings.models import Recording


class RecordingSerializer(serializers.ModelSerializer):
    class Meta:
        model = Recording
        fields = [
            "id", "asset", "file_name", "sha256", "column", "unit", "youngs_modulus_mpa", "operating_cycles",
            "cleaning", "spike_limit_mpa", "bin_width_mpa", "residue", "note", "reading_notes", "state", "rows_total",
            "rows_done", "samples", "error", "started_by", "started_at", "ended_at",
        ]  # fmt: skip


class RecordingDetail(RecordingSerializer):
    """One recording, with what screening did and the histogram."""

    histogram = serializers.SerializerMethodField(help_text="pairs of range in MPa and count by one count of duty")
    screening = serializers.JSONField(read_only=True)

    class Meta(RecordingSerializer.Meta):
        fields = [*RecordingSerializer.Meta.fields, "screening", "histogram", "before", "after"]

    def get_histogram(self, recording: Recording) -> list[list[float]]:
        return recording.histogram


class RecordingInput(serializers.Serializer):
    asset = serializers.IntegerField()
    file = serializers.FileField(help_text="CSV with a heading, or Parquet")
    column = serializers.CharField(required=False, allow_blank=True, default="", max_length=120)
    unit = serializers.ChoiceField(Recording.Unit.choices)
    operating_cycles = serializers.FloatField(help_text="counts of the primary counter that it covers")
    youngs_modulus_mpa = serializers.FloatField(default=210_000)
    cleaning = serializers.ChoiceField(Recording.Cleaning.choices, default="spikes")
    spike_limit_mpa = serializers.FloatField(required=False, allow_null=True, default=None)
    bin_width_mpa = serializers.FloatField(default=1.0)
    residue = serializers.ChoiceField(Recording.Residue.choices, default="closed")
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=200)


class UseInput(serializers.Serializer):
    joints = serializers.ListField(child=serializers.IntegerField(), min_length=1, max_length=200)
    valid_from = serializers.DateField()
    scale = serializers.FloatField(default=1.0, help_text="stress at the joint over stress at the gauge")
    scale_reason = serializers.CharField(required=False, allow_blank=True, default="", max_length=200)
    peak_stress_mpa = serializers.FloatField(required=False, allow_null=True, default=None)
    kind = serializers.ChoiceField(StressSpectrum._meta.get_field("kind").choices, default="direct")
    bending_share = serializers.FloatField(default=0.0)


class UsedSerializer(serializers.Serializer):
    spectra = serializers.ListField(child=serializers.IntegerField(), help_text="ids of the spectra that were added")
