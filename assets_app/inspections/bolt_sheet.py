"""The page of a bolt-by-bolt sheet: in tightening order, worked out at once, recorded as a look. Needs no script."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from assets_app.doors.beside import beside
from assets_app.inspections import bolt_queries, bolt_rules, bolt_sheet_actions
from assets_app.inspections.bolt_forms import BoltForm, SheetForm
from assets_app.inspections.bolt_sheet_actions import Answer
from assets_app.inspections.evidence_actions import joint_for
from assets_app.people import rules as rights
from assets_app.people.queries import roles_at
from assets_app.refusals import NotAllowed, NotFound, Refused
from assets_app.register.drawing_bolts import bolt_group
from assets_app.register.joint_drawing import pattern_of
from assets_app.register.models import Joint
from assets_app.register.tightening_order import SOURCE, order_words, tightening_order


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def bolt_sheet(request: HttpRequest, joint_id: int) -> HttpResponse:
    """The sheet: shown empty, with the rest said to be ok, worked out, or recorded."""
    joint = joint_for(request.user, "bolt_check.record", joint_id)
    if joint.kind != Joint.Kind.BOLTED:
        raise NotFound("not_found", "There is nothing here that you can see.")
    try:
        bolt_sheet_actions.group_of(joint)
    except Refused as refusal:
        return render(request, "inspections/bolt_sheet_none.html", {"joint": joint, "why": refusal.message})
    order = tightening_order(pattern_of(joint.bolt_group))
    if request.method != "POST":
        here = timezone.now().astimezone(ZoneInfo(joint.asset.site.time_zone))
        look = _look_form(request, joint, initial={"inspected_at": f"{here:%Y-%m-%dT%H:%M}"})
        return _show(request, joint, look, _bolt_forms(joint, order))
    data = request.POST.copy()
    if "rest" in data:  # every bolt without a state was found ok; what was typed stays
        for number in order:
            data[f"b{number}-state"] = data.get(f"b{number}-state") or "ok"
    look, rows = _look_form(request, joint, data), _bolt_forms(joint, order, data)
    if "rest" in data:
        return _show(request, joint, look, rows)
    return _answer(request, joint, look, rows)


def _answer(request: HttpRequest, joint: Joint, look: SheetForm, rows: list[BoltForm]) -> HttpResponse:
    """Worked out, or recorded; a refusal stands beside its field."""
    fine = all([look.is_valid(), *(row.is_valid() for row in rows)])
    if not fine:
        return _show(request, joint, look, rows, status=422)
    entries = [row.bolt() for row in rows]
    try:
        if "record" not in request.POST:
            answer = bolt_sheet_actions.work_out_sheet(
                joint_id=joint.pk, bolts=entries, actor=request.user, **look.sums()
            )
            return _show(request, joint, look, rows, answer=answer)
        inspection = bolt_sheet_actions.record_bolt_sheet(
            joint_id=joint.pk,
            bolts=entries,
            actor=request.user,
            now=timezone.now(),
            **look.look(),
            **look.sums(),
        )
    except (NotAllowed, NotFound):
        raise
    except Refused as refusal:
        _beside_the_field(refusal, look, rows)
        return _show(request, joint, look, rows, status=422)
    messages.success(request, bolt_queries.recorded_words(inspection))
    return redirect(f"/joints/{joint.pk}/")


def _beside_the_field(refusal: Refused, look: SheetForm, rows: list[BoltForm]) -> None:
    where, _, name = refusal.field.rpartition(".")
    if where.startswith("bolts["):
        form = rows[int(where.removeprefix("bolts[").removesuffix("]"))]
        beside(form, refusal, field=name)
    else:
        beside(look, refusal)


def _look_form(request: HttpRequest, joint: Joint, data: Any = None, **more: Any) -> SheetForm:
    site = joint.asset.site
    may_load = rights.may(bolt_sheet_actions.LOADS_BY, roles_at(request.user, site.pk))
    return SheetForm(data, site=site, may_load=may_load, **more)


def _bolt_forms(joint: Joint, order: list[int], data: Any = None) -> list[BoltForm]:
    return [BoltForm(data, number=number, group=joint.bolt_group, site=joint.asset.site) for number in order]


def _show(
    request: HttpRequest,
    joint: Joint,
    look: SheetForm,
    rows: list[BoltForm],
    *,
    answer: Answer | None = None,
    status: int = 200,
) -> HttpResponse:
    pattern = pattern_of(joint.bolt_group)
    last, known = bolt_queries.last_readings(joint.pk), bolt_queries.lost_words(joint.pk)
    context = {
        "joint": joint,
        "look": look,
        "rows": [{"form": row, "last": last.get(row.number), "known": known.get(row.number)} for row in rows],
        "in_error": [row.number for row in rows if row.is_bound and row.errors],
        "order_words": order_words(pattern),
        "order_source": SOURCE,
        "tightening": answer.tightening if answer else bolt_rules.expected_tightening(joint.bolt_group),
        "touch": bolt_group(pattern, {}, name=joint.tag, touch=True),
        "answer": answer,
        "result": bolt_queries.result_words(answer) if answer else "",
        "drawing": bolt_group(pattern, _states(answer), name=joint.tag) if answer else None,
    }
    return render(request, "inspections/bolt_sheet.html", context, status=status)


def _states(answer: Answer) -> dict[int, str]:
    return {each.number: each.state for each in answer.seen if each.state != "ok"}


urlpatterns = [path("joints/<int:joint_id>/bolts/", bolt_sheet, name="bolt-sheet")]
