"""The pages of work: my work (phone first), the orders, one order with all that can be done to it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from assets_app.doors.beside import attempt
from assets_app.doors.keys import as_key
from assets_app.inspections.evidence_actions import read_upload
from assets_app.inspections.inputs import PhotoInput
from assets_app.people import rules as rights
from assets_app.people.models import Person
from assets_app.people.queries import BY_SITE, day_at, require_first, roles_at, sites_of
from assets_app.refusals import NotFound, Unprocessable
from schedules.work import actions, eyes, finish_page, forms, hold_pages, queries, rules, welding
from schedules.work.models import WorkOrder
from schedules.work.orders import BY_FINDING, BY_PROGRAMME, require_right

ROWS = 100

# deed in the address -> (deed of the state table, form, action, what the button says)
DEEDS: dict[str, tuple[str, type[forms.VersionForm], Callable[..., Any], str]] = {
    "part-done": ("note part done", forms.PartDoneForm, actions.note_part_done, "Part done"),
    "wait": ("begin waiting", forms.WaitForm, actions.begin_wait, "It has to wait"),
    "end-wait": ("end waiting", forms.VersionForm, actions.end_wait, "The waiting is over"),
    "add-part": ("add part", forms.PartForm, actions.add_part, "Add a part"),
    "temporary-work": (
        "add step",
        forms.TemporaryWorkForm,
        actions.add_temporary_work,
        "Temporary works or a permit",
    ),
    "assign": ("assign", forms.AssignForm, actions.assign, "Give it to somebody"),
    "plan": ("plan", forms.PlanForm, actions.plan, "Plan day and cost"),
    "verify": ("verify", forms.VerifyForm, actions.verify, "Verify and close"),
    "cancel": ("cancel", forms.CancelForm, actions.cancel, "Call it off"),
}
# deeds with a button of their own in the page, not a form of their own
SMALL: dict[str, tuple[str, type[forms.VersionForm], Callable[..., Any]]] = {
    "order-part": ("order part", forms.WhichPartForm, actions.order_part),
    "part-arrived": ("note arrival of part", forms.WhichPartForm, actions.part_arrived),
}


@login_required
@require_safe
def my_work(request: HttpRequest) -> HttpResponse:
    """My next job, big; then today's by place, what waits, what is later, what is to be verified, what is free."""
    today = today_of(request.user)
    place = request.GET.get("place", "")
    mine = queries.my_work(request.user, today=today, place=place)
    return render(request, "work/my_work.html", {"mine": mine, "today": today, "place": place})


class OrderFilter(django_forms.Form):
    state = django_forms.ChoiceField(
        required=False, choices=[("", "not over yet"), *WorkOrder.State.choices, ("all", "all")]
    )
    kind = django_forms.ChoiceField(required=False, choices=[("", "all work"), *WorkOrder.Kind.choices])
    who = django_forms.ChoiceField(required=False, choices=[("", "anybody"), ("me", "me"), ("nobody", "nobody")])


@login_required
@require_safe
def orders(request: HttpRequest) -> HttpResponse:
    """Orders, the earliest due first."""
    given = OrderFilter(request.GET)
    chosen = given.cleaned_data if given.is_valid() else {}
    rows = queries.with_put_off(queries.orders_in_sight(request.user)).order_by("due_on", "pk")
    state = chosen.get("state") or ""
    if state != "all":
        rows = rows.filter(state=state) if state else rows.filter(state__in=rules.LIVE)
    if chosen.get("kind"):
        rows = rows.filter(kind=chosen["kind"])
    if chosen.get("who") == "me":
        rows = rows.filter(assignee=request.user)
    elif chosen.get("who") == "nobody":
        rows = rows.filter(assignee=None)
    raise_form = _raise_form(request.user)
    context = {"filter": given, "today": today_of(request.user), "raise_form": raise_form}
    return render(request, "work/orders.html", context | _page_of(request, rows))


@login_required
@require_POST
def raise_due(request: HttpRequest) -> HttpResponse:
    """The planner's button: orders for all that falls due."""
    require_first(request.user, "order.raise", request.POST, BY_SITE._replace(key="site_id"))
    form = forms.RaiseDueForm(request.POST, sites=list(sites_of(request.user)))
    if not form.is_valid():
        messages.error(request, "Choose a site, and days from 0 to 366.")
        return redirect("orders")
    raised = actions.raise_due_orders(actor=request.user, now=timezone.now(), **form.cleaned_data)
    said = f"{len(raised)} orders raised." if raised else "Nothing new: every look due by then has its order."
    messages.success(request, said)
    return redirect("orders")


