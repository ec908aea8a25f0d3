"""Like joints over the API, looks owed there, and looks withdrawn; relative to /api/v1/."""

from __future__ import annotations

from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from assets_app.inspections.models import Method
from assets_app.people import queries as people
from assets_app.register.models import Joint
from schedules.due import actions, alike_actions
from schedules.due.alike import Alike, alike
from schedules.due.models import OwedLook


class LikeJointOut(serializers.Serializer):
    """A joint like the one asked about: what both have in common, what is other, which looks are owed there."""

    joint = serializers.IntegerField()
    joint_tag = serializers.CharField()
    asset = serializers.IntegerField()
    asset_tag = serializers.CharField()
    site = serializers.IntegerField()
    same = serializers.ListField(child=serializers.CharField())
    other = serializers.ListField(child=serializers.CharField())
    methods = serializers.ListField(child=serializers.CharField())


class LikeJointsOut(serializers.Serializer):
    joints = LikeJointOut(many=True)
    more = serializers.BooleanField(help_text="more are alike; once these owe their look, the next are listed")
    owing = serializers.IntegerField(help_text="like joints that owe a look of a sweep already")


class SweepIn(serializers.Serializer):
    """Looks to be owed at like joints by a day."""

    joints = serializers.ListField(child=serializers.IntegerField(), max_length=alike_actions.MOST)
    due_on = serializers.DateField()
    why = serializers.CharField(max_length=240)
    method = serializers.ChoiceField(choices=Method.choices, required=False)
    source = serializers.CharField(required=False, allow_blank=True, max_length=200)


class SweepOut(serializers.Serializer):
    owed = serializers.IntegerField(help_text="looks made; joints that owed one by then already are passed over")


class LikeJoints(APIView):
    @extend_schema(responses=LikeJointsOut, summary="Joints like this one")
    def get(self, request: Request, joint: int) -> Response:
        """The joints like this one at the person's sites, the likest first."""
        sites = people.site_ids_of(request.user)
        rows = Joint.objects.select_related("asset", "weld", "bolt_group")
        bad = get_object_or_404(rows, pk=joint, asset__site_id__in=sites)
        found = alike(bad, sites)
        return Response({"joints": [_told(each) for each in found.joints], "more": found.more, "owing": found.owing})

    @extend_schema(request=SweepIn, responses={201: SweepOut}, summary="Owe a look at like joints")
    def post(self, request: Request, joint: int) -> Response:
        """Owe one look by a day at each of the joints given, since this one was found bad: at all of them, or none."""
        people.require_first(request.user, "sweep.owe", {"joint": joint}, people.BY_JOINT)
        given = SweepIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = dict(given.validated_data)

        def deed() -> tuple[int, dict[str, Any]]:
            chosen = data.pop("joints")
            made = alike_actions.owe_sweep(
                joint_id=joint, joint_ids=chosen, actor=request.user, now=timezone.now(), **data
            )
            return 201, {"owed": len(made)}

        return once(request, deed)


def _told(each: Alike) -> dict[str, Any]:
    return {
        "joint": each.joint.pk,
        "joint_tag": each.joint.tag,
        "asset": each.joint.asset_id,
        "asset_tag": each.joint.asset.tag,
        "site": each.joint.asset.site_id,
        "same": each.same,
        "other": each.other,
        "methods": each.methods,
    }


_BY_OWED_LOOK = people.Named("owed", OwedLook.objects, "joint__asset__site_id")


class WithdrawalIn(serializers.Serializer):
    reason = serializers.CharField(max_length=240)


class WithdrawnOut(serializers.Serializer):
    id = serializers.IntegerField()
    withdrawn_why = serializers.CharField()


class WithdrawOwedLook(APIView):
    @extend_schema(request=WithdrawalIn, responses=WithdrawnOut, summary="Withdraw a look that was asked for once")
    def post(self, request: Request, owed: int) -> Response:
        """Take back a look of a sweep, after a load change or at a fixed day; never one after work."""
        people.require_first(request.user, "owed_look.withdraw", {"owed": owed}, _BY_OWED_LOOK)
        given = WithdrawalIn(data=request.data)
        given.is_valid(raise_exception=True)

        def deed() -> tuple[int, dict[str, Any]]:
            row = actions.withdraw_owed_look(
                owed_id=owed, actor=request.user, now=timezone.now(), **given.validated_data
            )
            return 200, {"id": row.pk, "withdrawn_why": row.withdrawn_why}

        return once(request, deed)


urlpatterns = [
    path("joints/<int:joint>/like/", LikeJoints.as_view(), name="api-like-joints"),
    path("owed-looks/<int:owed>/withdraw/", WithdrawOwedLook.as_view(), name="api-owed-look-withdraw"),
]
