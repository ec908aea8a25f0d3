"""One look as it was recorded, and its correction: a new look that stands for it; the old one stays, superseded."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.forms import BaseFormSet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from assets_app.inspections import actions, forms, queries
from assets_app.inspections.kinds import KINDS
from assets_app.inspections.models import FindingSize, Inspection
from assets_app.people.queries import require, roles_at
from assets_app.people.rules import MAY
from assets_app.record import queries as record
from assets_app.refusals import Conflict, NotAllowed, NotFound, Refused

PREFIX = "findings"


@require_safe
@login_required
def look(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """What was recorded, by whom; what it corrects, and what stands for it now."""
    row = queries.inspection_for(request.user, inspection_id)
    right = actions.right_to_look({"method": row.method})
    entries = record.entries(request.user, joint_id=row.joint_id).filter(subject_kind="inspection")
    newer = row.corrections.select_related("inspector").first()
    told = {entry.subject_id: entry for entry in entries.filter(subject_id__in=[row.pk, newer.pk if newer else 0])}
    context = {
        "look": row,
        "joint": row.joint,
        "entry": told.get(row.pk),
        "newer": newer,
        "newer_entry": told.get(newer.pk) if newer else None,
        "sizes": row.sizes.select_related("finding").order_by("pk"),
        "may_correct": bool(MAY[right] & roles_at(request.user, row.joint.asset.site_id)),
    }
    return render(request, "inspections/look.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def look_correct(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """The look as it was recorded, in a form: what is sent is a new look, with the reason."""
    old = queries.inspection_for(request.user, inspection_id)
    require(request.user, actions.right_to_look({"method": old.method}), old.joint.asset.site_id)
    if request.method != "POST":
        _not_yet_corrected(old)
        return _show(request, old, forms.WhatWasWrongForm(), *_as_recorded(old))
    why = forms.WhatWasWrongForm(request.POST)
    if "add" in request.POST:
        data = forms.with_one_more(request.POST)
        why, look_form = (
            forms.WhatWasWrongForm(initial=data.dict()),
            forms.LookForm(initial=data.dict(), joint=old.joint),
        )
        return _show(request, old, why, look_form, _findings(old, initial=forms.typed(data)))
    look_form, rows = forms.LookForm(request.POST, joint=old.joint), _findings(old, request.POST)
    if all([why.is_valid(), look_form.is_valid(), rows.is_valid()]):
        try:
            new = actions.correct_inspection(
                inspection_id=old.pk,
                reason=why.cleaned_data["reason"],
                findings=[form.finding() for form in rows if form.is_given],
                actor=request.user,
                now=timezone.now(),
                **look_form.cleaned_data,
            )
        except (NotAllowed, NotFound):
            raise
        except Refused as refusal:
            forms.beside_the_field(refusal, look_form, rows)
            return _show(request, old, why, look_form, rows, status=refusal.status)
        messages.success(request, "Corrected. This look counts now; the one before stays on file, superseded.")
        return redirect("look", new.pk)
    return _show(request, old, why, look_form, rows, status=422)


def _not_yet_corrected(old: Inspection) -> None:
    newer = old.corrections.first()
    if newer is not None:
        raise Conflict("already_corrected", f"This look was corrected already; correct the newer one, look {newer.pk}.")


def _findings(old: Inspection, *given: Any, **more: Any) -> BaseFormSet[forms.FindingForm]:
    open_ones = {one.pk: one for one in queries.open_findings(old.joint_id)}
    known = [(pk, forms.known_words(one)) for pk, one in open_ones.items()]
    rows = forms.Findings(*given, prefix=PREFIX, form_kwargs={"joint": old.joint, "known": known}, **more)
    for form in rows:
        del form.fields["photos"]  # a photo belongs to the entry that it came with
    return rows


def _as_recorded(old: Inspection) -> tuple[forms.LookForm, BaseFormSet[forms.FindingForm]]:
    here = old.inspected_at.astimezone(ZoneInfo(old.joint.asset.site.time_zone))
    names = ("method", "result", "conditions", "counter_total", "note")
    initial = {name: getattr(old, name) for name in names} | {"inspected_at": f"{here:%Y-%m-%dT%H:%M}"}
    measured = [_measured(size) for size in old.sizes.select_related("finding").order_by("pk") if size.finding.is_open]
    return forms.LookForm(initial=initial, joint=old.joint), _findings(old, initial=measured or [{}])


def _measured(size: FindingSize) -> dict[str, str]:
    """A size as its fields would be typed; where it was one figure, the words of the person themselves."""
    typed = [part.strip() for part in size.as_typed.split(";") if part.strip()]
    numbers = {name: getattr(size, name) for name in ("length_mm", "depth_mm", "angle_deg")}
    known = {
        name: f"{value:.6g}{' mm' if name.endswith('_mm') else ''}"
        for name, value in numbers.items()
        if value is not None
    }
    if len(typed) == 1 and len(known) == 1:
        return {"finding_id": str(size.finding_id), "size": typed[0]}
    kind = KINDS.get(size.finding.kind)
    first = {"length": "length_mm", "angle": "angle_deg"}.get(kind.measure if kind else "", "depth_mm")
    shown = {"size": known.pop(first, ""), "length": known.pop("length_mm", ""), "depth": known.pop("depth_mm", "")}
    return {"finding_id": str(size.finding_id), **shown}


def _show(
    request: HttpRequest,
    old: Inspection,
    why: forms.WhatWasWrongForm,
    look_form: forms.LookForm,
    rows: BaseFormSet[forms.FindingForm],
    *,
    status: int = 200,
) -> HttpResponse:
    context = {"old": old, "joint": old.joint, "why": why, "look": look_form, "rows": rows}
    return render(request, "inspections/look_correct.html", context, status=status)


urlpatterns = [
    path("looks/<int:inspection_id>/", look, name="look"),
    path("looks/<int:inspection_id>/correct/", look_correct, name="look-correct"),
]
