"""The record, read only."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet
from django.http import StreamingHttpResponse
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema, extend_schema_field
from rest_framework import mixins, serializers, viewsets
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from assets_app.record import check_actions, queries
from assets_app.record.check_models import RecordCheck
from assets_app.record.models import RecordEntry
from assets_app.record.pages import JSON_LINES, export_answer
from assets_app.record.sentences import sentence


class RecordEntrySerializer(serializers.ModelSerializer):
    """One entry, with the sentence it makes and the hashes that bind it."""

    words = serializers.SerializerMethodField()
    content = serializers.SerializerMethodField()

    class Meta:
        model = RecordEntry
        fields = (
            *("id", "site", "sequence", "at", "deed", "words", "actor", "actor_name", "subject_kind", "subject_id"),
            *("asset", "joint", "content", "previous_hash", "hash"),
        )

    def get_words(self, entry: RecordEntry) -> str:
        return f"{entry.actor_name} {sentence(entry.deed, entry.facts)}"

    @extend_schema_field(serializers.DictField())
    def get_content(self, entry: RecordEntry) -> dict[str, Any]:
        return entry.facts


class RecordFilter(django_filters.FilterSet):
    class Meta:
        model = RecordEntry
        fields = ("site", "asset", "joint", "actor", "deed", "subject_kind", "subject_id")


class RecordViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet):
    """Every deed that matters, in order, each bound to the one before."""

    queryset = RecordEntry.objects.none()
    serializer_class = RecordEntrySerializer
    filterset_class = RecordFilter

    def get_queryset(self) -> QuerySet[RecordEntry]:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        return queries.entries(self.request.user)


class JsonLinesRenderer(JSONRenderer):
    """What is rendered at all is a refusal; the record itself goes out line by line."""

    media_type = JSON_LINES
    format = "jsonl"


class RecordExport(APIView):
    renderer_classes = [JsonLinesRenderer, JSONRenderer]

    @extend_schema(
        responses={(200, JSON_LINES): OpenApiResponse(OpenApiTypes.BINARY)},
        operation_id="record_export",
        summary="A site's whole record as JSON lines, for the stand-alone verifier",
    )
    def get(self, request: Request, site: int) -> StreamingHttpResponse:
        return export_answer(request.user, site)


class RecordCheckSerializer(serializers.ModelSerializer):
    """How far a check of a site's chain is, and what it found; ``broken_at`` is the first broken entry."""

    class Meta:
        model = RecordCheck
        fields = (
            *("id", "site", "asked_by", "asked_at", "state", "entries_done", "entries_total", "broken_at", "words"),
            "ended_at",
        )


class RecordCheckNow(APIView):
    @extend_schema(
        request=None,
        responses={202: RecordCheckSerializer},
        operation_id="record_check_now",
        summary="Have a site's chain checked now (auditor, manager)",
    )
    def post(self, request: Request, site: int) -> Response:
        def deed() -> tuple[int, dict[str, Any]]:
            row = check_actions.ask_for_check(site_id=site, actor=request.user, now=timezone.now())
            return 202, dict(RecordCheckSerializer(row).data)

        return once(request, deed)


class RecordCheckViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet):
    """Checks of the chains of your sites that somebody asked for."""

    queryset = RecordCheck.objects.none()
    serializer_class = RecordCheckSerializer
    filterset_fields = ("site", "state")

    def get_queryset(self) -> QuerySet[RecordCheck]:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        return queries.checks(self.request.user)


router = SimpleRouter()
router.register("record/checks", RecordCheckViewSet, basename="api-record-check")
router.register("record", RecordViewSet, basename="api-record")
urlpatterns = [
    path("record/sites/<int:site>.jsonl", RecordExport.as_view(), name="api-record-export"),
    path("record/sites/<int:site>/check/", RecordCheckNow.as_view(), name="api-record-check-now"),
    *router.urls,
]
