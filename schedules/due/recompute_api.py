"""How far the full recomputes are, and the assets whose recompute broke off; relative to /api/v1/."""

from __future__ import annotations

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from assets_app.people import queries as people
from schedules.due import left_out, sweeps
from schedules.due.models import Sweep


class RecomputeOut(serializers.Serializer):
    """A full recompute of a site."""

    site = serializers.IntegerField(source="sweep.site_id")
    for_day = serializers.DateField(source="sweep.for_day", help_text="the day on the site's clock")
    state = serializers.ChoiceField(Sweep.State.choices, source="sweep.state")
    started_at = serializers.DateTimeField(source="sweep.started_at")
    ended_at = serializers.DateTimeField(source="sweep.ended_at", allow_null=True)
    parts = serializers.IntegerField(source="at.parts")
    parts_done = serializers.IntegerField(source="at.parts_done")
    looks = serializers.IntegerField(source="at.programmes", help_text="looks owed in all")
    looks_done = serializers.IntegerField(source="at.programmes_done")
    changed = serializers.IntegerField(source="at.changed", help_text="dates that changed")


class NotComputedOut(serializers.Serializer):
    """An asset whose dates stand as they were computed last, and may be too late."""

    asset = serializers.IntegerField(source="asset_id")
    tag = serializers.CharField(source="asset.tag")
    site = serializers.IntegerField(source="site_id")
    since = serializers.DateTimeField()
    tried_at = serializers.DateTimeField(help_text="tried again every hour")
    tries = serializers.IntegerField()
    error = serializers.CharField()


class RecomputesOut(serializers.Serializer):
    newest = RecomputeOut(many=True, help_text="of one's own sites, the newest first")
    not_computed = NotComputedOut(many=True, help_text="the oldest first")


class Recomputes(APIView):
    @extend_schema(responses=RecomputesOut)
    def get(self, request: Request) -> Response:
        """How far the full recomputes of one's sites are, and the assets that could not be computed."""
        mine = people.sites_of(request.user)
        newest = [{"sweep": sweep, "at": at} for sweep, at in sweeps.newest(mine)]
        return Response(RecomputesOut({"newest": newest, "not_computed": left_out.of_sites(mine)}).data)


urlpatterns = [path("recomputes/", Recomputes.as_view(), name="api-recomputes")]
