"""The growth of a crack over the API; relative to /api/v1/."""

from __future__ import annotations

import math
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from assets_app.inspections import queries as inspections
from schedules.due.growth_data import growth_of
from schedules.due.growth_drawing import Growth, Mark, growth_words


class GrowthPointOut(serializers.Serializer):
    """A measured size."""

    on = serializers.DateField()
    total = serializers.FloatField(help_text="the asset's counter on that day")
    depth_mm = serializers.FloatField(help_text="half the length where no depth was measured")


class GrowthBandOut(serializers.Serializer):
    """The fitted depth at a total: 10 %, 50 % and 90 %."""

    total = serializers.FloatField()
    low_mm = serializers.FloatField()
    middle_mm = serializers.FloatField()
    high_mm = serializers.FloatField(allow_null=True, help_text="null: one crack in ten has run away by then")


class GrowthMarkOut(serializers.Serializer):
    total = serializers.FloatField()
    on = serializers.DateField(allow_null=True, help_text="by the early forecast; null: beyond its horizon")


class GrowthOut(serializers.Serializer):
    """How one crack has grown and when it reaches critical. ``problem`` says why nothing can be given."""

    finding = serializers.IntegerField()
    unit = serializers.CharField()
    problem = serializers.CharField(allow_blank=True)
    critical_mm = serializers.FloatField(allow_null=True)
    measured = GrowthPointOut(many=True)
    left_out = serializers.IntegerField(help_text="measurements without a depth or length")
    band = GrowthBandOut(many=True)
    early = GrowthMarkOut(allow_null=True)
    middle = GrowthMarkOut(allow_null=True)
    late = GrowthMarkOut(allow_null=True)
    due = GrowthMarkOut(allow_null=True)
    words = serializers.ListField(child=serializers.CharField())


class FindingGrowth(APIView):
    @extend_schema(responses=GrowthOut, summary="How a crack has grown, and when it reaches critical")
    def get(self, request: Request, finding: int) -> Response:
        """Measured depths with the fitted 80 % band over the counter."""
        row = inspections.finding_for(request.user, finding)
        return Response(_body(row.pk, growth_of(row, now=timezone.now())))


def _body(finding_id: int, growth: Growth) -> dict[str, Any]:
    reaches = {mark.name: mark for mark in growth.reaches}
    return {
        "finding": finding_id,
        "unit": growth.unit,
        "problem": growth.problem,
        "critical_mm": growth.critical_mm,
        "measured": [{"on": each.on, "total": each.total, "depth_mm": each.mm} for each in growth.measured],
        "left_out": growth.left_out,
        "band": [
            {"total": each.total, "low_mm": each.low, "middle_mm": each.middle, "high_mm": _finite(each.high)}
            for each in growth.band
        ],
        **{name: _mark(reaches.get(name)) for name in ("early", "middle", "late")},
        "due": _mark(growth.due),
        "words": growth_words(growth),
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _mark(mark: Mark | None) -> dict[str, Any] | None:
    return None if mark is None else {"total": mark.total, "on": mark.on}


urlpatterns = [path("findings/<int:finding>/growth/", FindingGrowth.as_view(), name="api-finding-growth")]
