"""The API of marks on photos, and of a joint's photos by position; relative to /api/v1/."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from assets_app.inspections import marks_actions, marks_queries, queries
from assets_app.inspections.marks_models import PhotoMark
from assets_app.inspections.models import Evidence
from assets_app.inspections.serializers import MarkIn
from assets_app.people.queries import Named, require_first
from assets_app.register.queries import joints_in_sight, one

BY_PHOTO = Named("evidence", Evidence.objects, "joint__asset__site_id")
BY_MARK = Named("mark", PhotoMark.objects, "evidence__joint__asset__site_id")


class MarkOut(serializers.ModelSerializer):
    class Meta:
        model = PhotoMark
        fields = "id evidence shape x y x2 y2 text by at".split()


class Marks(generics.ListAPIView):
    """Marks on one photo that stand."""

    serializer_class = MarkOut
    queryset = PhotoMark.objects.all()

    def get_queryset(self) -> QuerySet[PhotoMark]:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        photo = queries.evidence_view(self.request.user, self.kwargs["evidence"])
        return marks_queries.marks_for(self.request.user).filter(evidence=photo)

    @extend_schema(request=MarkIn, responses={201: MarkOut}, summary="Put a mark on a photo")
    def post(self, request: Request, evidence: int) -> Response:
        require_first(request.user, "evidence.add", {"evidence": evidence}, BY_PHOTO)
        given = MarkIn(data=request.data)
        given.is_valid(raise_exception=True)

        def deed() -> tuple[int, dict[str, Any]]:
            mark = marks_actions.mark_photo(
                evidence_id=evidence, actor=request.user, now=timezone.now(), **given.validated_data
            )
            return 201, dict(MarkOut(mark).data)

        return once(request, deed)


class StrikeIn(serializers.Serializer):
    reason = serializers.CharField(max_length=200)


class StrikeOut(serializers.Serializer):
    mark = serializers.IntegerField(source="mark_id")
    reason = serializers.CharField()
    by = serializers.IntegerField(source="by_id")
    at = serializers.DateTimeField()


class StrikeMark(APIView):
    @extend_schema(request=StrikeIn, responses=StrikeOut, summary="Strike a mark off; it stays on file")
    def post(self, request: Request, mark: int) -> Response:
        require_first(request.user, "evidence.add", {"mark": mark}, BY_MARK)
        given = StrikeIn(data=request.data)
        given.is_valid(raise_exception=True)

        def deed() -> tuple[int, dict[str, Any]]:
            struck = marks_actions.strike_mark(
                mark_id=mark, reason=given.validated_data["reason"], actor=request.user, now=timezone.now()
            )
            return 200, dict(StrikeOut(struck).data)

        return once(request, deed)


class PositionPhoto(serializers.Serializer):
    evidence = serializers.IntegerField(source="photo.pk")
    day = serializers.DateField()
    day_from = serializers.CharField()
    caption = serializers.CharField(source="photo.caption")
    marks = MarkOut(source="photo.marks_now", many=True)


class PositionOut(serializers.Serializer):
    """One position of a joint; its photos, oldest first."""

    position = serializers.CharField(source="words")
    photos = PositionPhoto(many=True)


class JointPhotos(APIView):
    @extend_schema(responses=PositionOut(many=True), summary="Photos of a joint by the position they show")
    def get(self, request: Request, joint: int) -> Response:
        found = one(joints_in_sight(request.user), joint)
        return Response(PositionOut(marks_queries.positions_of(found), many=True).data)


urlpatterns = [
    path("evidence/<int:evidence>/marks/", Marks.as_view(), name="api-photo-marks"),
    path("marks/<int:mark>/strike/", StrikeMark.as_view(), name="api-mark-strike"),
    path("joints/<int:joint>/photos/", JointPhotos.as_view(), name="api-joint-photos"),
]
