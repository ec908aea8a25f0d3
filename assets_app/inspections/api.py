"""The API of looks, findings, assessments and photos."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import mixins, viewsets
from rest_framework.decorators import action
from rest_framework.parsers import FormParser, MultiPartParser
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from assets_app.doors.idempotency import once
from assets_app.inspections import actions, bolt_api, marks_api, queries, serializers
from assets_app.inspections.evidence_actions import read_upload
from assets_app.inspections.marks_actions import mark_photo
from assets_app.inspections.models import Assessment, Evidence, Finding, Inspection
from assets_app.inspections.pages import photo_response
from assets_app.people.queries import BY_JOINT, require, require_first


class _Rows(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet):
    """Rows of the person's sites; ``rows_for`` is the query of this capability."""

    rows_for: Callable[..., QuerySet]

    def get_queryset(self) -> QuerySet:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        return type(self).rows_for(self.request.user)

    def _told(self, serializer_class: type) -> dict[str, Any]:
        """The validated request."""
        serializer = serializer_class(data=self.request.data)
        serializer.is_valid(raise_exception=True)
        return serializer.validated_data


class InspectionFilter(django_filters.FilterSet):
    since = django_filters.DateFilter(field_name="inspected_on", lookup_expr="gte")
    until = django_filters.DateFilter(field_name="inspected_on", lookup_expr="lte")
    site = django_filters.NumberFilter(field_name="joint__asset__site")
    asset = django_filters.NumberFilter(field_name="joint__asset")
    joint = django_filters.NumberFilter(field_name="joint")

    class Meta:
        model = Inspection
        fields = ("method", "result")


class InspectionViewSet(_Rows):
    """Looks at joints. A look is never changed: ``correct`` writes a new one that stands for it."""

    queryset = Inspection.objects.none()
    serializer_class = serializers.InspectionSerializer
    filterset_class = InspectionFilter
    rows_for = staticmethod(queries.inspections_for)

    @extend_schema(
        request=serializers.InspectionReport,
        responses={201: serializers.InspectionSerializer},
        summary="Record one look with its findings",
    )
    def create(self, request: Request) -> Response:
        require_first(request.user, actions.right_to_look(request.data), request.data, BY_JOINT)
        told = self._told(serializers.InspectionReport)
        return once(request, lambda: (201, self._record(request, told)))

    @extend_schema(
        request=serializers.InspectionCorrection,
        responses={201: serializers.InspectionSerializer},
        summary="Correct a look by a new one",
    )
    @action(detail=True, methods=["post"])
    def correct(self, request: Request, pk: str) -> Response:
        old = self.get_object()
        require(request.user, actions.right_to_look(request.data), old.joint.asset.site_id)
        told = self._told(serializers.InspectionCorrection)
        told["findings"] = serializers.finding_inputs(told["findings"])

        def deed() -> tuple[int, dict[str, Any]]:
            new = actions.correct_inspection(inspection_id=old.pk, actor=request.user, now=timezone.now(), **told)
            return 201, dict(self.get_serializer(new).data)

        return once(request, deed)

    def _record(self, request: Request, told: dict[str, Any]) -> dict[str, Any]:
        facts = {**told, "joint_id": told["joint"], "findings": serializers.finding_inputs(told["findings"])}
        del facts["joint"]
        new = actions.record_inspection(actor=request.user, now=timezone.now(), **facts)
        return dict(self.get_serializer(new).data)


class FindingFilter(django_filters.FilterSet):
    site = django_filters.NumberFilter(field_name="joint__asset__site")
    asset = django_filters.NumberFilter(field_name="joint__asset")
    joint = django_filters.NumberFilter(field_name="joint")
    open = django_filters.BooleanFilter(method="is_open", label="open (assessed ones too) or not")

    class Meta:
        model = Finding
        fields = ("severity", "state", "kind", "accepted")

    def is_open(self, rows: QuerySet[Finding], name: str, value: bool) -> QuerySet[Finding]:
        return rows.filter(state__in=queries.OPEN) if value else rows.exclude(state__in=queries.OPEN)


