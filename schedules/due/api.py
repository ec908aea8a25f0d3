"""The API of due dates, programmes and policies, relative to /api/v1/."""

from __future__ import annotations

from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from assets_app.doors.idempotency import once
from assets_app.inspections.models import Inspection, Method
from assets_app.people import queries as people
from assets_app.refusals import NotFound
from engineering.errors import InputError
from engineering.tables import load
from schedules.due import actions, alike_api, growth_api, queries, recompute_api
from schedules.due.list_api import DueDateList
from schedules.due.models import Limit, Policy, Programme
from schedules.due.ratings import office_tables
from schedules.due.sum_steps import steps
from schedules.due.working import work_out


class LimitLineOut(serializers.Serializer):
    limit = serializers.ChoiceField(choices=Limit.choices)
    on = serializers.DateField(allow_null=True)
    sentence = serializers.CharField()
    missing = serializers.ListField(child=serializers.CharField())


class FigureOut(serializers.Serializer):
    name = serializers.CharField()
    symbol = serializers.CharField()
    value = serializers.FloatField()
    unit = serializers.CharField()
    source = serializers.CharField()
    status = serializers.CharField()
    caution = serializers.CharField()


class ExplanationOut(serializers.Serializer):
    """Why a look falls due when it does, worked out afresh."""

    programme = serializers.IntegerField(source="programme_id")
    method = serializers.CharField()
    due_on = serializers.DateField(allow_null=True)
    middle_on = serializers.DateField(allow_null=True)
    governing = serializers.CharField()
    sentence = serializers.CharField()
    next_limit = serializers.CharField()
    next_on = serializers.DateField(allow_null=True)
    lines = LimitLineOut(many=True)
    moves = serializers.ListField(child=serializers.CharField())
    figures = FigureOut(many=True)
    assumptions = serializers.ListField(child=serializers.CharField())
    missing = serializers.ListField(child=serializers.CharField())
    unrated = serializers.BooleanField()
    unprotected_here = serializers.BooleanField()


class DueDateExplained(APIView):
    @extend_schema(responses=ExplanationOut)
    def get(self, request: Request, programme: int) -> Response:
        """The due date of one programme, explained."""
        _seen(request, programme)
        return Response(ExplanationOut(queries.explain(programme, now=timezone.now())).data)


class StepOut(serializers.Serializer):
    title = serializers.CharField()
    formula = serializers.CharField()
    figures = serializers.CharField()
    result = serializers.CharField()
    source = serializers.CharField()
    status = serializers.CharField()
    caution = serializers.CharField()


class SumOut(ExplanationOut):
    """A due date with its working, step by step."""

    steps = StepOut(many=True)


class TrialIn(serializers.Serializer):
    """Inputs on trial: any of the figures that the rating uses; units mm, MPa, counts. Nothing is saved."""

    bins = serializers.ListField(child=serializers.ListField(child=serializers.FloatField(min_value=0)), required=False)
    peak_mpa = serializers.FloatField(required=False, min_value=0, allow_null=True)
    wall_mm = serializers.FloatField(required=False, min_value=0, allow_null=True)
    attachment_mm = serializers.FloatField(required=False, min_value=0, allow_null=True)
    category_mpa = serializers.FloatField(required=False, min_value=0, allow_null=True)
    steel_grade = serializers.CharField(required=False, allow_blank=True)
    access = serializers.ChoiceField(choices=["easy", "moderate", "difficult"], required=False)
    conditions = serializers.ChoiceField(choices=Inspection.Conditions.choices, required=False)
    detection_chance = serializers.FloatField(required=False, min_value=0.5, max_value=0.99)
    lowest_service_c = serializers.FloatField(required=False, min_value=-60, max_value=60)
    calendar_months = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=600)
    duty_count = serializers.FloatField(required=False, allow_null=True, min_value=1)


