"""The API of duty, relative to /api/v1/: counters, readings, seasons, spectra."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import django_filters
from django.db.models import QuerySet
from django.urls import include, path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import mixins, viewsets
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import DefaultRouter

from assets_app.doors.idempotency import once
from assets_app.doors.paging import KeyPages
from assets_app.people.queries import BY_ASSET, BY_JOINT, BY_SITE, Named, day_at, require, require_first, sites_of
from assets_app.refusals import NotFound, Unprocessable
from engineering.figures import grouped
from schedules.duty import actions, queries, reading_file, rules, setup
from schedules.duty import serializers as shapes
from schedules.duty.models import Counter, Reading, Season, StressSpectrum
from schedules.duty.open_days import Span
from schedules.duty.serializers import checked

FORECAST_DAYS, MOST_FORECAST_DAYS = 365, 15_000
FORECAST_POINTS = 60
BY_COUNTER = Named("counter", Counter.objects, "asset__site_id")


class Listed(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet):
    """Reads limited to the person's sites; ``in_sight`` names the query."""

    in_sight: Any

    def get_queryset(self) -> QuerySet:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset.none()
        return type(self).in_sight(self.request.user)


class CounterViews(Listed):
    """Counters of assets. The primary one drives the asset's due dates."""

    queryset = Counter.objects.none()
    in_sight = staticmethod(queries.counters_in_sight)
    serializer_class = shapes.CounterSerializer
    filterset_fields = ["asset", "asset__site", "is_primary", "unit"]

    @extend_schema(request=shapes.CounterInput, responses={201: shapes.CounterSerializer})
    def create(self, request: Request) -> Response:
        require_first(request.user, "counter.change", request.data, BY_ASSET)
        given = checked(shapes.CounterInput, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            asset_id = given.pop("asset")
            counter = setup.add_counter(asset_id=asset_id, actor=request.user, now=timezone.now(), **given)
            return 201, dict(shapes.CounterSerializer(counter).data)

        return once(request, deed)

    @extend_schema(request=shapes.CounterChange, responses=shapes.CounterSerializer)
    def update(self, request: Request, pk: str) -> Response:
        counter = self.get_object()
        require(request.user, "counter.change", counter.asset.site_id)
        given = checked(shapes.CounterChange, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            changed = setup.change_counter(counter_id=counter.pk, actor=request.user, now=timezone.now(), **given)
            return 200, dict(shapes.CounterSerializer(changed).data)

        return once(request, deed)

    @extend_schema(request=shapes.ExchangeInput, responses={201: shapes.ReadingSerializer})
    @action(detail=True, methods=["post"])
    def exchange(self, request: Request, pk: str) -> Response:
        """Say that the meter was exchanged; the total runs on."""
        counter = self.get_object()
        require(request.user, "reading.post", counter.asset.site_id)
        given = checked(shapes.ExchangeInput, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            reading = actions.exchange_meter(
                counter_id=counter.pk, actor=request.user, now=timezone.now(), source=Reading.Source.API, **given
            )
            return 201, dict(shapes.ReadingSerializer(reading).data)

        return once(request, deed)

    @extend_schema(
        parameters=[OpenApiParameter("days", OpenApiTypes.INT, description="days after the last reading, 1 to 15,000")],
        responses=shapes.ForecastSerializer,
    )
    @action(detail=True, methods=["get"])
    def forecast(self, request: Request, pk: str) -> Response:
        """How the counter is expected to run on: its basis, how it did so far, and totals to come."""
        counter = self.get_object()
        return Response(_forecast(counter, _days(request), day_at(counter.asset.site, timezone.now())))


def _days(request: Request) -> int:
    text = request.query_params.get("days", str(FORECAST_DAYS))
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= MOST_FORECAST_DAYS:
        raise Unprocessable("days_out_of_range", f"Give 1 to {grouped(MOST_FORECAST_DAYS)} days.", field="days")
    return int(text)


def _forecast(counter: Counter, days: int, today: date) -> dict[str, Any]:
    forecast = getattr(counter, "forecast", None)
    curves = queries.forecast_curves([counter.pk], today, days)[counter.pk]
    as_of = date.fromordinal(curves.as_of)
    totals = []
    if curves.middle is not None and curves.early is not None:
        steps = sorted({*range(0, days + 1, max(1, days // FORECAST_POINTS)), days})
        totals = [
            {
                "on": as_of + timedelta(k),
                "middle": round(curves.total + curves.middle[k], 3),
                "early": round(curves.total + curves.early[k], 3),
            }
            for k in steps
        ]
    body = {
        "counter": counter.pk,
        "as_of": as_of,
        "total": curves.total,
        "version": curves.version,
        "can_forecast": curves.middle is not None,
        "silent": curves.silent,
        "basis": queries.basis_of(forecast, today) if forecast else rules.fit([], [])[1],
        "parameters": forecast.parameters if forecast else {},
        "back_test": forecast.back_test if forecast else {},
        "totals": totals,
    }
    return dict(shapes.ForecastSerializer(body).data)


def _counters_of(sent: object) -> list[Any]:
    """What stands where the readings of a bulk name their counters, whatever was sent."""
    rows = sent.get("readings") if isinstance(sent, dict) else None
    return [row.get("counter") for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


class ReadingPages(KeyPages):
    ordering = ("-read_at", "-id")


class ReadingFilter(django_filters.FilterSet):
    read_from = django_filters.DateFilter("read_on", "gte")
    read_to = django_filters.DateFilter("read_on", "lte")

    class Meta:
        model = Reading
        fields = ["counter", "counter__asset", "kind", "source"]


class ReadingViews(Listed):
    """Readings, newest first."""

    queryset = Reading.objects.none()
    in_sight = staticmethod(queries.readings_in_sight)
    serializer_class = shapes.ReadingSerializer
    filterset_class = ReadingFilter
    pagination_class = ReadingPages

    @extend_schema(request=shapes.ReadingInput, responses={201: shapes.ReadingSerializer})
    def create(self, request: Request) -> Response:
        """Post what a counter shows. The same figure for the same moment again changes nothing."""
        require_first(request.user, "reading.post", request.data, BY_COUNTER)
        given = checked(shapes.ReadingInput, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            counter_id = given.pop("counter")
            reading = actions.post_reading(
                counter_id=counter_id, actor=request.user, now=timezone.now(), source=Reading.Source.API, **given
            )
            return 201, dict(shapes.ReadingSerializer(reading).data)

        return once(request, deed)

    @extend_schema(request=shapes.ReadingsInput, responses=shapes.ReportSerializer, filters=False)
    @action(detail=False, methods=["post"], pagination_class=None)
    def bulk(self, request: Request) -> Response:
        """Post up to 1,000 readings, all or none; rows count from 1."""
        require_first(request.user, "reading.post", {"counter": _counters_of(request.data)}, BY_COUNTER)
        given = checked(shapes.ReadingsInput, request.data)
        entries = [
            actions.Entry(row, each["counter"], each["value"], each["read_at"], each["note"], each["confirmed"])
            for row, each in enumerate(given["readings"], start=1)
        ]

        def deed() -> tuple[int, dict[str, Any]]:
            report = actions.post_readings(
                entries=entries,
                actor=request.user,
                now=timezone.now(),
                source=Reading.Source.API,
                dry_run=given["dry_run"],
            )
            return 200, report._asdict()

        return once(request, deed)

    @extend_schema(request={"multipart/form-data": shapes.FileInput}, responses=shapes.ReportSerializer, filters=False)
    @action(detail=False, methods=["post"], pagination_class=None, parser_classes=[MultiPartParser])
    def file(self, request: Request) -> Response:
        """Post the readings of a CSV file, all or none; the heading is row 1."""
        require_first(request.user, "reading.post", request.data, BY_SITE)
        given = checked(shapes.FileInput, request.data)
        site = sites_of(request.user).filter(pk=given["site"]).first()
        if site is None:
            raise NotFound("not_found", "There is no site here that you can see.", field="site")

        def deed() -> tuple[int, dict[str, Any]]:
            report = reading_file.post_readings_file(
                site=site, file=given["file"], actor=request.user, now=timezone.now(), dry_run=given["dry_run"]
            )
            return 200, report._asdict()

        return once(request, deed)

    @extend_schema(request=shapes.WithdrawInput, responses={200: shapes.ReadingSerializer})
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """Take a wrong reading out, with the reason; answers with what it was. The record keeps it."""

        def deed() -> tuple[int, dict[str, Any]]:
            reading = self.get_object()  # only here: asked again with its key, the reading is gone already
            require(request.user, "counter.change", reading.counter.asset.site_id)
            given = checked(shapes.WithdrawInput, request.data)
            was = dict(shapes.ReadingSerializer(reading).data)
            actions.withdraw_reading(
                reading_id=reading.pk, reason=given["reason"], actor=request.user, now=timezone.now()
            )
            return 200, was

        return once(request, deed)


class SeasonViews(Listed):
    """When assets operate. An asset's own seasons replace its site's; none at all means every day."""

    queryset = Season.objects.none()
    in_sight = staticmethod(queries.seasons_in_sight)
    serializer_class = shapes.SeasonSerializer
    filterset_fields = ["site", "asset"]

    @extend_schema(request=shapes.SeasonInput, responses={201: shapes.SeasonSerializer})
    def create(self, request: Request) -> Response:
        require_first(request.user, "season.change", request.data, BY_SITE, BY_ASSET)
        given = checked(shapes.SeasonInput, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            season = setup.add_season(
                site_id=given.pop("site"),
                asset_id=given.pop("asset"),
                name=given.pop("name"),
                span=Span(**given),
                actor=request.user,
                now=timezone.now(),
            )
            return 201, dict(shapes.SeasonSerializer(season).data)

        return once(request, deed)

    @extend_schema(request=shapes.SeasonChange, responses=shapes.SeasonSerializer)
    def update(self, request: Request, pk: str) -> Response:
        season = self.get_object()
        require(request.user, "season.change", season.site_id or season.asset.site_id)
        given = checked(shapes.SeasonChange, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            changed = setup.change_season(
                season_id=season.pk,
                name=given.pop("name"),
                span=Span(**given),
                actor=request.user,
                now=timezone.now(),
            )
            return 200, dict(shapes.SeasonSerializer(changed).data)

        return once(request, deed)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, pk: str) -> Response:
        setup.remove_season(season_id=self.get_object().pk, actor=request.user, now=timezone.now())
        return Response(status=204)


class SpectrumViews(Listed):
    """Stress ranges that one count of the primary counter puts into a joint; the newest valid one governs."""

    queryset = StressSpectrum.objects.none()
    in_sight = staticmethod(queries.spectra_in_sight)
    serializer_class = shapes.SpectrumSerializer
    filterset_fields = ["joint", "joint__asset", "status"]

    @extend_schema(request=shapes.SpectrumInput, responses={201: shapes.SpectrumSerializer})
    def create(self, request: Request) -> Response:
        """State a spectrum; engineers only."""
        require_first(request.user, "spectrum.change", request.data, BY_JOINT)
        given = checked(shapes.SpectrumInput, request.data)

        def deed() -> tuple[int, dict[str, Any]]:
            joint_id = given.pop("joint")
            spectrum = setup.add_spectrum(joint_id=joint_id, actor=request.user, now=timezone.now(), **given)
            return 201, dict(shapes.SpectrumSerializer(spectrum).data)

        return once(request, deed)


_router = DefaultRouter()
_router.include_root_view = False
_router.register("counters", CounterViews, basename="api-counter")
_router.register("readings", ReadingViews, basename="api-reading")
_router.register("seasons", SeasonViews, basename="api-season")
_router.register("spectra", SpectrumViews, basename="api-spectrum")

urlpatterns = [path("", include(_router.urls))]
