"""The API of reports on paper, relative to /api/v1/. They are read from the record and write nothing into it."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.urls import include, path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import DefaultRouter
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from assets_app.doors.pdf_answers import PdfRenderer, pdf_answer
from schedules.duty.serializers import checked
from schedules.reports import certificate_queries, pdf, queries, written_actions, written_queries
from schedules.reports.models import WrittenReport

PDF = {(200, "application/pdf"): OpenApiResponse(OpenApiTypes.BINARY)}
PERIOD = [
    OpenApiParameter("since", OpenApiTypes.DATE, required=True, description="first day, on the site's clock"),
    OpenApiParameter("until", OpenApiTypes.DATE, required=True, description="last day"),
]


class PeriodIn(serializers.Serializer):
    since = serializers.DateField()
    until = serializers.DateField()


class _Paper(APIView):
    renderer_classes = (JSONRenderer, PdfRenderer)

    def _period(self, request: Request) -> tuple[date, date]:
        given = PeriodIn(data=request.query_params)
        given.is_valid(raise_exception=True)
        told: dict[str, Any] = given.validated_data
        return told["since"], told["until"]


class JointReport(_Paper):
    @extend_schema(parameters=PERIOD, responses=PDF)
    def get(self, request: Request, joint: int) -> HttpResponse:
        """Inspection report of a joint and a period; a large one (422, ``report_large``) is asked for at reports/."""
        report = queries.joint_report(request.user, joint, *self._period(request))
        return pdf_answer(pdf.inspection_report(report), f"inspection-report-{report.subject}")


class AssetReport(_Paper):
    @extend_schema(parameters=PERIOD, responses=PDF)
    def get(self, request: Request, asset: int) -> HttpResponse:
        """Inspection report of an asset's joints and a period; a large one is asked for at reports/."""
        report = queries.asset_report(request.user, asset, *self._period(request))
        return pdf_answer(pdf.inspection_report(report), f"inspection-report-{report.asset}")


class HoldCertificate(_Paper):
    @extend_schema(responses=PDF)
    def get(self, request: Request, hold: int) -> HttpResponse:
        """Return-to-service certificate of a hold that was lifted; 409 while it stands."""
        told = certificate_queries.certificate(request.user, hold)
        return pdf_answer(pdf.return_to_service(told), f"return-to-service-{told.number}")


class WrittenReportSerializer(serializers.ModelSerializer):
    asked_by = serializers.CharField(source="asked_by.display_name", read_only=True)
    kept_until = serializers.DateTimeField(read_only=True, allow_null=True)

    class Meta:
        model = WrittenReport
        fields = (
            *("id", "site", "asset", "joint", "since", "until", "looks", "photos", "state", "done_percent", "why"),
            *("asked_by", "asked_at", "ended_at", "kept_until", "file_sha256"),
        )
        read_only_fields = fields


class AskIn(PeriodIn):
    asset = serializers.IntegerField(required=False, min_value=1)
    joint = serializers.IntegerField(required=False, min_value=1)

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        if ("asset" in given) == ("joint" in given):
            raise serializers.ValidationError("Name an asset or a joint: one of them.")
        return given


class WrittenReportViews(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet):
    """Inspection reports written by a worker: asked for, looked at again until done, then fetched."""

    queryset = WrittenReport.objects.none()
    serializer_class = WrittenReportSerializer
    filterset_fields = ["site", "asset", "joint", "state"]

    def get_queryset(self) -> QuerySet[WrittenReport]:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset.none()
        return written_queries.reports_in_sight(self.request.user)

    @extend_schema(request=AskIn, responses={201: WrittenReportSerializer})
    def create(self, request: Request) -> Response:
        """Have a report written. One that is already being written is answered again."""
        given = checked(AskIn, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            asked = written_actions.ask_for_report(
                asset_id=given.get("asset"),
                joint_id=given.get("joint"),
                since=given["since"],
                until=given["until"],
                actor=request.user,
                now=timezone.now(),
            )
            return 201, dict(WrittenReportSerializer(asked).data)

        return once(request, deed)


class WrittenFile(_Paper):
    @extend_schema(responses=PDF)
    def get(self, request: Request, report: int) -> HttpResponse:
        """The PDF of a report asked for at reports/; 409 while it is not written, and once it is no longer kept."""
        row, content = written_queries.file_of(request.user, report)
        return pdf_answer(content, f"inspection-report-{row.subject}")


_router = DefaultRouter()
_router.include_root_view = False
_router.register("reports", WrittenReportViews, basename="api-report")

urlpatterns = [
    path("", include(_router.urls)),
    path("reports/<int:report>/file.pdf", WrittenFile.as_view(), name="api-report-file"),
    path("joints/<int:joint>/report.pdf", JointReport.as_view(), name="api-joint-report"),
    path("assets/<int:asset>/report.pdf", AssetReport.as_view(), name="api-asset-report"),
    path("holds/<int:hold>/certificate.pdf", HoldCertificate.as_view(), name="api-hold-certificate"),
]