class TheSum(APIView):
    @extend_schema(responses=SumOut)
    def get(self, request: Request, programme: int) -> Response:
        """The working of a due date."""
        return self._answer(request, programme, {})

    @extend_schema(request=TrialIn, responses=SumOut)
    def post(self, request: Request, programme: int) -> Response:
        """The working with some inputs changed on trial; nothing is saved."""
        given = TrialIn(data=request.data)
        given.is_valid(raise_exception=True)
        return self._answer(request, programme, given.validated_data)

    def _answer(self, request: Request, programme: int, changes: dict[str, Any]) -> Response:
        _seen(request, programme)
        worked = work_out(programme, now=timezone.now(), changes=changes)
        body = ExplanationOut(queries.explain_worked(worked)).data
        return Response({**body, "steps": StepOut(steps(worked), many=True).data})


def _seen(request: Request, programme: int) -> None:
    """Refused as not found where the person has no role at the programme's site."""
    row = Programme.objects.select_related("asset").filter(pk=programme).first()
    if row is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    people.require(request.user, "read", row.asset.site_id)


class ProgrammeOut(serializers.ModelSerializer):
    class Meta:
        model = Programme
        fields = (
            "id joint asset method calendar_months duty_count source conditions last_look_on last_look_total "
            "last_look_conditions active"
        ).split()


class ProgrammeIn(serializers.Serializer):
    """What is owed on a joint by a method; a field that is left out stays as it is."""

    joint = serializers.IntegerField()
    method = serializers.ChoiceField(choices=Method.choices)
    calendar_months = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=600)
    duty_count = serializers.FloatField(required=False, allow_null=True, min_value=1)
    source = serializers.CharField(required=False, allow_blank=True, max_length=200)
    conditions = serializers.ChoiceField(required=False, choices=Inspection.Conditions.choices)
    active = serializers.BooleanField(required=False)


class ProgrammeList(generics.ListAPIView):
    """What is owed on joints, and by which method."""

    serializer_class = ProgrammeOut
    filterset_fields = ("joint", "asset", "method", "active")
    queryset = Programme.objects.all()

    def get_queryset(self) -> Any:
        return Programme.objects.filter(asset__site__in=people.sites_of(self.request.user))

    @extend_schema(request=ProgrammeIn, responses={200: ProgrammeOut})
    def post(self, request: Request) -> Response:
        """Set what is owed on a joint by a method."""
        people.require_first(request.user, "programme.change", request.data, people.BY_JOINT)
        given = ProgrammeIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = dict(given.validated_data)

        def deed() -> tuple[int, dict[str, Any]]:
            row = actions.set_programme(joint_id=data.pop("joint"), actor=request.user, now=timezone.now(), **data)
            return 200, dict(ProgrammeOut(row).data)

        return once(request, deed)


class FixedDayIn(serializers.Serializer):
    """A day by which a joint must be looked at: fixed by the maker, an authority or an insurer (``limit`` fixed, unless
    said otherwise), or since the load on it has changed."""

    joint = serializers.IntegerField()
    due_on = serializers.DateField()
    why = serializers.CharField(max_length=240)
    method = serializers.ChoiceField(choices=Method.choices, required=False)
    source = serializers.CharField(required=False, allow_blank=True, max_length=200)
    limit = serializers.ChoiceField(choices=list(actions.FIXED_BY_PEOPLE), required=False)


class FixedDayOut(serializers.Serializer):
    id = serializers.IntegerField()


class FixedDays(APIView):
    @extend_schema(request=FixedDayIn, responses={201: FixedDayOut})
    def post(self, request: Request) -> Response:
        """Fix a day."""
        people.require_first(request.user, "programme.change", request.data, people.BY_JOINT)
        given = FixedDayIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = dict(given.validated_data)

        def deed() -> tuple[int, dict[str, Any]]:
            row = actions.fix_day(joint_id=data.pop("joint"), actor=request.user, now=timezone.now(), **data)
            return 201, {"id": row.pk}

        return once(request, deed)


class PolicyOut(serializers.ModelSerializer):
    class Meta:
        model = Policy
        fields = ["id", "site", *actions.POLICY_FIELDS, "reason", "set_by", "set_at"]


