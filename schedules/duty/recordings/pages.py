"""The pages of recordings: those of an asset, and one of them."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from assets_app.doors.beside import beside
from assets_app.people import rules as people_rules
from assets_app.people.queries import day_at, require, roles_at
from assets_app.refusals import Refused
from assets_app.register.models import Asset
from schedules.duty.recordings import actions, drawing, queries, words
from schedules.duty.recordings.counting import Wanted
from schedules.duty.recordings.forms import RecordingForm, UseForm
from schedules.duty.recordings.models import Recording

SHOWN = 50


@login_required
@require_http_methods(["GET", "POST"])
def recordings(request: HttpRequest, pk: int) -> HttpResponse:
    """The recordings of an asset, and the form for another."""
    asset = queries.asset_in_sight(request.user, pk)
    form = RecordingForm(request.POST or None, request.FILES or None, unit=queries.counted_in(asset))
    if request.method == "GET":
        return _asset_page(request, asset, form)
    require(request.user, "spectrum.change", asset.site_id)
    if not form.is_valid():
        return _asset_page(request, asset, form, status=422)
    given = dict(form.cleaned_data)
    try:
        started = actions.start_recording(
            asset_id=asset.pk,
            file=given.pop("file"),
            column=given.pop("column"),
            note=given.pop("note"),
            wanted=Wanted(**given),
            actor=request.user,
            now=timezone.now(),
        )
    except Refused as refused:
        beside(form, refused)
        return _asset_page(request, asset, form, status=refused.status)
    return redirect("recording", pk=started.pk)


@login_required
@require_http_methods(["GET"])
def recording(request: HttpRequest, pk: int) -> HttpResponse:
    """One recording: how far it is, what screening did, what it comes to, and the form that puts it on joints."""
    found = queries.recording_in_sight(request.user, pk)
    today = day_at(found.asset.site, timezone.now())
    return _recording_page(request, found, UseForm(asset=found.asset, initial={"valid_from": today}))


@login_required
@require_POST
def use(request: HttpRequest, pk: int) -> HttpResponse:
    """Put its spectrum on joints."""
    found = queries.recording_in_sight(request.user, pk)
    require(request.user, "spectrum.change", found.asset.site_id)
    form = UseForm(request.POST, asset=found.asset)
    if not form.is_valid():
        return _recording_page(request, found, form, status=422)
    given = dict(form.cleaned_data)
    joints = [joint.pk for joint in given.pop("joints")]
    try:
        spectra = actions.use_recording(
            recording_id=found.pk, joint_ids=joints, actor=request.user, now=timezone.now(), **given
        )
    except Refused as refused:
        beside(form, refused)
        return _recording_page(request, found, form, status=refused.status)
    many = "1 joint has" if len(spectra) == 1 else f"{len(spectra)} joints have"
    messages.success(request, f"{many} this spectrum now; ratings and due dates follow.")
    return redirect("recording", pk=found.pk)


def _may_change(request: HttpRequest, asset: Asset) -> bool:
    return people_rules.may("spectrum.change", roles_at(request.user, asset.site_id))


def _asset_page(request: HttpRequest, asset: Asset, form: RecordingForm, *, status: int = 200) -> HttpResponse:
    rows = queries.recordings_in_sight(request.user).filter(asset=asset).defer(*queries.LONG)
    context = {
        "asset": asset,
        "rows": rows[:SHOWN],
        "more": rows.count() > SHOWN,
        "form": form,
        "unit": queries.counted_in(asset),
        "may_change": _may_change(request, asset),
        "who_could": people_rules.who_could("spectrum.change"),
    }
    return render(request, "duty/recordings.html", context, status=status)


def _recording_page(request: HttpRequest, found: Recording, form: UseForm, *, status: int = 200) -> HttpResponse:
    unit = queries.counted_in(found.asset)
    context: dict[str, Any] = {
        "recording": found,
        "asset": found.asset,
        "zone": found.asset.site.time_zone,
        "unit": unit or "operating cycles",
        "may_change": _may_change(request, found.asset),
        "who_could": people_rules.who_could("spectrum.change"),
        "form": form,
    }
    if found.state == Recording.State.DONE:
        screening = (found.before, found.after, found.screening, found.samples)
        ranges = (found.histogram, found.bin_width_mpa, unit)
        context |= {
            "screened": drawing.draw_screening(*screening),
            "screened_narrow": drawing.draw_screening(*screening, narrow=True),
            "ranges": drawing.draw_ranges(*ranges),
            "ranges_narrow": drawing.draw_ranges(*ranges, narrow=True),
            "summary": words.summary(found.histogram),
            "spectrum": words.spectrum_of(found.histogram),
            "used_on": queries.used_on(found),
        }
    return render(request, "duty/recording.html", context, status=status)


urlpatterns = [
    path("assets/<int:pk>/recordings/", recordings, name="recordings"),
    path("recordings/<int:pk>/", recording, name="recording"),
    path("recordings/<int:pk>/use/", use, name="recording-use"),
]
