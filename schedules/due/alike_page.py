"""Like joints: where else to look, since this one was found bad; and the looks that are owed there for it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from assets_app.doors.beside import attempt
from assets_app.doors.context import sites_where
from assets_app.inspections.models import Method
from assets_app.people import queries as people
from assets_app.people.rules import who_could
from assets_app.register.models import Joint
from engineering.figures import grouped
from schedules.due import alike_actions
from schedules.due.alike import Alike, AlikeJoints, alike, why_of
from schedules.due.models import OwedLook

DEED = "sweep.owe"


class SweepForm(forms.Form):
    """What is asked for; the joints themselves are ticked in the table."""

    due_on = forms.DateField(
        label="Looked at by which day",
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text="No day is proposed. Where what was found stops the use of this joint, think of a hold on the like "
        "ones too until they are looked at.",
    )
    method = forms.ChoiceField(label="Method", required=False, choices=[("", "any that is owed"), *Method.choices])
    why = forms.CharField(label="What was found bad, and where", max_length=240)
    source = forms.CharField(label="Document", max_length=200, required=False)
    joints = forms.MultipleChoiceField(
        label="Joints", error_messages={"required": "Tick the joints that must be looked at."}
    )

    def __init__(self, data: Any, found: AlikeJoints, initial: dict[str, Any]) -> None:
        super().__init__(data, initial=initial)
        self.fields["joints"].choices = [(str(each.joint.pk), each.joint.tag) for each in found.joints]


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def like_joints(request: HttpRequest, pk: int) -> HttpResponse:
    """The like joints at the sites where the person may ask for looks (else at all of theirs), and the form."""
    joints = Joint.objects.select_related("asset__site", "weld", "bolt_group")
    joint = get_object_or_404(joints, pk=pk, asset__site__in=people.sites_of(request.user))
    may_at = sites_where(request, DEED)
    may_ask = joint.asset.site_id in may_at
    if request.method == "POST":
        people.require(request.user, DEED, joint.asset.site_id)
    found = alike(joint, sorted(may_at) if may_ask else people.site_ids_of(request.user))
    form = SweepForm(request.POST if request.method == "POST" else None, found, {"why": why_of(joint)})
    made: list[OwedLook] = []
    if request.method == "POST" and attempt(form, lambda told: made.extend(_ask(request, joint, told))):
        messages.success(request, _asked_words(len(made)))
        return redirect("like-joints", pk=pk)
    ticked = set(form.data.getlist("joints")) if form.is_bound else None
    context = {
        "joint": joint,
        "asset": joint.asset,
        "found": found,
        "rows": [(each, _is_ticked(each, ticked)) for each in found.joints],
        "form": form,
        "may_ask": may_ask,
        "who_could": who_could(DEED),
        "several_sites": len({each.joint.asset.site_id for each in found.joints}) > 1,
    }
    return render(request, "due/alike.html", context, status=422 if form.errors else 200)


def _is_ticked(row: Alike, ticked: set[str] | None) -> bool:
    return row.chosen if ticked is None else str(row.joint.pk) in ticked


def _ask(request: HttpRequest, joint: Joint, told: dict[str, Any]) -> list[OwedLook]:
    chosen = [int(pk) for pk in told["joints"]]
    rest = {name: value for name, value in told.items() if name != "joints"}
    return alike_actions.owe_sweep(joint_id=joint.pk, joint_ids=chosen, actor=request.user, now=timezone.now(), **rest)


def _asked_words(count: int) -> str:
    if not count:
        return "Those owe a look of a sweep by then already."
    if count == 1:
        return "1 like joint owes a look. Its dates follow."
    return f"{grouped(count)} like joints owe a look. Their dates follow."