@login_required
@require_POST
def order_raise(request: HttpRequest) -> HttpResponse:
    """Raise one order: for the look that a programme owes, or for a finding; the buttons of other pages post here."""
    who = {"actor": request.user, "now": timezone.now()}
    require_first(request.user, "order.raise", request.POST, BY_PROGRAMME, BY_FINDING)
    programme, finding = as_key(request.POST.get("programme", "")), as_key(request.POST.get("finding", ""))
    if programme is not None:
        made = actions.raise_order_for_due_date(programme_id=programme, **who)
    elif finding is not None:
        made = actions.raise_order_for_finding(finding_id=finding, kind=request.POST.get("kind", rules.REPAIR), **who)
    else:
        raise Unprocessable("fields", "Say for which look or finding the order is.", field="programme")
    messages.success(request, f"Order {made.number} is raised.")
    return redirect("order", made.pk)


@login_required
@require_safe
def order(request: HttpRequest, order_id: int) -> HttpResponse:
    return show_order(request, queries.order_in_sight(request.user, order_id))


@login_required
@require_POST
def order_deed(request: HttpRequest, order_id: int, deed: str) -> HttpResponse:
    """One deed on an order."""
    row = queries.order_in_sight(request.user, order_id)
    if deed not in DEEDS and deed not in SMALL:
        raise NotFound("not_found", "There is nothing here that you can see.")
    name, form_class, act = SMALL[deed] if deed in SMALL else DEEDS[deed][:3]
    require_right(request.user, name, row.pk, assignee_id=request.POST.get("assignee_id"))
    form = form_class(request.POST, order=row, auto_id=f"id_{deed}_%s")
    if run(form, act, row, request.user):
        messages.success(request, "Done, and in the record.")
        return redirect("order", row.pk)
    row = queries.order_in_sight(request.user, order_id)
    return show_order(request, row, tried={deed: form}, status=422)


@login_required
@require_POST
def order_take(request: HttpRequest, order_id: int) -> HttpResponse:
    """I do it."""
    row = queries.order_in_sight(request.user, order_id)
    require_right(request.user, "assign", row.pk, assignee_id=request.user.pk)
    form = forms.VersionForm(request.POST, order=row)
    if form.is_valid():
        actions.assign(
            order_id=row.pk,
            expected_version=form.cleaned_data["version"],
            assignee_id=request.user.pk,
            actor=request.user,
            now=timezone.now(),
        )
    return redirect("order", row.pk)


@login_required
@require_POST
def order_step(request: HttpRequest, order_id: int, sequence: int) -> HttpResponse:
    """Tick a step, write its value, add its photo."""
    row = queries.order_in_sight(request.user, order_id)
    require_right(request.user, "do step", row.pk)
    form = forms.StepForm(request.POST, request.FILES, order=row)

    def act(*, photo: Any, **who: Any) -> None:
        sent = PhotoInput(data=read_upload(photo), name=photo.name) if photo else None
        actions.do_step(sequence=sequence, photo=sent, **who)

    if run(form, act, row, request.user):
        return redirect(f"/orders/{row.pk}/#step-{sequence}")
    row = queries.order_in_sight(request.user, order_id)
    return show_order(request, row, tried={f"step-{sequence}": form}, status=422)


def run(form: forms.VersionForm, act: Callable[..., Any], row: WorkOrder, person: Person) -> bool:
    """Do it; a refusal lands beside its field, and what a person may not do at all is refused as a page."""

    def deed(told: dict[str, Any]) -> Any:
        rest = {name: value for name, value in told.items() if name != "version"}
        return act(order_id=row.pk, expected_version=told["version"], actor=person, now=timezone.now(), **rest)

    return attempt(form, deed)


