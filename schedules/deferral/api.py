"""The API of deferrals, relative to /api/v1/."""

from __future__ import annotations

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
from assets_app.people.queries import Named, require, require_first
from schedules.deferral import actions, queries
from schedules.deferral.models import Deferral
from schedules.work.models import WorkOrder

BY_ORDER = Named("order", WorkOrder.objects, "site_id")


class DeferralOut(serializers.ModelSerializer):
    class Meta:
        model = Deferral
        fields = (
            "id order site was_due_on ends_on reason interim_measure risk cost_estimate signed_by signed_at state "
            "ended_on"
        ).split()


class DeferralIn(serializers.Serializer):
    """``version`` is the order's as it was seen."""

    order = serializers.IntegerField()
    version = serializers.IntegerField(min_value=1)
    ends_on = serializers.DateField()
    reason = serializers.CharField()
    interim_measure = serializers.CharField()
    cost_estimate = serializers.DecimalField(max_digits=12, decimal_places=2, required=False, min_value=0)


class DeferralFilter(django_filters.FilterSet):
    ends_before = django_filters.DateFilter(field_name="ends_on", lookup_expr="lte")

    class Meta:
        model = Deferral
        fields = ["site", "order", "state"]


class Deferrals(generics.ListAPIView):
    """Deferrals, the newest first."""

    serializer_class = DeferralOut
    filterset_class = DeferralFilter
    queryset = Deferral.objects.all()

    def get_queryset(self) -> Any:
        return queries.deferrals_in_sight(self.request.user)

    @extend_schema(request=DeferralIn, responses={201: DeferralOut})
    def post(self, request: Request) -> Response:
        """Put an order off until a day."""
        require_first(request.user, "deferral.sign", request.data, BY_ORDER)
        given = DeferralIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = dict(given.validated_data)

        def deed() -> tuple[int, dict[str, Any]]:
            order, version = data.pop("order"), data.pop("version")
            who = {"actor": request.user, "now": timezone.now()}
            row = actions.sign_deferral(order_id=order, expected_version=version, **data, **who)
            return 201, dict(DeferralOut(row).data)

        return once(request, deed)


class WithdrawIn(serializers.Serializer):
    reason = serializers.CharField()


class Withdraw(APIView):
    @extend_schema(request=WithdrawIn, responses=DeferralOut)
    def post(self, request: Request, deferral: int) -> Response:
        """Take a deferral back."""
        require(request.user, "deferral.sign", queries.deferral_in_sight(request.user, deferral).site_id)
        given = WithdrawIn(data=request.data)
        given.is_valid(raise_exception=True)

        def deed() -> tuple[int, dict[str, Any]]:
            who = {"actor": request.user, "now": timezone.now()}
            row = actions.withdraw_deferral(deferral_id=deferral, reason=given.validated_data["reason"], **who)
            return 200, dict(DeferralOut(row).data)

        return once(request, deed)


urlpatterns = [
    path("deferrals/", Deferrals.as_view(), name="api-deferrals"),
    path("deferrals/<int:deferral>/withdraw/", Withdraw.as_view(), name="api-deferral-withdraw"),
]
