"""The API of orders, relative to /api/v1/; that of holds is in ``hold_api``."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import django_filters
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.parsers import FormParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from assets_app.doors.parsers import StrictJSONParser
from assets_app.inspections.bolt_api import BoltIn
from assets_app.inspections.bolt_rules import MOST_BOLTS, BoltInput
from assets_app.inspections.inputs import FindingInput, PhotoInput
from assets_app.inspections.models import Inspection, Method
from assets_app.people.queries import BY_JOINT, BY_SITE, require_first
from schedules.work import actions, hold_api, orders, queries, rules
from schedules.work.finishing import LookInput
from schedules.work.models import Part, Step, Wait, WorkOrder
from schedules.work.orders import BY_FINDING, BY_PROGRAMME
from schedules.work.welding import WeldInput


class OrderStepOut(serializers.ModelSerializer):
    class Meta:
        model = Step
        fields = "sequence text kind unit required value evidence done_by done_at".split()


class OrderPartOut(serializers.ModelSerializer):
    class Meta:
        model = Part
        fields = "id name quantity lead_time_days ordered_on arrived_on cost".split()


class OrderWaitOut(serializers.ModelSerializer):
    class Meta:
        model = Wait
        fields = "id reason note since expected_until ended_on begun_by".split()


class OrderOut(serializers.ModelSerializer):
    """An order in a list."""

    class Meta:
        model = WorkOrder
        fields = (
            "id site asset joint number kind method origin finding title due_on why state assignee planned_on "
            "cost_estimate minutes_spent raised_by raised_at done_by done_at done_note inspection verified_by "
            "verified_at closed_at version"
        ).split()


class OrderWhole(OrderOut):
    """An order with its steps, parts and waits."""

    steps = OrderStepOut(many=True)
    parts = OrderPartOut(many=True)
    waits = OrderWaitOut(many=True)

    class Meta(OrderOut.Meta):
        fields = [*OrderOut.Meta.fields, "steps", "parts", "waits"]


class OrderFilter(django_filters.FilterSet):
    due_before = django_filters.DateFilter(field_name="due_on", lookup_expr="lte")
    state = django_filters.MultipleChoiceFilter(choices=WorkOrder.State.choices)
    mine = django_filters.BooleanFilter(method="only_mine", label="assigned to me")

    class Meta:
        model = WorkOrder
        fields = ["site", "asset", "joint", "kind", "method", "assignee", "finding"]

    def only_mine(self, rows: Any, name: str, value: bool) -> Any:
        return rows.filter(assignee=self.request.user) if value else rows


class RaiseIn(serializers.Serializer):
    """From a due date (``programme``), a finding (``finding``, ``kind``), or by hand (``joint``, ``kind``, ``why``)."""

    programme = serializers.IntegerField(required=False)
    finding = serializers.IntegerField(required=False)
    joint = serializers.IntegerField(required=False)
    kind = serializers.ChoiceField(choices=WorkOrder.Kind.choices, required=False)
    method = serializers.ChoiceField(choices=Method.choices, required=False)
    why = serializers.CharField(required=False)
    due_on = serializers.DateField(required=False)
    cost_estimate = serializers.DecimalField(max_digits=12, decimal_places=2, required=False, min_value=0)

    def validate(self, data: dict[str, Any]) -> dict[str, Any]:
        if sum(name in data for name in ("programme", "finding", "joint")) != 1:
            raise serializers.ValidationError("Give one of programme, finding or joint.")
        if "programme" not in data and "kind" not in data:
            raise serializers.ValidationError({"kind": "Say what kind of work it is."})
        if "joint" in data and "why" not in data:
            raise serializers.ValidationError({"why": "Say why this work is needed."})
        return data


class Orders(generics.ListAPIView):
    """Orders, newest first."""

    serializer_class = OrderOut
    filterset_class = OrderFilter
    queryset = WorkOrder.objects.all()

    def get_queryset(self) -> Any:
        return queries.orders_in_sight(self.request.user)

    @extend_schema(request=RaiseIn, responses={201: OrderOut})
    def post(self, request: Request) -> Response:
        """Raise an order."""
        require_first(request.user, "order.raise", request.data, BY_PROGRAMME, BY_FINDING, BY_JOINT)
        given = RaiseIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = dict(given.validated_data)
        who = {"actor": request.user, "now": timezone.now(), "cost_estimate": data.get("cost_estimate")}

        def deed() -> tuple[int, dict[str, Any]]:
            if "programme" in data:
                order = actions.raise_order_for_due_date(programme_id=data["programme"], **who)
            elif "finding" in data:
                order = actions.raise_order_for_finding(finding_id=data["finding"], kind=data["kind"], **who)
            else:
                said = {name: data[name] for name in ("kind", "method", "why", "due_on") if name in data}
                order = actions.raise_order_by_hand(joint_id=data["joint"], **said, **who)
            return 201, dict(OrderOut(order).data)

        return once(request, deed)


class RaiseDueIn(serializers.Serializer):
    site = serializers.IntegerField()
    within_days = serializers.IntegerField(min_value=0, max_value=366)


class RaisedOut(serializers.Serializer):
    raised = serializers.ListField(child=serializers.IntegerField(), help_text="ids of the new orders")


class RaiseDue(APIView):
    @extend_schema(request=RaiseDueIn, responses=RaisedOut)
    def post(self, request: Request) -> Response:
        """Raise an order for every look that falls due at a site and has none open."""
        require_first(request.user, "order.raise", request.data, BY_SITE)
        given = RaiseDueIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = given.validated_data

        def deed() -> tuple[int, dict[str, Any]]:
            raised = actions.raise_due_orders(
                site_id=data["site"], within_days=data["within_days"], actor=request.user, now=timezone.now()
            )
            return 200, {"raised": [order.pk for order in raised]}

        return once(request, deed)


class OneOrder(APIView):
    @extend_schema(responses=OrderWhole)
    def get(self, request: Request, order: int) -> Response:
        """An order with its steps, parts and waits."""
        return Response(OrderWhole(queries.order_in_sight(request.user, order)).data)


class VersionIn(serializers.Serializer):
    """``version`` is the order's as it was seen; a stale one is refused with what changed since."""

    version = serializers.IntegerField(min_value=1)


