"""Finishing an order on its page: what was seen, or what was put right, with photos."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.forms import BaseFormSet, formset_factory
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from assets_app.inspections.evidence_actions import read_upload
from assets_app.inspections.forms import FindingForm
from assets_app.inspections.inputs import PhotoInput
from assets_app.inspections.kinds import KINDS
from assets_app.inspections.look_rules import MOST_FINDINGS
from assets_app.people import rules as rights
from assets_app.people.models import Person
from assets_app.people.queries import day_at, qualified_for, welders_for
from assets_app.refusals import NotAllowed, NotFound, Refused
from schedules.work import actions, forms, queries, rules, welding
from schedules.work.finishing import LookInput
from schedules.work.models import WorkOrder
from schedules.work.orders import require_right

Findings = formset_factory(FindingForm, extra=0, max_num=MOST_FINDINGS, absolute_max=MOST_FINDINGS)
PREFIX = "findings"


@dataclass
class FinishForms:
    """The forms of finishing one order; ``look`` and ``rows`` only where a look is asked for."""

    work: forms.FinishForm
    look: forms.OrderLookForm | None = None
    rows: BaseFormSet[FindingForm] | None = None
    open: bool = False
    able: tuple[str, ...] = ()  # who could sign the look, where I cannot

    def is_valid(self) -> bool:
        parts = [self.work, *([self.look] if self.look else []), *([self.rows] if self.rows is not None else [])]
        said = [part.is_valid() for part in parts]  # each one is asked, so that every field shows what is wrong
        return all(said)

    @property
    def given(self) -> list[FindingForm]:
        return [form for form in self.rows or () if form.is_given]

    def look_input(self) -> LookInput | None:
        if self.look is None:
            return None
        return LookInput(findings=[form.finding() for form in self.given], **self.look.cleaned_data)

    def weld(self) -> welding.WeldInput:
        return self.work.weld() if isinstance(self.work, forms.WeldRepairForm) else welding.NOTHING_TOLD

    def photos(self) -> list[PhotoInput]:
        sent = [(None, upload) for upload in self.work.cleaned_data.get("photos") or []]
        given = self.given
        for form in self.rows or ():
            index = given.index(form) if form in given else None
            sent += [(index, upload) for upload in form.cleaned_data.get("photos") or []]
        return [PhotoInput(data=read_upload(one), name=one.name, finding_index=index) for index, one in sent]

    def refuse(self, refusal: Refused) -> None:
        """Beside the field that it names."""
        where, _, name = refusal.field.rpartition(".")
        form: Any = self.look if self.look and refusal.field in self.look.fields else self.work
        if where.startswith("findings["):
            form, field = self.given[int(where.removeprefix("findings[").removesuffix("]"))], name
        else:
            field = next((name for name in (refusal.field, f"weld_{refusal.field}") if name in form.fields), "")
        form.add_error(field if field in form.fields else None, refusal.message)


def blank(order: WorkOrder, person: Person, roles: frozenset[str]) -> FinishForms | None:
    """The forms as they are first shown; None where this person cannot finish it now."""
    if rules.after("finish", order.state) is None or not rights.may("order.work", roles):
        return None
    return _forms(order, person)


@login_required
@require_POST
def finish(request: HttpRequest, order_id: int) -> HttpResponse:
    """Write it back."""
    from schedules.work.pages import show_order

    order = queries.order_in_sight(request.user, order_id)
    require_right(request.user, "finish", order.pk)
    if "add" in request.POST:  # one more finding; what was typed stays
        shown = _forms(order, request.user, typed=request.POST)
        return show_order(request, order, finish=shown)
    made = _forms(order, request.user, data=request.POST, files=request.FILES)
    if made.is_valid():
        told = made.work.cleaned_data
        try:
            done = actions.finish(
                order_id=order.pk,
                expected_version=told["version"],
                look=made.look_input(),
                photos=made.photos(),
                note=told["done_note"],
                minutes_spent=told["minutes_spent"] or 0,
                also_repaired=told.get("also_repaired") or (),
                weld=made.weld(),
                actor=request.user,
                now=timezone.now(),
            )
        except (NotAllowed, NotFound):
            raise
        except Refused as refusal:
            made.refuse(refusal)
        else:
            messages.success(request, _said(done))
            return redirect("order", order.pk)
    order = queries.order_in_sight(request.user, order_id)
    made.work.data = made.work.data.copy()
    made.work.data["version"] = str(order.version)
    return show_order(request, order, finish=made, status=422)


def _forms(order: WorkOrder, person: Person, *, data: Any = None, files: Any = None, typed: Any = None) -> FinishForms:
    ids = "id_finish_%s"
    opened = data is not None or typed is not None
    told = typed.dict() if typed is not None else None
    if order.kind != rules.INSPECT:
        row = {"order": order, "auto_id": ids, "initial": told}
        if welding.welds(order):
            welders = welders_for(order.site_id, day_at(order.site, timezone.now()))
            welder = person if person in welders else None
            return FinishForms(forms.WeldRepairForm(data, files, welder=welder, **row), open=opened)
        return FinishForms(forms.RepairForm(data, files, **row), open=opened)
    found = queries.open_findings(order.joint_id)
    known = [(one.pk, f"{KINDS[one.kind].words} found {one.found_on:%-d %b %Y}, measured again") for one in found]
    row = {"joint": order.joint, "known": known}
    initial = [{}] if typed is None else _typed(typed)
    return FinishForms(
        work=forms.FinishForm(data, order=order, auto_id=ids, initial=told),
        look=forms.OrderLookForm(data, joint=order.joint, initial=told),
        rows=Findings(data, files, prefix=PREFIX, form_kwargs=row, initial=initial),
        open=opened,
        able=_able(order, person),
    )


def _able(order: WorkOrder, person: Person) -> tuple[str, ...]:
    """Who could sign the look, where this person cannot; empty where it can."""
    people = qualified_for(order.method, order.site_id, day_at(order.site, timezone.now()))
    if any(who.pk == person.pk for who in people):
        return ()
    return tuple(who.display_name for who in people) or ("nobody at this site",)


def _typed(data: Any) -> list[dict[str, str]]:
    names = list(FindingForm.base_fields)
    text = data.get(f"{PREFIX}-TOTAL_FORMS", "1")
    count = min((int(text) if text.isdigit() and len(text) < 4 else 0) + 1, MOST_FINDINGS)
    return [{name: data.get(f"{PREFIX}-{row}-{name}", "") for name in names} for row in range(count)]


def _said(order: WorkOrder) -> str:
    if order.state == rules.PART_DONE:
        return "Recorded as not completed: it does not count as a look, and the order stays with you."
    if order.kind == rules.INSPECT:
        return "The look is recorded and the next date follows. Another person verifies the order."
    return "Recorded. A look after the work is owed now. Another person verifies the order."
