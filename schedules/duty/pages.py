"""The pages of duty: a counter, and readings from a file."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from assets_app.doors.beside import beside
from assets_app.doors.context import sites_where
from assets_app.people import rules as people_rules
from assets_app.people.queries import BY_SITE, day_at, require, require_first, roles_at, sites_of
from assets_app.refusals import NotFound, Refused
from schedules.duty import actions, drawing, queries, reading_file
from schedules.duty.forms import ExchangeForm, FileForm, ReadingForm, WithdrawForm
from schedules.duty.models import Counter, Reading
from schedules.duty.setup_pages import asset_duty, spectrum

DRAWN_BACK_DAYS, DRAWN_AHEAD_DAYS = 730, 365
LAST_READINGS = 12


class Row(NamedTuple):
    """A line of the list of last readings."""

    reading: Reading
    shown: str
    total: str


@login_required
@require_http_methods(["GET", "POST"])
def counter(request: HttpRequest, pk: int) -> HttpResponse:
    """A counter: its line, how the forecast did, and the form for what it shows now."""
    found = queries.counter_in_sight(request.user, pk)
    if request.method == "GET":
        return _counter_page(request, found)
    require(request.user, "reading.post", found.asset.site_id)
    form = ReadingForm(request.POST, zone=_zone(found))
    if form.is_valid():
        try:
            reading = actions.post_reading(
                counter_id=found.pk,
                actor=request.user,
                now=timezone.now(),
                source=Reading.Source.PAGE,
                **form.cleaned_data,
            )
        except Refused as refused:
            beside(form, refused)
            if refused.code == "reading_jumps" or (found.rolls_over_at and refused.code == "reading_runs_backwards"):
                form.ask_to_confirm()
            return _counter_page(request, found, reading_form=form, status=refused.status)
        messages.success(request, f"{drawing.figure(reading.value)} stored. {form.told}".strip())
        return redirect("counter", pk=found.pk)
    return _counter_page(request, found, reading_form=form, status=422)


@login_required
@require_POST
def exchange(request: HttpRequest, pk: int) -> HttpResponse:
    """The meter was exchanged."""
    found = queries.counter_in_sight(request.user, pk)
    require(request.user, "reading.post", found.asset.site_id)
    form = ExchangeForm(request.POST, zone=_zone(found), prefix="exchange")
    if form.is_valid():
        given = form.cleaned_data
        at = given.pop("read_at")
        try:
            actions.exchange_meter(
                counter_id=found.pk, at=at, actor=request.user, now=timezone.now(), source=Reading.Source.PAGE, **given
            )
        except Refused as refused:
            beside(form, refused, field="read_at" if refused.field == "at" else None)
            return _counter_page(request, found, exchange_form=form, status=refused.status)
        messages.success(request, f"Meter exchanged; the total runs on. {form.told}".strip())
        return redirect("counter", pk=found.pk)
    return _counter_page(request, found, exchange_form=form, status=422)


@login_required
@require_http_methods(["GET", "POST"])
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """A wrong reading is taken out, with the reason."""
    reading = queries.readings_in_sight(request.user).select_related("counter__asset__site").filter(pk=pk).first()
    if reading is None:
        raise NotFound("not_found", "There is no reading here that you can see.")
    require(request.user, "counter.change", reading.counter.asset.site_id)
    form = WithdrawForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                actions.withdraw_reading(
                    reading_id=reading.pk, reason=form.cleaned_data["reason"], actor=request.user, now=timezone.now()
                )
            except Refused as refused:
                beside(form, refused)
                status = refused.status
            else:
                messages.success(request, "Reading withdrawn. The record keeps it.")
                return redirect("counter", pk=reading.counter_id)
    return render(request, "duty/withdraw.html", {"reading": reading, "form": form}, status=status)


@login_required
@require_http_methods(["GET", "POST"])
def readings_import(request: HttpRequest) -> HttpResponse:
    """Readings from a CSV file, all or none."""
    sites = sites_of(request.user).filter(pk__in=sites_where(request, "reading.post"))
    form = FileForm(request.POST or None, request.FILES or None, sites=sites, initial={"site": sites.first()})
    who_could = people_rules.who_could("reading.post")
    context: dict[str, Any] = {"form": form if sites else None, "columns": reading_file.COLUMNS, "who_could": who_could}
    if request.method == "POST":
        require_first(request.user, "reading.post", request.POST, BY_SITE)
    else:
        return render(request, "duty/readings_import.html", context)
    if not form.is_valid():
        return render(request, "duty/readings_import.html", context, status=422)
    try:
        report = reading_file.post_readings_file(
            site=form.cleaned_data["site"],
            file=form.cleaned_data["file"],
            actor=request.user,
            now=timezone.now(),
            dry_run=form.cleaned_data["dry_run"],
        )
    except Refused as refused:
        beside(form, refused)
        context["errors"] = refused.data.get("rows", [])
        return render(request, "duty/readings_import.html", context, status=refused.status)
    context |= {"report": report, "errors": report.errors}
    return render(request, "duty/readings_import.html", context, status=422 if report.errors else 200)


def _zone(counter: Counter) -> ZoneInfo:
    return ZoneInfo(counter.asset.site.time_zone)


def _counter_page(
    request: HttpRequest,
    counter: Counter,
    *,
    reading_form: ReadingForm | None = None,
    exchange_form: ExchangeForm | None = None,
    status: int = 200,
) -> HttpResponse:
    now, zone = timezone.now(), _zone(counter)
    today = day_at(counter.asset.site, now)
    roles = roles_at(request.user, counter.asset.site_id)
    forecast = getattr(counter, "forecast", None)
    typed = {"read_at": f"{now.astimezone(zone):%Y-%m-%dT%H:%M}"}
    line = _line(counter, today)
    title = f"{counter.name} of {counter.asset}"
    context = {
        "counter": counter,
        "asset": counter.asset,
        "site": counter.asset.site,
        "today": today,
        "drawing": drawing.draw(line, title),
        "narrow": drawing.draw(line, title, narrow=True),
        "forecast": forecast,
        "basis": queries.basis_of(forecast, today) if forecast else "No reading yet: nothing can be forecast.",
        "can_forecast": line.middle is not None,
        "silent": line.silent and line.middle is not None,
        "back_test": [row for row in (forecast.back_test.get("horizons", []) if forecast else []) if row["forecasts"]],
        "rows": _last_rows(counter),
        "rolls_over_at": drawing.figure(counter.rolls_over_at) if counter.rolls_over_at else "",
        "zone": counter.asset.site.time_zone,
        "seasons": queries.seasons_in_words(counter.asset),
        "may_post": people_rules.may("reading.post", roles),
        "may_withdraw": people_rules.may("counter.change", roles),
        "form": reading_form or ReadingForm(zone=zone, initial=typed),
        "exchange_form": exchange_form or ExchangeForm(zone=zone, initial=typed, prefix="exchange"),
        "exchange_open": exchange_form is not None,
    }
    return render(request, "duty/counter.html", context, status=status)


def _last_rows(counter: Counter) -> list[Row]:
    rows = []
    for reading in counter.readings.select_related("posted_by").order_by("-read_at")[:LAST_READINGS]:
        shown = drawing.figure(reading.value)
        if reading.closing_value is not None:
            shown = f"{drawing.figure(reading.closing_value)}, then new meter {shown}"
        rows.append(Row(reading, shown, drawing.figure(reading.total)))
    return rows


def _line(counter: Counter, today: date) -> drawing.DutyLine:
    """Two years back, a year ahead."""
    since = today - timedelta(DRAWN_BACK_DAYS)
    recent = counter.readings.filter(read_on__gte=since).order_by("read_at").values_list("read_on", "total")
    readings = list(recent) or list(counter.readings.order_by("-read_at").values_list("read_on", "total")[:1])
    as_of = readings[-1][0] if readings else today
    ahead = max(0, (today - as_of).days) + DRAWN_AHEAD_DAYS
    curves = queries.forecast_curves([counter.pk], today, ahead)[counter.pk]
    return drawing.DutyLine(
        readings=readings,
        as_of=as_of,
        middle=curves.middle,
        early=curves.early,
        spans=queries.seasons_of(counter.asset),
        today=today,
        unit=counter.get_unit_display(),
        silent=curves.silent,
    )


urlpatterns = [
    path("assets/<int:pk>/duty/", asset_duty, name="asset-duty"),
    path("joints/<int:pk>/spectrum/", spectrum, name="spectrum"),
    path("counters/<int:pk>/", counter, name="counter"),
    path("counters/<int:pk>/exchange/", exchange, name="meter-exchange"),
    path("readings/<int:pk>/withdraw/", withdraw, name="reading-withdraw"),
    path("readings/import/", readings_import, name="readings-import"),
]
