"""The API of labels, relative to /api/v1/."""

from __future__ import annotations

from typing import Any

import django_filters
from django.http import HttpResponse
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema, extend_schema_field
from rest_framework import generics, serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from assets_app.doors.pdf_answers import PdfRenderer, pdf_answer
from assets_app.labels import actions, pdf, queries
from assets_app.labels.models import JointLabel
from assets_app.labels.pages import address_of, printed
from assets_app.labels.rules import GRIDS, PAGES, Grid
from assets_app.people.queries import BY_JOINT, require_first


class LabelOut(serializers.ModelSerializer):
    """``address`` is what the code holds; without a role at the site it opens nothing."""

    address = serializers.SerializerMethodField()

    class Meta:
        model = JointLabel
        fields = "id joint address issued_by issued_at withdrawn_by withdrawn_at withdrawn_why".split()

    @extend_schema_field(serializers.URLField)
    def get_address(self, label: JointLabel) -> str:
        return address_of(label)


class LabelFilter(django_filters.FilterSet):
    asset = django_filters.NumberFilter(field_name="joint__asset")
    in_use = django_filters.BooleanFilter(field_name="withdrawn_at", lookup_expr="isnull")

    class Meta:
        model = JointLabel
        fields = ("joint",)


class LabelsIn(serializers.Serializer):
    joints = serializers.ListField(child=serializers.IntegerField(min_value=1), max_length=actions.MOST)


class Labels(generics.ListAPIView):
    """Labels, the newest first."""

    serializer_class = LabelOut
    filterset_class = LabelFilter
    queryset = JointLabel.objects.all()

    def get_queryset(self) -> Any:
        return queries.labels_in_sight(self.request.user)

    @extend_schema(request=LabelsIn, responses=LabelOut(many=True))
    def post(self, request: Request) -> Response:
        """Issue labels: a joint that has one keeps it."""
        given = LabelsIn(data=request.data)
        given.is_valid(raise_exception=True)

        def deed() -> tuple[int, Any]:
            issued = actions.issue_labels(
                joint_ids=given.validated_data["joints"], actor=request.user, now=timezone.now()
            )
            return 200, [dict(row) for row in LabelOut(issued, many=True).data]

        return once(request, deed)


class ReissueIn(serializers.Serializer):
    reason = serializers.CharField(max_length=200, help_text="lost, copied, or on the wrong joint")


class ReissueLabel(APIView):
    @extend_schema(request=ReissueIn, responses={201: LabelOut})
    def post(self, request: Request, joint: int) -> Response:
        """Withdraw the label of a joint and issue another."""
        require_first(request.user, "label.withdraw", {"joint": joint}, BY_JOINT)
        given = ReissueIn(data=request.data)
        given.is_valid(raise_exception=True)

        def deed() -> tuple[int, dict[str, Any]]:
            label = actions.reissue_label(
                joint_id=joint, reason=given.validated_data["reason"], actor=request.user, now=timezone.now()
            )
            return 201, dict(LabelOut(label).data)

        return once(request, deed)


class ScannedOut(serializers.Serializer):
    joint = serializers.IntegerField()


class Scanned(APIView):
    @extend_schema(responses=ScannedOut)
    def get(self, request: Request, token: str) -> Response:
        """The joint of a label that was scanned; 410 where the label was withdrawn."""
        return Response({"joint": queries.label_by_token(request.user, token).joint_id})


class SheetIn(serializers.Serializer):
    """A sheet by its ``layout``, or by its own figures in mm."""

    joint = serializers.ListField(child=serializers.IntegerField(min_value=1), min_length=1, max_length=actions.MOST)
    layout = serializers.ChoiceField(choices=sorted(GRIDS), required=False)
    page = serializers.ChoiceField(choices=sorted(PAGES), default="A4")
    label_width_mm = serializers.FloatField(required=False)
    label_height_mm = serializers.FloatField(required=False)
    columns = serializers.IntegerField(required=False)
    rows = serializers.IntegerField(required=False)
    margin_left_mm = serializers.FloatField(default=0.0)
    margin_top_mm = serializers.FloatField(default=0.0)
    gap_x_mm = serializers.FloatField(default=0.0)
    gap_y_mm = serializers.FloatField(default=0.0)
    start_at = serializers.IntegerField(default=1)
    outlines = serializers.BooleanField(default=False)

    def validate(self, told: dict[str, Any]) -> dict[str, Any]:
        lacking = [name for name in ("label_width_mm", "label_height_mm", "columns", "rows") if name not in told]
        if "layout" not in told and lacking:
            raise serializers.ValidationError(dict.fromkeys(lacking, "Needed where no layout is named."))
        return told


class LabelSheet(APIView):
    renderer_classes = (JSONRenderer, PdfRenderer)

    @extend_schema(
        parameters=[SheetIn, OpenApiParameter("joint", OpenApiTypes.INT, many=True, required=True)],
        responses={(200, "application/pdf"): OpenApiResponse(OpenApiTypes.BINARY)},
    )
    def get(self, request: Request) -> HttpResponse:
        """The labels of joints as sheets to print; 409 where one has no label yet. It writes nothing."""
        given = SheetIn(data=request.query_params)
        given.is_valid(raise_exception=True)
        told = dict(given.validated_data)
        joints, start_at, outlines = told.pop("joint"), told.pop("start_at"), told.pop("outlines")
        layout = told.pop("layout", None)
        labels = queries.labels_of(request.user, joints)
        grid = GRIDS[layout] if layout else Grid(**told)
        return pdf_answer(pdf.sheet(printed(labels), grid, start_at=start_at, outlines=outlines), "labels")


urlpatterns = [
    path("labels/", Labels.as_view(), name="api-labels"),
    path("labels/sheet.pdf", LabelSheet.as_view(), name="api-label-sheet"),
    path("labels/scanned/<slug:token>/", Scanned.as_view(), name="api-label-scanned"),
    path("joints/<int:joint>/label/reissue/", ReissueLabel.as_view(), name="api-label-reissue"),
]