class AssignIn(VersionIn):
    assignee_id = serializers.IntegerField(allow_null=True)


class PlanIn(VersionIn):
    planned_on = serializers.DateField(allow_null=True)
    cost_estimate = serializers.DecimalField(max_digits=12, decimal_places=2, required=False, min_value=0)


class PartIn(VersionIn):
    name = serializers.CharField(max_length=120)
    quantity = serializers.IntegerField(min_value=1, max_value=100_000, required=False)
    lead_time_days = serializers.IntegerField(min_value=0, max_value=10_000, required=False)
    cost = serializers.DecimalField(max_digits=12, decimal_places=2, required=False, min_value=0)


class WhichPartIn(VersionIn):
    part_id = serializers.IntegerField()


class WaitIn(VersionIn):
    reason = serializers.ChoiceField(choices=Wait.Reason.choices)
    note = serializers.CharField(required=False, max_length=200)
    expected_until = serializers.DateField(required=False)


class PartDoneIn(VersionIn):
    note = serializers.CharField()
    minutes_spent = serializers.IntegerField(min_value=0, max_value=100_000, required=False)


class TemporaryWorkIn(VersionIn):
    what = serializers.ChoiceField(choices=[(name, each.words) for name, each in rules.TEMPORARY.items()])
    note = serializers.CharField(required=False, allow_blank=True, max_length=80)


class VerifyIn(VersionIn):
    note = serializers.CharField(required=False)


class CancelIn(VersionIn):
    reason = serializers.CharField()


class Deed(APIView):
    """One deed on an order, named as in the state table: the serializer's fields are the action's arguments."""

    deed: str
    serializer: type[VersionIn]
    action: Callable[..., Any]

    def run(self, request: Request, order: int) -> Response:
        taker = request.data.get("assignee_id") if isinstance(request.data, dict) else None
        orders.require_right(request.user, self.deed, order, assignee_id=taker)
        given = self.serializer(data=request.data)
        given.is_valid(raise_exception=True)
        data = dict(given.validated_data)

        def deed() -> tuple[int, dict[str, Any]]:
            version = data.pop("version")
            type(self).action(order_id=order, expected_version=version, actor=request.user, now=timezone.now(), **data)
            return 200, dict(OrderWhole(queries.order_in_sight(request.user, order)).data)

        return once(request, deed)


def _deed(name: str, deed: str, action: Callable[..., Any], serializer: type[VersionIn], says: str) -> Any:
    """The view of a deed that takes plain fields."""

    @extend_schema(request=serializer, responses=OrderWhole, description=says, operation_id=f"orders_{name}")
    def post(self: Deed, request: Request, order: int) -> Response:
        return self.run(request, order)

    own = {"deed": deed, "serializer": serializer, "action": staticmethod(action), "post": post}
    made = type(f"Order_{name}", (Deed,), own)
    door = name.replace("_", "-")
    return path(f"orders/<int:order>/{door}/", made.as_view(), name=f"api-order-{door}")


class OrderStepIn(VersionIn):
    """Sent as JSON, or as a form where a photo comes along."""

    value = serializers.CharField(required=False, allow_blank=True, max_length=64)
    photo = serializers.FileField(required=False)


class DoStep(APIView):
    parser_classes = [StrictJSONParser, MultiPartParser, FormParser]

    @extend_schema(request=OrderStepIn, responses=OrderWhole)
    def post(self, request: Request, order: int, sequence: int) -> Response:
        """Tick a step, write its value or add its photo."""
        orders.require_right(request.user, "do step", order)
        given = OrderStepIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = given.validated_data

        def deed() -> tuple[int, dict[str, Any]]:
            upload = data.get("photo")
            actions.do_step(
                order_id=order,
                expected_version=data["version"],
                sequence=sequence,
                value=data.get("value", ""),
                photo=PhotoInput(data=upload.read(), name=upload.name) if upload else None,
                actor=request.user,
                now=timezone.now(),
            )
            return 200, dict(OrderWhole(queries.order_in_sight(request.user, order)).data)

        return once(request, deed)