class FindingViewSet(_Rows):
    """What was seen, with sizes over time; what is done to it afterwards are deeds of their own."""

    queryset = Finding.objects.none()
    serializer_class = serializers.FindingSerializer
    filterset_class = FindingFilter
    rows_for = staticmethod(queries.findings_for)

    @extend_schema(request=serializers.SeverityChange, summary="Call it graver")
    @action(detail=True, methods=["post"], url_path="raise")
    def raise_severity(self, request: Request, pk: str) -> Response:
        return self._do(request, "finding.raise", actions.raise_severity, serializers.SeverityChange)

    @extend_schema(request=serializers.SeverityChange, summary="Call it milder (engineer)")
    @action(detail=True, methods=["post"], url_path="lower")
    def lower_severity(self, request: Request, pk: str) -> Response:
        return self._do(request, "finding.lower", actions.lower_severity, serializers.SeverityChange)

    @extend_schema(request=serializers.FindingAssessment, summary="Sign that it may stand until a day (engineer)")
    @action(detail=True, methods=["post"])
    def assess(self, request: Request, pk: str) -> Response:
        return self._do(request, "finding.assess", actions.sign_assessment, serializers.FindingAssessment)

    @extend_schema(request=serializers.Reason, summary="Close it without a repair")
    @action(detail=True, methods=["post"])
    def close(self, request: Request, pk: str) -> Response:
        return self._do(request, "finding.close", actions.close_finding, serializers.Reason)

    @extend_schema(request=serializers.SameAs, summary="Say that it is one found before: its sizes go there")
    @action(detail=True, methods=["post"])
    def join(self, request: Request, pk: str) -> Response:
        return self._do(request, "finding.close", actions.join_finding, serializers.SameAs)

    def _do(self, request: Request, right: str, deed: Callable[..., Any], serializer_class: type) -> Response:
        finding = self.get_object()
        require(request.user, right, finding.joint.asset.site_id)
        told = self._told(serializer_class)

        def run() -> tuple[int, dict[str, Any]]:
            deed(finding_id=finding.pk, actor=request.user, now=timezone.now(), **told)
            return 200, dict(self.get_serializer(queries.finding_for(request.user, finding.pk)).data)

        return once(request, run)


class AssessmentFilter(django_filters.FilterSet):
    joint = django_filters.NumberFilter(field_name="joint")
    finding = django_filters.NumberFilter(field_name="finding")
    ends_before = django_filters.DateFilter(field_name="ends_on", lookup_expr="lt")

    class Meta:
        model = Assessment
        fields: tuple[str, ...] = ()


class AssessmentViewSet(_Rows):
    """What engineers have signed: of a finding, or of a joint whose fatigue life is used up."""

    queryset = Assessment.objects.none()
    serializer_class = serializers.AssessmentSerializer
    filterset_class = AssessmentFilter
    rows_for = staticmethod(queries.assessments_for)

    @extend_schema(
        request=serializers.JointAssessment,
        responses={201: serializers.AssessmentSerializer},
        summary="Sign that a joint whose life is used up may stand until a day (engineer)",
    )
    def create(self, request: Request) -> Response:
        require_first(request.user, "finding.assess", request.data, BY_JOINT)
        told = self._told(serializers.JointAssessment)

        def run() -> tuple[int, dict[str, Any]]:
            signed = actions.sign_assessment(
                joint_id=told["joint"],
                ends_on=told["ends_on"],
                reason=told["reason"],
                actor=request.user,
                now=timezone.now(),
            )
            return 201, dict(self.get_serializer(signed).data)

        return once(request, run)


class JpegRenderer(JSONRenderer):
    """What is rendered at all is a refusal; the photo itself goes out as it is."""

    media_type = "image/jpeg"
    format = "jpg"


class EvidenceFilter(django_filters.FilterSet):
    joint = django_filters.NumberFilter(field_name="joint")
    inspection = django_filters.NumberFilter(field_name="inspection")
    finding = django_filters.NumberFilter(field_name="finding")

    class Meta:
        model = Evidence
        fields: tuple[str, ...] = ()


class EvidenceViewSet(_Rows):
    """Photos. The original is kept under its hash; only a redrawn copy without its position is served."""

    queryset = Evidence.objects.none()
    serializer_class = serializers.EvidenceSerializer
    filterset_class = EvidenceFilter
    rows_for = staticmethod(queries.evidence_for)
    parser_classes = (MultiPartParser, FormParser)

    @extend_schema(
        request={"multipart/form-data": serializers.EvidenceUpload},
        responses={201: serializers.EvidenceSerializer},
        summary="Add a photo (JPEG, PNG, WebP or HEIC)",
    )
    def create(self, request: Request) -> Response:
        require_first(request.user, "evidence.add", request.data, BY_JOINT)
        upload = serializers.EvidenceUpload(data=request.data)
        upload.is_valid(raise_exception=True)
        told = upload.validated_data

        def run() -> tuple[int, dict[str, Any]]:
            row = actions.add_evidence(
                joint_id=told["joint"],
                inspection_id=told.get("inspection"),
                finding_id=told.get("finding"),
                data=read_upload(told["photo"]),
                name=told["photo"].name,
                caption=told["caption"],
                actor=request.user,
                now=timezone.now(),
            )
            for mark in told["marks"]:
                mark_photo(evidence_id=row.pk, actor=request.user, now=timezone.now(), **mark)
            return 201, dict(self.get_serializer(row).data)

        return once(request, run)

    @extend_schema(responses={(200, "image/jpeg"): OpenApiResponse(OpenApiTypes.BINARY)}, summary="The copy to look at")
    @action(detail=True, url_path="view.jpg", renderer_classes=[JpegRenderer])
    def view(self, request: Request, pk: str) -> HttpResponse:
        return photo_response(self.get_object())


router = SimpleRouter()
router.register("inspections", InspectionViewSet, basename="api-inspection")
router.register("findings", FindingViewSet, basename="api-finding")
router.register("assessments", AssessmentViewSet, basename="api-assessment")
router.register("evidence", EvidenceViewSet, basename="api-evidence")
urlpatterns = [*router.urls, *bolt_api.urlpatterns, *marks_api.urlpatterns]
