"""The pages of put-off work: the manager's sheet, and the form that signs a deferral."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assets_app.doors.beside import attempt
from assets_app.people import rules as rights
from assets_app.people.queries import day_at, require, roles_at, sites_of
from assets_app.register.models import Site
from schedules.deferral import actions, bounds, drawing, queries, rules
from schedules.work.models import WorkOrder
from schedules.work.queries import order_in_sight


class PutOffForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
    ends_on = forms.DateField(label="Until", widget=forms.DateInput(attrs={"type": "date"}))
    reason = forms.CharField(label="Why it is put off", widget=forms.Textarea(attrs={"rows": 2}))
    interim_measure = forms.CharField(
        label="What keeps it safe meanwhile",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="such as: half the load, closed in wind, looked at weekly by eye",
    )
    cost_estimate = forms.DecimalField(
        label="Cost, as estimated", required=False, min_value=0, max_digits=12, decimal_places=2
    )


@login_required
@require_safe
def put_off(request: HttpRequest) -> HttpResponse:
    """What is put off, since when, at what risk and cost, and what changed since last month; silence first."""
    sites = list(sites_of(request.user))
    chosen = [site for site in sites if site.slug == request.GET.get("site")]
    sheets = [_sheet(request, site) for site in chosen or sites]
    return render(request, "deferral/put_off.html", {"sheets": sheets, "sites": sites, "chosen": chosen})


def _sheet(request: HttpRequest, site: Site) -> dict[str, Any]:
    roles = roles_at(request.user, site.pk)
    shown = queries.backlog(site, today=day_at(site, timezone.now()))
    currency = shown.indices[0].currency if len(shown.indices) == 1 else ""
    indices = [(index, index.band(shown.edges)) for index in shown.indices]
    return {
        "backlog": shown,
        "indices": indices,
        "bands": _bands_in_words(shown.edges),
        "wide": drawing.age_bands(shown.bands, currency),
        "narrow": drawing.age_bands_narrow(shown.bands, currency),
        "may_withdraw": rights.may("deferral.sign", roles),
        "may_raise": rights.may("order.raise", roles),
    }


def _bands_in_words(edges: tuple[float, ...]) -> str:
    """``good under 5 %, fair under 10 %, poor under 30 %, critical from there``."""
    below = [f"{word} under {edge:g} %" for word, edge in zip(rules.FCI_WORDS, edges, strict=False)]
    return ", ".join(below) + f", {rules.FCI_WORDS[len(edges)]} from there"


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def order_put_off(request: HttpRequest, order_id: int) -> HttpResponse:
    """Sign a deferral of an order, with what bounds it in sight."""
    order = order_in_sight(request.user, order_id)
    require(request.user, "deferral.sign", order.site_id)
    if request.method != "POST":
        form = PutOffForm(initial={"version": order.version, "cost_estimate": order.cost_estimate})
        return _show_form(request, order, form)
    form = PutOffForm(request.POST)

    def sign(told: dict[str, Any]) -> Any:
        rest = {name: value for name, value in told.items() if name != "version"}
        who = {"actor": request.user, "now": timezone.now()}
        return actions.sign_deferral(order_id=order.pk, expected_version=told["version"], **rest, **who)

    if attempt(form, sign):
        messages.success(request, "Put off, signed by you, and in the record.")
        return redirect("order", order.pk)
    order = order_in_sight(request.user, order_id)
    form.data = form.data.copy()
    form.data["version"] = str(order.version)
    return _show_form(request, order, form, status=422)


def _show_form(request: HttpRequest, order: WorkOrder, form: PutOffForm, *, status: int = 200) -> HttpResponse:
    explained = bounds.explanations(order, now=timezone.now())
    today = day_at(order.site, timezone.now())
    context = {
        "order": order,
        "form": form,
        "today": today,
        "bound": rules.earliest(bounds.bounds_of(order, explained, today)),
        "risk": bounds.risk_of(order, explained),
        "grave": bounds.gravest_finding(order),
        "standing": order.deferrals.filter(state="standing").select_related("signed_by").first(),
    }
    return render(request, "deferral/order_put_off.html", context, status=status)


@login_required
@require_POST
def deferral_withdraw(request: HttpRequest, deferral_id: int) -> HttpResponse:
    """Take a deferral back; a missing reason is refused as a page."""
    deferral = queries.deferral_in_sight(request.user, deferral_id)
    reason = request.POST.get("reason", "")
    actions.withdraw_deferral(deferral_id=deferral.pk, reason=reason, actor=request.user, now=timezone.now())
    messages.success(request, "Taken back: it is due on its own day again.")
    return redirect("put-off")


urlpatterns = [
    path("put-off/", put_off, name="put-off"),
    path("orders/<int:order_id>/put-off/", order_put_off, name="order-put-off"),
    path("deferrals/<int:deferral_id>/withdraw/", deferral_withdraw, name="deferral-withdraw"),
]
