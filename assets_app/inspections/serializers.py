"""Shapes of the API of this capability. They check form only; whether a thing may be is decided by the actions."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from assets_app.inspections.inputs import FindingInput
from assets_app.inspections.kinds import KINDS
from assets_app.inspections.look_rules import MOST_FINDINGS
from assets_app.inspections.marks_models import PhotoMark
from assets_app.inspections.marks_rules import MOST_MARKS
from assets_app.inspections.models import Assessment, Evidence, Finding, FindingSize, Inspection, Method, Severity

LARGEST_ID = 2**63 - 1


class Id(serializers.IntegerField):
    """The id of a row."""

    def __init__(self, **options: Any) -> None:
        super().__init__(min_value=1, max_value=LARGEST_ID, **options)


class MarkIn(serializers.ModelSerializer):
    """Coordinates are shares of the photo's width and height, 0 to 1 from its upper left corner."""

    class Meta:
        model = PhotoMark
        fields = "shape x y x2 y2 text".split()


class FindingSizeSerializer(serializers.ModelSerializer):
    class Meta:
        model = FindingSize
        fields = ("inspection", "measured_on", "length_mm", "depth_mm", "angle_deg", "counter_total", "as_typed")


class FindingSerializer(serializers.ModelSerializer):
    kind_words = serializers.SerializerMethodField()
    sizes = FindingSizeSerializer(many=True, read_only=True)

    class Meta:
        model = Finding
        fields = (
            *("id", "joint", "inspection", "kind", "kind_words", "place", "clock_deg", "position_mm", "bolts"),
            *("severity", "severity_computed", "severity_reason", "accepted", "acceptance_note", "state", "note"),
            *("found_on", "closed_on", "sizes"),
        )

    def get_kind_words(self, finding: Finding) -> str:
        return KINDS[finding.kind].words if finding.kind in KINDS else finding.kind


class InspectionSerializer(serializers.ModelSerializer):
    findings = FindingSerializer(many=True, read_only=True)

    class Meta:
        model = Inspection
        fields = (
            *("id", "joint", "method", "inspected_at", "inspected_on", "inspector", "conditions", "result"),
            *("counter_total", "note", "corrects", "recorded_at", "counts_as_look", "findings"),
        )
        extra_kwargs = {"counts_as_look": {"read_only": True}}


class AssessmentSerializer(serializers.ModelSerializer):
    class Meta:
        model = Assessment
        fields = ("id", "joint", "finding", "severity", "ends_on", "reason", "signed_by", "signed_at")


class EvidenceSerializer(serializers.ModelSerializer):
    class Meta:
        model = Evidence
        fields = (
            *("id", "joint", "inspection", "finding", "original_sha256", "width", "height", "taken_at"),
            *("added_by", "added_at", "caption"),
        )


class FindingReport(serializers.Serializer):
    """One finding as reported; sizes as people write them (``3/8 in``, ``10 mm``)."""

    kind = serializers.CharField(max_length=24, required=False, default="", help_text="ISO 6520-1 number or bolt word")
    size = serializers.CharField(max_length=40, required=False, allow_null=True, default=None)
    length = serializers.CharField(max_length=40, required=False, allow_null=True, default=None)
    depth = serializers.CharField(max_length=40, required=False, allow_null=True, default=None)
    place = serializers.CharField(max_length=24, required=False, allow_blank=True, default="")
    clock_deg = serializers.FloatField(required=False, allow_null=True, default=None)
    position = serializers.CharField(max_length=40, required=False, allow_null=True, default=None)
    bolts = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=10_000), required=False, default=list, max_length=1000
    )
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True, default="")
    finding_id = Id(required=False, allow_null=True, default=None, help_text="the finding that was measured again")


class _Look(serializers.Serializer):
    method = serializers.ChoiceField(choices=Method.choices)
    inspected_at = serializers.DateTimeField()
    result = serializers.ChoiceField(choices=Inspection.Result.choices)
    conditions = serializers.ChoiceField(choices=Inspection.Conditions.choices, default="normal")
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True, default="")
    counter_total = serializers.FloatField(required=False, allow_null=True, default=None, min_value=0)
    findings = FindingReport(many=True, required=False, default=list, max_length=MOST_FINDINGS)


class InspectionReport(_Look):
    joint = Id()


class InspectionCorrection(_Look):
    reason = serializers.CharField(max_length=4000)


class Reason(serializers.Serializer):
    reason = serializers.CharField(max_length=4000)


class SameAs(Reason):
    same_as = Id(help_text="the finding of this joint that was found first")


class SeverityChange(Reason):
    severity = serializers.ChoiceField(choices=Severity.choices)


class FindingAssessment(Reason):
    ends_on = serializers.DateField()
    severity = serializers.ChoiceField(choices=Severity.choices, default=Severity.WATCH.value)


class JointAssessment(Reason):
    joint = Id()
    ends_on = serializers.DateField()


class EvidenceUpload(serializers.Serializer):
    joint = Id()
    inspection = Id(required=False)
    finding = Id(required=False)
    photo = serializers.FileField()
    caption = serializers.CharField(max_length=160, required=False, allow_blank=True, default="")
    marks = serializers.JSONField(
        required=False, default=list, help_text="marks to put on it, as a JSON list: [{shape, x, y, x2, y2, text}]"
    )

    def validate_marks(self, given: Any) -> list[dict[str, Any]]:
        marks = MarkIn(data=given, many=True, max_length=MOST_MARKS)
        marks.is_valid(raise_exception=True)
        return marks.validated_data


def finding_inputs(told: list[dict[str, Any]]) -> list[FindingInput]:
    """Validated findings as the action takes them."""
    return [FindingInput(**one) for one in told]