class OrderFindingIn(serializers.Serializer):
    """One finding of the look; sizes as people say them: ``3/8 in``, ``10mm``."""

    kind = serializers.CharField(max_length=24, required=False, allow_blank=True)
    size = serializers.CharField(max_length=64, required=False, allow_blank=True)
    length = serializers.CharField(max_length=64, required=False, allow_blank=True)
    depth = serializers.CharField(max_length=64, required=False, allow_blank=True)
    place = serializers.CharField(max_length=24, required=False, allow_blank=True)
    clock_deg = serializers.FloatField(required=False)
    position = serializers.CharField(max_length=64, required=False, allow_blank=True)
    bolts = serializers.ListField(child=serializers.IntegerField(min_value=1), required=False, max_length=1000)
    note = serializers.CharField(required=False, allow_blank=True, max_length=2000)
    finding_id = serializers.IntegerField(required=False)


class OrderLookIn(serializers.Serializer):
    result = serializers.ChoiceField(choices=Inspection.Result.choices)
    conditions = serializers.ChoiceField(choices=Inspection.Conditions.choices, required=False)
    inspected_at = serializers.DateTimeField(required=False)
    counter_total = serializers.FloatField(required=False, min_value=0)
    note = serializers.CharField(required=False, allow_blank=True)
    findings = OrderFindingIn(many=True, required=False)
    bolts = BoltIn(many=True, required=False, max_length=MOST_BOLTS, help_text="the sheet of a bolt check")


class WeldIn(serializers.Serializer):
    """Who welded the repair and how. Left out: who finishes it, by the register's process, position not known."""

    welder_id = serializers.IntegerField(required=False)
    process = serializers.CharField(
        required=False, allow_blank=True, max_length=8, help_text="number in ISO 4063; empty: as the register has it"
    )
    position = serializers.CharField(
        required=False, allow_blank=True, max_length=8, help_text="ISO 6947, such as PF; empty: not known, not checked"
    )


class FinishIn(VersionIn):
    """``look`` where the order asks for one. Photos are added to the look afterwards, or by the order's photo steps."""

    look = OrderLookIn(required=False)
    note = serializers.CharField(required=False, allow_blank=True)
    minutes_spent = serializers.IntegerField(min_value=0, max_value=100_000, required=False)
    also_repaired = serializers.ListField(child=serializers.IntegerField(), required=False, max_length=50)
    weld = WeldIn(required=False)


class Finish(APIView):
    @extend_schema(request=FinishIn, responses=OrderWhole)
    def post(self, request: Request, order: int) -> Response:
        """The work is done: writes its look or repair back, and the next date follows."""
        orders.require_right(request.user, "finish", order)
        given = FinishIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = dict(given.validated_data)

        def deed() -> tuple[int, dict[str, Any]]:
            look = data.pop("look", None)
            if look is not None:
                look["findings"] = [FindingInput(**each) for each in look.get("findings", [])]
                look["bolts"] = [BoltInput(**each) for each in look.get("bolts", [])]
                look = LookInput(**look)
            version = data.pop("version")
            weld = WeldInput(**data.pop("weld", {}))
            who = {"actor": request.user, "now": timezone.now(), "weld": weld}
            actions.finish(order_id=order, expected_version=version, look=look, **data, **who)
            return 200, dict(OrderWhole(queries.order_in_sight(request.user, order)).data)

        return once(request, deed)


urlpatterns = [
    path("orders/", Orders.as_view(), name="api-orders"),
    path("orders/raise-due/", RaiseDue.as_view(), name="api-orders-raise-due"),
    path("orders/<int:order>/", OneOrder.as_view(), name="api-order"),
    path("orders/<int:order>/steps/<int:sequence>/", DoStep.as_view(), name="api-order-step"),
    path("orders/<int:order>/finish/", Finish.as_view(), name="api-order-finish"),
    _deed("assign", "assign", actions.assign, AssignIn, "Give an order to somebody, or take a free one."),
    _deed("plan", "plan", actions.plan, PlanIn, "Set the day on which it is to be done, and its cost."),
    _deed("add_part", "add part", actions.add_part, PartIn, "Note a part that the order needs."),
    _deed("order_part", "order part", actions.order_part, WhichPartIn, "The part was ordered."),
    _deed("part_arrived", "note arrival of part", actions.part_arrived, WhichPartIn, "The part is here."),
    _deed(
        "temporary_work",
        "add step",
        actions.add_temporary_work,
        TemporaryWorkIn,
        "Add a permit, lifting, strongbacks or shoring as two steps: put on, and taken off again.",
    ),
    _deed("wait", "begin waiting", actions.begin_wait, WaitIn, "The order stands still."),
    _deed("end_wait", "end waiting", actions.end_wait, VersionIn, "What it waited for has come."),
    _deed("part_done", "note part done", actions.note_part_done, PartDoneIn, "Part of the work is done."),
    _deed("verify", "verify", actions.verify, VerifyIn, "Another person has seen that it is right: closed."),
    _deed("cancel", "cancel", actions.cancel, CancelIn, "Call the work off."),
    *hold_api.urlpatterns,
]
