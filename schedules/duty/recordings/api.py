"""The API of recordings, relative to /api/v1/."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import include, path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, viewsets
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import DefaultRouter

from assets_app.doors.idempotency import once
from assets_app.doors.parsers import StrictJSONParser
from assets_app.people.queries import BY_ASSET, require, require_first
from schedules.duty.recordings import actions, queries
from schedules.duty.recordings import serializers as shapes
from schedules.duty.recordings.counting import Wanted
from schedules.duty.recordings.models import Recording
from schedules.duty.serializers import checked


class RecordingViews(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet):
    """Recordings of strain or stress: sent as a file, counted in the background, put on joints."""

    queryset = Recording.objects.none()
    parser_classes = [MultiPartParser]
    filterset_fields = ["asset", "asset__site", "state"]

    def get_queryset(self) -> QuerySet[Recording]:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset.none()
        rows = queries.recordings_in_sight(self.request.user)
        return rows.defer(*queries.LONG) if self.action == "list" else rows

    def get_serializer_class(self) -> type[shapes.RecordingSerializer]:
        return shapes.RecordingSerializer if self.action == "list" else shapes.RecordingDetail

    @extend_schema(request={"multipart/form-data": shapes.RecordingInput}, responses={201: shapes.RecordingSerializer})
    def create(self, request: Request) -> Response:
        """Send a recording; engineers only. Ask for it again to see how far it is."""
        require_first(request.user, "spectrum.change", request.data, BY_ASSET)
        given = checked(shapes.RecordingInput, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            started = actions.start_recording(
                asset_id=given.pop("asset"),
                file=given.pop("file"),
                column=given.pop("column"),
                note=given.pop("note"),
                wanted=Wanted(**given),
                actor=request.user,
                now=timezone.now(),
            )
            return 201, dict(shapes.RecordingSerializer(started).data)

        return once(request, deed)

    @extend_schema(request=shapes.UseInput, responses={201: shapes.UsedSerializer})
    @action(detail=True, methods=["post"], parser_classes=[StrictJSONParser])
    def use(self, request: Request, pk: str) -> Response:
        """Give joints its spectrum, all or none."""
        recording = self.get_object()
        require(request.user, "spectrum.change", recording.asset.site_id)
        given = checked(shapes.UseInput, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            joints = given.pop("joints")
            spectra = actions.use_recording(
                recording_id=recording.pk, joint_ids=joints, actor=request.user, now=timezone.now(), **given
            )
            return 201, {"spectra": [spectrum.pk for spectrum in spectra]}

        return once(request, deed)


_router = DefaultRouter()
_router.include_root_view = False
_router.register("recordings", RecordingViews, basename="api-recording")

urlpatterns = [path("", include(_router.urls))]
