"""The API of bolt sheets; relative to /api/v1/."""

from __future__ import annotations

import math
from typing import Any

import django_filters
from django.db.models import QuerySet
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from assets_app.doors.idempotency import once
from assets_app.inspections import bolt_queries, bolt_rules, bolt_sheet_actions
from assets_app.inspections.bolt_models import BoltReading
from assets_app.inspections.bolt_rules import BoltInput
from assets_app.inspections.bolt_sheet_actions import Answer
from assets_app.inspections.models import Inspection, Severity
from assets_app.inspections.serializers import Id
from assets_app.people.queries import BY_JOINT, require_first
from assets_app.register.joint_drawing import pattern_of
from assets_app.register.queries import joints_in_sight, one
from assets_app.register.tightening_order import tightening_order


class BoltReadingOut(serializers.ModelSerializer):
    class Meta:
        model = BoltReading
        fields = (
            *("id", "inspection", "number", "state", "torque_found_nm", "torque_left_nm", "tension_found_kn"),
            *("tension_left_kn", "witness", "as_typed"),
        )


class _Typed(serializers.CharField):
    def __init__(self, **more: Any) -> None:
        super().__init__(max_length=24, required=False, allow_null=True, allow_blank=True, default=None, **more)


class BoltIn(serializers.Serializer):
    """One bolt; figures as people write them (``320``, ``240 lbf ft``): plain ones in the site's unit."""

    number = serializers.IntegerField(min_value=1, max_value=bolt_rules.MOST_BOLTS)
    state = serializers.ChoiceField(choices=BoltReading.State.choices, help_text="as found")
    torque_found = _Typed(help_text="N·m")
    torque_left = _Typed(help_text="N·m")
    tension_found = _Typed(help_text="kN")
    tension_left = _Typed(help_text="kN")
    witness = serializers.ChoiceField(
        choices=BoltReading.Witness.choices,
        required=False,
        allow_blank=True,
        default="",
        help_text="empty: not looked at",
    )


class BoltSheetIn(serializers.Serializer):
    """A filled sheet. Bolts left out were not checked: the look is then incomplete."""

    joint = Id()
    inspected_at = serializers.DateTimeField()
    bolts = BoltIn(many=True, max_length=bolt_rules.MOST_BOLTS)
    conditions = serializers.ChoiceField(choices=Inspection.Conditions.choices, default="normal")
    counter_total = serializers.FloatField(required=False, allow_null=True, default=None, min_value=0)
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True, default="")
    k = serializers.FloatField(required=False, allow_null=True, default=None, help_text="empty: 0.2, common practice")
    moment = _Typed(help_text="overturning, kN·m; an engineer's to give")
    pull = _Typed(help_text="kN; an engineer's to give")
    dry_run = serializers.BooleanField(default=False, help_text="work it out only; nothing is written")


class FollowingOut(serializers.Serializer):
    kind = serializers.CharField()
    bolts = serializers.ListField(child=serializers.IntegerField())
    severity = serializers.ChoiceField(choices=Severity.choices)
    reason = serializers.CharField()
    known = serializers.IntegerField(allow_null=True, help_text="the open finding that is seen again")


class BoltSheetOut(serializers.Serializer):
    """What the lost bolts do to the rest and what follows; ``inspection`` is null where nothing was written."""

    inspection = serializers.IntegerField(allow_null=True)
    result = serializers.ChoiceField(choices=Inspection.Result.choices)
    unchecked = serializers.IntegerField()
    lost = serializers.ListField(child=serializers.IntegerField(), help_text="on the sheet and in open findings")
    rise = serializers.FloatField(
        allow_null=True, help_text="worst load on the rest over what it was; null: see can_carry"
    )
    can_carry = serializers.BooleanField(allow_null=True, help_text="null: the pattern is not known")
    use = serializers.FloatField(allow_null=True, help_text="worst pull over the resistance, under the load given")
    could_carry = serializers.BooleanField(allow_null=True, help_text="the intact group, under the load given")
    expected_torque_nm = serializers.FloatField(allow_null=True)
    expected_source = serializers.CharField(allow_blank=True)
    caution = serializers.CharField(allow_blank=True)
    following = FollowingOut(many=True)
    remarks = serializers.ListField(child=serializers.CharField())
    order = serializers.ListField(child=serializers.IntegerField(), help_text="bolt numbers in tightening order")


class BoltReadingFilter(django_filters.FilterSet):
    joint = django_filters.NumberFilter(field_name="inspection__joint")
    inspection = django_filters.NumberFilter(field_name="inspection")

    class Meta:
        model = BoltReading
        fields = ("state", "number")


class BoltSheets(generics.ListAPIView):
    """Readings of bolts, and sheets to be recorded."""

    serializer_class = BoltReadingOut
    queryset = BoltReading.objects.all()
    filterset_class = BoltReadingFilter

    def get_queryset(self) -> QuerySet[BoltReading]:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        return bolt_queries.readings_for(self.request.user)

    @extend_schema(
        request=BoltSheetIn,
        responses={200: BoltSheetOut, 201: BoltSheetOut},
        summary="Work a bolt sheet out, or record it with its findings",
    )
    def post(self, request: Request) -> Response:
        require_first(request.user, "bolt_check.record", request.data, BY_JOINT)
        given = BoltSheetIn(data=request.data)
        given.is_valid(raise_exception=True)
        told = dict(given.validated_data)
        joint = one(joints_in_sight(request.user), told.pop("joint"))
        dry_run, bolts = told.pop("dry_run"), [BoltInput(**each) for each in told.pop("bolts")]
        common = {"joint_id": joint.pk, "bolts": bolts, "actor": request.user}
        sums = {name: told[name] for name in ("k", "moment", "pull")}

        def deed() -> tuple[int, dict[str, Any]]:
            answer = bolt_sheet_actions.work_out_sheet(**common, **sums)
            made = bolt_sheet_actions.record_bolt_sheet(**common, **told, now=timezone.now())
            return 201, _body(answer, made.pk, joint)

        if dry_run:
            return Response(_body(bolt_sheet_actions.work_out_sheet(**common, **sums), None, joint))
        return once(request, deed)


def _body(answer: Answer, inspection: int | None, joint: Any) -> dict[str, Any]:
    loaded = answer.loaded
    use = loaded.use if loaded else None
    return {
        "inspection": inspection,
        "result": answer.result,
        "unchecked": answer.unchecked,
        "lost": answer.lost,
        "rise": None if answer.cannot_carry else answer.rise,
        "can_carry": _can_carry(answer),
        "use": None if use is None or math.isinf(use) else use,
        "could_carry": loaded.could_carry if loaded else None,
        "expected_torque_nm": answer.tightening.torque_nm,
        "expected_source": answer.tightening.source,
        "caution": answer.tightening.caution,
        "following": [
            {"kind": each.kind, "bolts": each.bolts, "severity": each.severity, "reason": each.reason,
             "known": each.known}
            for each in answer.following
        ],
        "remarks": answer.remarks,
        "order": tightening_order(pattern_of(joint.bolt_group)),
    }  # fmt: skip


def _can_carry(answer: Answer) -> bool | None:
    if answer.loaded and answer.loaded.use is not None and math.isinf(answer.loaded.use):
        return False
    if not answer.lost:
        return True
    return None if answer.rise is None else not answer.cannot_carry


urlpatterns = [path("bolt-sheets/", BoltSheets.as_view(), name="api-bolt-sheets")]
