"""The record, read only."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet
from django.http import StreamingHttpResponse
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema, extend_schema_field
from rest_framework import mixins, serializers, viewsets
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView

from assets_app.record import queries
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


router = SimpleRouter()
router.register("record", RecordViewSet, basename="api-record")
urlpatterns = [path("record/sites/<int:site>.jsonl", RecordExport.as_view(), name="api-record-export"), *router.urls]
