"""The API of reports on paper, relative to /api/v1/. They are read from the record and write nothing."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.http import HttpResponse
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.views import APIView

from assets_app.doors.pdf_answers import PdfRenderer, pdf_answer
from schedules.reports import pdf, queries

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
        """Inspection report of a joint and a period."""
        report = queries.joint_report(request.user, joint, *self._period(request))
        return pdf_answer(pdf.inspection_report(report), f"inspection-report-{report.subject}")


class AssetReport(_Paper):
    @extend_schema(parameters=PERIOD, responses=PDF)
    def get(self, request: Request, asset: int) -> HttpResponse:
        """Inspection report of an asset's joints and a period."""
        report = queries.asset_report(request.user, asset, *self._period(request))
        return pdf_answer(pdf.inspection_report(report), f"inspection-report-{report.asset}")


class HoldCertificate(_Paper):
    @extend_schema(responses=PDF)
    def get(self, request: Request, hold: int) -> HttpResponse:
        """Return-to-service certificate of a hold that was lifted; 409 while it stands."""
        told = queries.certificate(request.user, hold)
        return pdf_answer(pdf.return_to_service(told), f"return-to-service-{told.number}")


urlpatterns = [
    path("joints/<int:joint>/report.pdf", JointReport.as_view(), name="api-joint-report"),
    path("assets/<int:asset>/report.pdf", AssetReport.as_view(), name="api-asset-report"),
    path("holds/<int:hold>/certificate.pdf", HoldCertificate.as_view(), name="api-hold-certificate"),
]
