"""Shapes of duty in the API. They check form; the actions decide."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from rest_framework import serializers

from schedules.duty.models import Counter, Reading, Season, StressSpectrum


class Moment(serializers.DateTimeField):
    """A time with its offset: ``2026-06-15T09:30:00+01:00``. One without could be any site's clock and is refused."""

    default_error_messages = {
        "no_offset": "Give the time with its offset, e.g. 2026-06-15T09:30:00+01:00, or Z for UTC."
    }

    def enforce_timezone(self, value: datetime) -> datetime:
        if value.tzinfo is None:
            self.fail("no_offset")
        return value


class CounterSerializer(serializers.ModelSerializer):
    class Meta:
        model = Counter
        fields = ["id", "asset", "name", "unit", "is_primary", "rolls_over_at", "expected_every_days"]


class CounterInput(serializers.Serializer):
    asset = serializers.IntegerField()
    name = serializers.CharField(max_length=64)
    unit = serializers.ChoiceField(Counter.Unit.choices)
    is_primary = serializers.BooleanField(default=True)
    rolls_over_at = serializers.FloatField(required=False, allow_null=True, default=None)
    expected_every_days = serializers.IntegerField(default=14)


class CounterChange(serializers.Serializer):
    rolls_over_at = serializers.FloatField(allow_null=True)
    expected_every_days = serializers.IntegerField()


class ReadingSerializer(serializers.ModelSerializer):
    class Meta:
        model = Reading
        fields = [
            "id", "counter", "kind", "read_at", "read_on", "value", "closing_value", "total", "source", "posted_by",
            "posted_at", "note",
        ]  # fmt: skip


class ReadingInput(serializers.Serializer):
    counter = serializers.IntegerField()
    value = serializers.FloatField(help_text="as shown on the meter")
    read_at = Moment()
    note = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")
    confirmed = serializers.BooleanField(
        default=False, help_text="the figure was looked at again though it seems unlikely"
    )


class ReadingsInput(serializers.Serializer):
    readings = serializers.ListField(child=ReadingInput(), min_length=1, max_length=1000)
    dry_run = serializers.BooleanField(default=False)


class FileInput(serializers.Serializer):
    site = serializers.IntegerField()
    file = serializers.FileField(help_text="CSV: asset, counter, read_at, value; times on the site's clock")
    dry_run = serializers.BooleanField(default=False)


class RowSerializer(serializers.Serializer):
    row = serializers.IntegerField()
    field = serializers.CharField(required=False)
    code = serializers.CharField(required=False)
    message = serializers.CharField()


class ReportSerializer(serializers.Serializer):
    posted = serializers.IntegerField(help_text="or, in a dry run, would be")
    already_there = serializers.IntegerField()
    errors = RowSerializer(many=True)
    notes = RowSerializer(many=True)
    dry_run = serializers.BooleanField()


class ExchangeInput(serializers.Serializer):
    closing_value = serializers.FloatField(help_text="what the old meter showed last")
    opening_value = serializers.FloatField(help_text="what the new meter shows first")
    at = Moment()
    note = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")
    confirmed = serializers.BooleanField(default=False)


class WithdrawInput(serializers.Serializer):
    reason = serializers.CharField(max_length=500)


class ForecastPoint(serializers.Serializer):
    on = serializers.DateField()
    middle = serializers.FloatField()
    early = serializers.FloatField()


class ForecastSerializer(serializers.Serializer):
    counter = serializers.IntegerField()
    as_of = serializers.DateField(help_text="day of the last reading")
    total = serializers.FloatField()
    version = serializers.IntegerField()
    can_forecast = serializers.BooleanField(help_text="false: limits by count are unrated")
    silent = serializers.BooleanField(help_text="true: forecast at its busiest rate until read")
    basis = serializers.CharField()
    parameters = serializers.JSONField()
    back_test = serializers.JSONField()
    totals = ForecastPoint(many=True, help_text="expected totals at the end of some days")


class SeasonSerializer(serializers.ModelSerializer):
    class Meta:
        model = Season
        fields = ["id", "site", "asset", "name", "opens_month", "opens_day", "closes_month", "closes_day", "weekdays"]


class SeasonChange(serializers.Serializer):
    name = serializers.CharField(max_length=64)
    opens_month = serializers.IntegerField(min_value=1, max_value=12)
    opens_day = serializers.IntegerField(min_value=1, max_value=31)
    closes_month = serializers.IntegerField(min_value=1, max_value=12)
    closes_day = serializers.IntegerField(min_value=1, max_value=31)
    weekdays = serializers.CharField(default="1111111", help_text="Monday first; 1 open, 0 closed")


class SeasonInput(SeasonChange):
    site = serializers.IntegerField()
    asset = serializers.IntegerField(
        required=False, allow_null=True, default=None, help_text="empty: every asset of the site without its own"
    )


class SpectrumSerializer(serializers.ModelSerializer):
    class Meta:
        model = StressSpectrum
        fields = [
            "id", "joint", "kind", "bins", "peak_stress_mpa", "bending_share", "status", "source", "valid_from",
            "created_by",
        ]  # fmt: skip


class SpectrumInput(serializers.Serializer):
    joint = serializers.IntegerField()
    kind = serializers.ChoiceField([("direct", "direct"), ("shear", "shear")], default="direct")
    bins = serializers.ListField(
        child=serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2),
        help_text="[[range in MPa, count per count of the primary counter], ...]",
    )
    peak_stress_mpa = serializers.FloatField(required=False, allow_null=True, default=None)
    bending_share = serializers.FloatField(default=0.0)
    status = serializers.ChoiceField(StressSpectrum.Status.choices)
    source = serializers.CharField(max_length=200)
    valid_from = serializers.DateField()


def checked(serializer: type[serializers.Serializer], data: Any) -> dict[str, Any]:
    """``data`` in the serializer's shape, or its field errors."""
    given = serializer(data=data)
    given.is_valid(raise_exception=True)
    return dict(given.validated_data)
