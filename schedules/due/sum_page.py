"""*The sum* under a joint: the working of its date, and what another input would make of it, without saving."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from assets_app.inspections.models import Inspection
from assets_app.people import queries as people
from assets_app.register.models import Joint
from schedules.due import queries
from schedules.due.models import Programme
from schedules.due.sum_steps import steps
from schedules.due.working import WorkedOut, work_out


class TrialForm(forms.Form):
    """Inputs an engineer may change on trial. An empty field leaves the figure as it stands."""

    stress_percent = forms.FloatField(
        label="Stress ranges and peak, % of now", required=False, min_value=1, max_value=500
    )
    wall_mm = forms.FloatField(label="Wall, mm", required=False, min_value=0.5, max_value=500)
    attachment_mm = forms.FloatField(
        label="Attachment along the stress, mm", required=False, min_value=1, max_value=5000
    )
    category_mpa = forms.FloatField(label="Detail category, MPa", required=False, min_value=20, max_value=160)
    lowest_service_c = forms.FloatField(
        label="Lowest temperature in use, °C", required=False, min_value=-60, max_value=60
    )
    conditions = forms.ChoiceField(
        label="Conditions of the look", required=False, choices=[("", "as planned"), *Inspection.Conditions.choices]
    )
    access = forms.ChoiceField(label="Access", required=False, choices=[("", "as it is"), *Joint.Access.choices])
    calendar_months = forms.IntegerField(
        label="Longest time allowed, months", required=False, min_value=1, max_value=600
    )
    duty_count = forms.FloatField(label="Count allowed between looks", required=False, min_value=1)

    def changes(self, as_it_is: WorkedOut) -> dict[str, Any]:
        """The inputs to be changed, as ``work_out`` takes them."""
        given = {name: value for name, value in self.cleaned_data.items() if value not in (None, "")}
        percent = given.pop("stress_percent", None)
        if percent is not None:
            factor, facts = percent / 100, as_it_is.facts
            given["bins"] = [[stress * factor, count] for stress, count in facts.bins]
            if facts.peak_mpa is not None:
                given["peak_mpa"] = facts.peak_mpa * factor
        return given


@require_safe
@login_required
def the_sum(request: HttpRequest, pk: int) -> HttpResponse:
    """The page. Trials travel in the address, so one can be sent to a colleague; nothing is written."""
    joints = Joint.objects.select_related("asset__site")
    joint = get_object_or_404(joints, pk=pk, asset__site__in=people.sites_of(request.user))
    programmes = list(Programme.objects.filter(joint=joint, active=True).order_by("method"))
    context: dict[str, Any] = {"joint": joint, "asset": joint.asset, "programmes": programmes}
    chosen = _chosen(programmes, request.GET.get("method"))
    if chosen is None or not joint.active or joint.asset.status == "retired":
        return render(request, "due/sum.html", context)
    now = timezone.now()
    as_it_is = work_out(chosen.pk, now=now)
    form = TrialForm(request.GET if "try" in request.GET else None)
    changes = form.changes(as_it_is) if form.is_bound and form.is_valid() else {}
    shown = work_out(chosen.pk, now=now, changes=changes) if changes else as_it_is
    context |= {
        "chosen": chosen,
        "form": form,
        "today": as_it_is.today,
        "told": queries.explain_worked(as_it_is),
        "trial": queries.explain_worked(shown) if changes else None,
        "moved_days": (shown.due_on - as_it_is.due_on).days if changes and shown.due_on and as_it_is.due_on else None,
        "steps": steps(shown),
        "alternatives": queries.alternatives(shown) if shown.facts.kind == "weld" else [],
        "unit": shown.curve.unit if shown.curve else "counts",
    }
    return render(request, "due/sum.html", context, status=422 if form.is_bound and not form.is_valid() else 200)


def _chosen(programmes: list[Programme], method: str | None) -> Programme | None:
    return next((each for each in programmes if each.method == method), programmes[0] if programmes else None)