class PolicyIn(serializers.ModelSerializer):
    site = serializers.IntegerField()  # a site of others is not told from one that does not exist

    class Meta:
        model = Policy
        fields = ["site", *actions.POLICY_FIELDS, "reason"]
        extra_kwargs = {name: {"required": False} for name in actions.POLICY_FIELDS} | {"reason": {"required": True}}


class PolicyList(generics.ListAPIView):
    """A site's policies, the newest first: the first one governs, the others are its history."""

    serializer_class = PolicyOut
    filterset_fields = ("site",)
    queryset = Policy.objects.all()

    def get_queryset(self) -> Any:
        return Policy.objects.filter(site__in=people.sites_of(self.request.user))

    @extend_schema(request=PolicyIn, responses={201: PolicyOut})
    def post(self, request: Request) -> Response:
        """Set a site's policy; what is left out stays as it is."""
        people.require_first(request.user, "policy.change", request.data, people.BY_SITE)
        given = PolicyIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = {name: value for name, value in given.validated_data.items() if name in request.data}

        def deed() -> tuple[int, dict[str, Any]]:
            row = actions.set_policy(site_id=data.pop("site"), actor=request.user, now=timezone.now(), **data)
            return 201, dict(PolicyOut(row).data)

        return once(request, deed)


class TableOut(serializers.Serializer):
    """A table of values; ``own`` says whether it is the office's own."""

    name = serializers.CharField()
    title = serializers.CharField()
    source = serializers.CharField()
    edition = serializers.CharField()
    status = serializers.CharField()
    caution = serializers.CharField()
    rows = serializers.ListField(child=serializers.DictField())
    own = serializers.BooleanField()


class TableIn(serializers.Serializer):
    """The office's own table in place of a shipped one; without ``data`` the shipped one comes back."""

    site = serializers.IntegerField()
    reason = serializers.CharField()
    data = serializers.DictField(required=False)


class Tables(APIView):
    @extend_schema(
        parameters=[OpenApiParameter("site", int, required=True, description="whose tables govern")], responses=TableOut
    )
    def get(self, request: Request, name: str) -> Response:
        """One table as it governs at a site."""
        site_id = serializers.IntegerField().run_validation(request.query_params.get("site"))
        people.require(request.user, "read", site_id)
        own = office_tables().get(site_id, {}).get(name)
        try:
            table = own or load(name)
        except InputError as error:
            raise NotFound("not_found", error.reason) from error
        rows = [{**row.cells, "id": row.id, "source": row.source, "status": row.status} for row in table.rows.values()]
        body = {field: getattr(table, field) for field in ("name", "title", "source", "edition", "status", "caution")}
        return Response({**body, "rows": rows, "own": own is not None})

    @extend_schema(request=TableIn, responses={200: FixedDayOut})
    def post(self, request: Request, name: str) -> Response:
        """Replace the table at a site, or bring the shipped one back."""
        people.require_first(request.user, "table.replace", request.data, people.BY_SITE)
        given = TableIn(data=request.data)
        given.is_valid(raise_exception=True)
        data = given.validated_data

        def deed() -> tuple[int, dict[str, Any]]:
            common = {"site_id": data["site"], "table": name, "reason": data["reason"]}
            common |= {"actor": request.user, "now": timezone.now()}
            if "data" in data:
                return 200, {"id": actions.replace_table(**common, data=data["data"]).pk}
            return 200, {"id": actions.restore_table(**common).pk}

        return once(request, deed)


urlpatterns = [
    *growth_api.urlpatterns,
    *alike_api.urlpatterns,
    *recompute_api.urlpatterns,
    path("tables/<str:name>/", Tables.as_view(), name="api-table"),
    path("due-dates/", DueDateList.as_view(), name="api-due-dates"),
    path("due-dates/<int:programme>/", DueDateExplained.as_view(), name="api-due-date"),
    path("due-dates/<int:programme>/sum/", TheSum.as_view(), name="api-sum"),
    path("programmes/", ProgrammeList.as_view(), name="api-programmes"),
    path("fixed-days/", FixedDays.as_view(), name="api-fixed-days"),
    path("policies/", PolicyList.as_view(), name="api-policies"),
]
