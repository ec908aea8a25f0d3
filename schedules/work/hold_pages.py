"""The page of holds: what stands, placing one from anywhere, lifting one."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from assets_app.doors.beside import attempt
from assets_app.inspections.models import Severity
from assets_app.people.queries import day_at, is_release_authority, roles_at, why_not_signed
from schedules.work import actions, forms, queries
from schedules.work.eyes import worked_on_held
from schedules.work.holds import require_authority
from schedules.work.models import Hold

LIFTED_SHOWN = 30


def _whose(request: HttpRequest) -> dict[str, Any]:
    return {"actor": request.user, "now": timezone.now()}


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def holds(request: HttpRequest) -> HttpResponse:
    """What is held, the newest first, and the form to place one."""
    if request.method != "POST":
        given = {name: request.GET[name] for name in ("asset_id", "joint_tag") if name in request.GET}
        return _show(request, forms.PlaceHoldForm(person=request.user, initial=given))
    form = forms.PlaceHoldForm(request.POST, person=request.user)

    def place(told: dict[str, Any]) -> Any:
        where = {"asset_id": told["asset_id"], "joint_id": told.get("joint_id")}
        return actions.place_hold(**where, reason=told["reason"], **_whose(request))

    if attempt(form, place):
        messages.success(request, "Held. Everybody at the site is told.")
        return redirect("holds")
    return _show(request, form, status=422)


@login_required
@require_POST
def hold_release(request: HttpRequest, hold_id: int) -> HttpResponse:
    """Lift a hold."""
    hold = queries.hold_in_sight(request.user, hold_id)
    require_authority(request.user, hold.pk, timezone.now())
    form = forms.ReleaseForm(request.POST, auto_id=f"id_{hold.pk}_%s")
    if attempt(form, lambda told: actions.release_hold(hold_id=hold.pk, **told, **_whose(request))):
        messages.success(request, "The hold is lifted, and in the record.")
        return redirect("holds")
    return _show(request, forms.PlaceHoldForm(person=request.user), tried=(hold.pk, form), status=422)


def _show(
    request: HttpRequest,
    form: forms.PlaceHoldForm,
    *,
    tried: tuple[int, forms.ReleaseForm] | None = None,
    status: int = 200,
) -> HttpResponse:
    rows = queries.holds_in_sight(request.user)
    standing = [_row(request, hold, tried) for hold in rows.filter(released_at=None)]
    lifted = rows.exclude(released_at=None).order_by("-released_at")[:LIFTED_SHOWN]
    context = {"standing": standing, "lifted": lifted, "form": form}
    return render(request, "work/holds.html", context, status=status)


def _row(request: HttpRequest, hold: Hold, tried: tuple[int, forms.ReleaseForm] | None) -> dict[str, object]:
    row: dict[str, object] = {"hold": hold, "who_lifts": queries.who_lifts(hold.site_id), "form": None, "why_not": ""}
    if not is_release_authority(request.user, hold.site_id):
        return row
    roles = roles_at(request.user, hold.site_id)
    why_not = why_not_signed(request.user, "hold.release", roles, day_at(hold.site, timezone.now()))
    if why_not:
        row["why_not"] = f"You cannot lift it as an engineer: {why_not}."
        return row
    if worked_on_held(hold, request.user):
        row["why_not"] = "You did work on it, so another authority must lift it."
        return row
    if hold.finding and hold.finding.is_open and hold.finding.severity == Severity.HOLD_NOW:
        row["why_not"] = "The finding still says hold now: repair it, or let an engineer sign an assessment, first."
        return row
    row["form"] = tried[1] if tried and tried[0] == hold.pk else forms.ReleaseForm(auto_id=f"id_{hold.pk}_%s")
    row["open"] = bool(tried and tried[0] == hold.pk)
    return row


urlpatterns = [
    path("holds/", holds, name="holds"),
    path("holds/<int:hold_id>/release/", hold_release, name="hold-release"),
]
