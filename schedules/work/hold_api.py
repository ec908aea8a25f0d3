"""The API of holds, relative to /api/v1/."""

from __future__ import annotations

from typing import Any

import django_filters
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from assets_app.people.queries import BY_ASSET, BY_JOINT, require_first
from schedules.work import actions, holds, queries
from schedules.work.models import Hold
from schedules.work.orders import BY_FINDING


class HoldOut(serializers.ModelSerializer):
    standing = serializers.SerializerMethodField()

    class Meta:
        model = Hold
        fields = (
            "id site asset joint finding reason placed_by placed_at released_by released_at release_reason "
            "release_evidence standing"
        ).split()

    @extend_schema_field(serializers.BooleanField)
    def get_standing(self, hold: Hold) -> bool:
        return hold.released_at is None


class HoldIn(serializers.Serializer):
    """What is held: an asset, a joint or a finding."""

    asset = serializers.IntegerField(required=False)
    joint = serializers.IntegerField(required=False)
    finding = serializers.IntegerField(required=False)
    reason = serializers.CharField()


class HoldFilter(django_filters.FilterSet):
    standing = django_filters.BooleanFilter(field_name="released_at", lookup_expr="isnull")

    class Meta:
        model = Hold
        fields = ["site", "asset", "joint", "finding"]


class Holds(generics.ListAPIView):
    """Holds, the newest first."""

    serializer_class = HoldOut
    filterset_class = HoldFilter
    queryset = Hold.objects.all()

    def get_queryset(self) -> Any:
        return queries.holds_in_sight(self.request.user)

    @extend_schema(request=HoldIn, responses={201: HoldOut})
    def post(self, request: Request) -> Response:
        """Place a hold: anybody with a role at the site."""
        require_first(request.user, "hold.place", request.data, BY_ASSET, BY_JOINT, BY_FINDING)
        given = HoldIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = given.validated_data

        def deed() -> tuple[int, dict[str, Any]]:
            hold = actions.place_hold(
                asset_id=data.get("asset"),
                joint_id=data.get("joint"),
                finding_id=data.get("finding"),
                reason=data["reason"],
                actor=request.user,
                now=timezone.now(),
            )
            return 201, dict(HoldOut(hold).data)

        return once(request, deed)


class ReleaseIn(serializers.Serializer):
    reason = serializers.CharField()
    evidence = serializers.CharField(max_length=240, help_text="report, certificate or photo relied on")


class ReleaseHold(APIView):
    @extend_schema(request=ReleaseIn, responses=HoldOut)
    def post(self, request: Request, hold: int) -> Response:
        """Lift a hold: the named authority, never who did the work."""
        holds.require_authority(request.user, hold, timezone.now())
        given = ReleaseIn(data=request.data)
        given.is_valid(raise_exception=True)

        def deed() -> tuple[int, dict[str, Any]]:
            lifted = actions.release_hold(hold_id=hold, actor=request.user, now=timezone.now(), **given.validated_data)
            return 200, dict(HoldOut(lifted).data)

        return once(request, deed)


urlpatterns = [
    path("holds/", Holds.as_view(), name="api-holds"),
    path("holds/<int:hold>/release/", ReleaseHold.as_view(), name="api-hold-release"),
]
