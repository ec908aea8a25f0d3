"""The API of my alerts, relative to /api/v1/."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import django_filters
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from schedules.alerts import actions, given_up_rules, queries, setting_api
from schedules.alerts.models import Delivery, Intent


class AlertOut(serializers.ModelSerializer):
    kind = serializers.CharField(source="intent.kind")
    site = serializers.IntegerField(source="intent.site_id")
    subject = serializers.CharField(source="intent.subject")
    text = serializers.CharField(source="intent.text")
    link = serializers.CharField(source="intent.link")
    created_at = serializers.DateTimeField(source="intent.created_at")
    acknowledged_by = serializers.CharField(source="intent.acknowledged_by.display_name", default=None, allow_null=True)
    acknowledged_at = serializers.DateTimeField(source="intent.acknowledged_at", allow_null=True)

    class Meta:
        model = Delivery
        fields = "id kind site subject text link created_at seen_at acknowledged_by acknowledged_at".split()


class AlertFilter(django_filters.FilterSet):
    unseen = django_filters.BooleanFilter(field_name="seen_at", lookup_expr="isnull")
    kind = django_filters.ChoiceFilter(field_name="intent__kind", choices=Intent.Kind.choices)
    site = django_filters.NumberFilter(field_name="intent__site")

    class Meta:
        model = Delivery
        fields: list[str] = []


class Alerts(generics.ListAPIView):
    """My alerts, the newest first."""

    serializer_class = AlertOut
    filterset_class = AlertFilter
    queryset = Delivery.objects.all()

    def get_queryset(self) -> Any:
        return queries.mine(self.request.user)


class SeenIn(serializers.Serializer):
    ids = serializers.ListField(
        child=serializers.IntegerField(), required=False, max_length=1000, help_text="left out: all of mine"
    )


class SeenOut(serializers.Serializer):
    seen = serializers.IntegerField()


class MarkSeen(APIView):
    @extend_schema(request=SeenIn, responses=SeenOut)
    def post(self, request: Request) -> Response:
        """Mark alerts of mine as seen."""
        given = SeenIn(data=request.data)
        given.is_valid(raise_exception=True)
        ids = given.validated_data.get("ids")

        def deed() -> tuple[int, dict[str, Any]]:
            return 200, {"seen": actions.mark_seen(actor=request.user, now=timezone.now(), delivery_ids=ids)}

        return once(request, deed)


class Acknowledge(APIView):
    @extend_schema(request=None, responses=AlertOut)
    def post(self, request: Request, delivery_id: int) -> Response:
        """Say that you see to it: everybody who was told sees it, and it is escalated no further."""

        def deed() -> tuple[int, dict[str, Any]]:
            actions.acknowledge(actor=request.user, now=timezone.now(), delivery_id=delivery_id)
            row = Delivery.objects.select_related("intent__acknowledged_by").get(pk=delivery_id)
            return 200, dict(AlertOut(row).data)

        return once(request, deed)


class _GivenUpOut(serializers.Serializer):
    """What was given up, gathered by receiver and reason; ``explain`` gives why and what to do."""

    newest = serializers.CharField(source="newest.intent.subject")
    alerts = serializers.IntegerField()
    tries = serializers.IntegerField()
    last_error = serializers.CharField(source="newest.last_error")
    why = serializers.SerializerMethodField()
    to_do = serializers.SerializerMethodField()

    explain: Callable[[str], tuple[str, str]]

    def get_why(self, row: queries.GivenUp) -> str:
        return self.explain(row.newest.last_error)[0]

    def get_to_do(self, row: queries.GivenUp) -> str:
        return self.explain(row.newest.last_error)[1]


class NotDeliveredEmailOut(_GivenUpOut):
    delivery = serializers.IntegerField(source="newest.pk", help_text="name it to try all of them again")
    site = serializers.IntegerField(source="newest.intent.site_id")
    person = serializers.CharField(source="newest.person.display_name")
    explain = staticmethod(given_up_rules.email)


class NotDeliveredPostOut(_GivenUpOut):
    endpoint = serializers.IntegerField(source="newest.endpoint_id")
    site = serializers.IntegerField(source="newest.endpoint.site_id")
    explain = staticmethod(given_up_rules.post)


class NotDeliveredOut(serializers.Serializer):
    emails = NotDeliveredEmailOut(many=True)
    webhooks = NotDeliveredPostOut(many=True)


class NotDelivered(APIView):
    @extend_schema(responses=NotDeliveredOut)
    def get(self, request: Request) -> Response:
        """What could not be delivered at the sites whose people you keep: by person or receiver and reason."""
        found = {"emails": queries.given_up(request.user), "webhooks": queries.posts_given_up(request.user)}
        return Response(NotDeliveredOut(found).data)


class AgainOut(serializers.Serializer):
    alerts = serializers.IntegerField()


class TryAgain(APIView):
    @extend_schema(request=None, responses=AgainOut)
    def post(self, request: Request, delivery_id: int) -> Response:
        """Send once more what was given up, with all that the person was not told for the same reason."""

        def deed() -> tuple[int, dict[str, Any]]:
            count = actions.try_again(actor=request.user, now=timezone.now(), delivery_id=delivery_id)
            return 200, {"alerts": count}

        return once(request, deed)


urlpatterns = [
    path("alerts/", Alerts.as_view(), name="api-alerts"),
    path("alerts/<int:delivery_id>/acknowledge/", Acknowledge.as_view(), name="api-alert-acknowledge"),
    path("alerts/<int:delivery_id>/again/", TryAgain.as_view(), name="api-alert-again"),
    path("alerts/not-delivered/", NotDelivered.as_view(), name="api-alerts-not-delivered"),
    *setting_api.urlpatterns,
    path("alerts/seen/", MarkSeen.as_view(), name="api-alerts-seen"),
]