def show_order(
    request: HttpRequest,
    row: WorkOrder,
    *,
    tried: dict[str, Any] | None = None,
    finish: Any = None,
    status: int = 200,
) -> HttpResponse:
    tried = tried or {}
    roles = roles_at(request.user, row.site_id)
    now = timezone.now()
    may_work = any(rights.may(deed, roles) for deed in rules.WORK)
    failed = next((form for form in tried.values() if form.errors), None)
    context = {
        "order": row,
        "today": day_at(row.site, now),
        "steps": [(step, tried.get(f"step-{step.sequence}")) for step in row.steps.all()],
        "bolt_steps": rules.BOLT_STEPS if row.joint.kind == "bolted" else (),
        "bolts_apart": row.joint.kind == "bolted" and not any(s.text in rules.BOLT_STEPS for s in row.steps.all()),
        "next_step": next((step.sequence for step in row.steps.all() if step.done_at is None), None),
        "wait": next((wait for wait in row.waits.all() if wait.ended_on is None), None),
        "deeds": list(_deeds(row, roles, request.user, tried)),
        "failed": failed,
        "may_work": may_work and rules.after("do step", row.state) is not None,
        "may_take": may_work and row.assignee_id is None and row.state in rules.AT_WORK,
        "may_put_off": rights.may("deferral.sign", roles) and row.state in rules.AT_WORK and row.due_on is not None,
        "may_order_parts": rights.may("order.plan", roles),
        "finish": finish or finish_page.blank(row, request.user, roles),
        "weld": welding.weld_of(row.pk) if welding.welds(row) else None,
        "holds": list(queries.standing_holds([row.asset_id])),
        "who_lifts": queries.who_lifts(row.site_id),
        "deferral": row.deferrals.filter(state="standing").select_related("signed_by").first(),
        "told": queries.explanation(row, now=now) if row.method and row.state in rules.AT_WORK else None,
        "findings": queries.open_findings(row.joint_id),
        "history": queries.history(row)[:60],
        "photos": [step.evidence for step in row.steps.all() if step.evidence]
        + (list(row.inspection.evidence.all()) if row.inspection else []),
    }
    return render(request, "work/order.html", context, status=status)


def _deeds(row: WorkOrder, roles: frozenset[str], person: Person, tried: dict[str, Any]) -> Any:
    for name, (deed, form_class, _, words) in DEEDS.items():
        allowed = (
            any(rights.may(each, roles) for each in rules.RIGHTS[deed]) and rules.after(deed, row.state) is not None
        )
        if allowed and name == "verify" and eyes.worked_on(row, person):
            allowed = False
        if allowed:
            form = tried.get(name)
            fresh = form_class(order=row, auto_id=f"id_{name}_%s")
            if form is not None:  # a stale version would be refused for ever
                form.data = form.data.copy()
                form.data["version"] = str(row.version)
            yield {"name": name, "words": words, "form": form or fresh, "open": form is not None}


def _raise_form(person: Person) -> forms.RaiseDueForm | None:
    sites = queries.sites_where(person, "order.raise")
    return forms.RaiseDueForm(sites=sites) if sites else None


def today_of(person: Person) -> date:
    """The day on the clock of the person's first site."""
    site = sites_of(person).first()
    return day_at(site, timezone.now()) if site else timezone.now().date()


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _page_of(request: HttpRequest, rows: Any) -> dict[str, Any]:
    """One page by key: after the last row (day due, id) of the page before."""
    after = request.GET.get("after", "")
    said, _, number = after.partition("_")
    pk, day = as_key(number), _day(said)
    if pk is not None and (day or said == "none"):
        later = Q(due_on__isnull=True, pk__gt=pk)
        if day:
            later |= Q(due_on__gt=day) | Q(due_on=day, pk__gt=pk)
        rows = rows.filter(later)
    found = list(rows[: ROWS + 1])
    context: dict[str, Any] = {"orders": found[:ROWS], "first_url": "", "next_url": ""}
    query = request.GET.copy()
    query.pop("after", None)
    if after:
        context["first_url"] = f"?{query.urlencode()}"
    if len(found) > ROWS:
        last = found[ROWS - 1]
        query["after"] = f"{last.due_on or 'none'}_{last.pk}"
        context["next_url"] = f"?{query.urlencode()}"
    return context


urlpatterns = [
    path("my-work/", my_work, name="my-work"),
    path("orders/", orders, name="orders"),
    path("orders/raise-due/", raise_due, name="orders-raise-due"),
    path("orders/raise/", order_raise, name="order-raise"),
    path("orders/<int:order_id>/", order, name="order"),
    path("orders/<int:order_id>/take/", order_take, name="order-take"),
    path("orders/<int:order_id>/steps/<int:sequence>/", order_step, name="order-step"),
    path("orders/<int:order_id>/finish/", finish_page.finish, name="order-finish"),
    path("orders/<int:order_id>/do/<slug:deed>/", order_deed, name="order-deed"),
    *hold_pages.urlpatterns,
]
