"""What is owed on a joint, as a page: each method's longest time and count, and days fixed by others."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from assets_app.doors.beside import attempt
from assets_app.inspections.models import Inspection, Method
from assets_app.people import queries as people
from assets_app.people.rules import may
from assets_app.register.models import Joint
from schedules.due import actions
from schedules.due.models import Limit, OwedLook, Programme


class ProgrammeForm(forms.Form):
    """Sets one method; an empty figure takes the limit away."""

    method = forms.ChoiceField(label="Method", choices=Method.choices)
    calendar_months = forms.IntegerField(
        label="Longest time allowed, months", required=False, min_value=1, max_value=600
    )
    duty_count = forms.FloatField(label="Count allowed between looks", required=False, min_value=1)
    conditions = forms.ChoiceField(
        label="Conditions of the looks", choices=Inspection.Conditions.choices, initial="normal",
        help_text="Good means for instance a ground weld in good light. A look made in worse ones counts as such.",
    )  # fmt: skip
    source = forms.CharField(label="Who allows it, in which document", max_length=200, required=False)
    active = forms.BooleanField(label="It is owed", required=False, initial=True)


class FixedDayForm(forms.Form):
    limit = forms.ChoiceField(
        label="What asks for it",
        choices=[
            (Limit.FIXED.value, "maker, authority, insurer or season"),
            (Limit.LOAD_CHANGE.value, "a changed load here"),
        ],
        help_text="A load changes by a repair, a settlement or bolts lost nearby.",
    )
    due_on = forms.DateField(label="By which day", widget=forms.DateInput(attrs={"type": "date"}))
    method = forms.ChoiceField(label="Method", required=False, choices=[("", "any that is owed"), *Method.choices])
    why = forms.CharField(label="Who asks for it, and why", max_length=240)
    source = forms.CharField(label="Document", max_length=200, required=False)


class WithdrawalForm(forms.Form):
    owed_id = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(label="Why it is not needed", max_length=240)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def programme(request: HttpRequest, pk: int) -> HttpResponse:
    """What is owed here, and forms for planner and engineer."""
    joints = Joint.objects.select_related("asset__site")
    joint = get_object_or_404(joints, pk=pk, asset__site__in=people.sites_of(request.user))
    rows = list(Programme.objects.filter(joint=joint).order_by("method"))
    posted = request.POST.get("deed", "")
    forms_ = {
        "programme": ProgrammeForm(request.POST if posted == "programme" else None, initial=_initial(request, rows)),
        "fixed": FixedDayForm(request.POST if posted == "fixed" else None),
        "withdraw": WithdrawalForm(request.POST if posted == "withdraw" else None),
    }
    if request.method == "POST":
        right = "owed_look.withdraw" if posted == "withdraw" else "programme.change"
        people.require(request.user, right, joint.asset.site_id)
    if request.method == "POST" and _posted(request, joint, forms_, posted):
        messages.success(request, "Stored. The dates of this joint follow.")
        return redirect("joint", pk=pk)
    roles = people.roles_at(request.user, joint.asset.site_id)
    context = {
        "joint": joint,
        "asset": joint.asset,
        "rows": rows,
        "owed": OwedLook.objects.filter(joint=joint, satisfied_by=None, withdrawn_why="").order_by("due_on"),
        "forms": forms_,
        "may_change": may("programme.change", roles),
        "may_withdraw": may("owed_look.withdraw", roles),
    }
    return render(request, "due/programme.html", context, status=422 if request.method == "POST" else 200)


def _initial(request: HttpRequest, rows: list[Programme]) -> dict[str, Any]:
    """The method asked for, as it stands."""
    row = next((row for row in rows if row.method == request.GET.get("method")), None)
    if row is None:
        return {}
    return {name: getattr(row, name) for name in ("method", *actions.PROGRAMME_FIELDS)}


def _posted(request: HttpRequest, joint: Joint, forms_: dict[str, forms.Form], posted: str) -> bool:
    form = forms_.get(posted)
    if form is None:
        return False
    whose: dict[str, Any] = {"actor": request.user, "now": timezone.now()}
    deeds: dict[str, Callable[[dict[str, Any]], Any]] = {
        "programme": lambda told: actions.set_programme(joint_id=joint.pk, **told, **whose),
        "fixed": lambda told: actions.fix_day(joint_id=joint.pk, **told, **whose),
        "withdraw": lambda told: actions.withdraw_owed_look(**told, **whose),
    }
    return attempt(form, deeds[posted])
