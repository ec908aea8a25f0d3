"""Pages of a site's alert rules and webhooks, of a person's own settings; and the calendar feed."""

from __future__ import annotations

import hashlib
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assets_app.doors.beside import beside
from assets_app.doors.keys import as_key
from assets_app.people.queries import require, roles_at, sites_of
from assets_app.people.rules import may
from assets_app.refusals import Refused
from assets_app.register.models import Site
from engineering.figures import grouped
from schedules.alerts import calendar, queries, setting_actions, webhook_actions
from schedules.alerts.forms import RuleForm, SettingsForm, WebhookForm
from schedules.alerts.models import WebhookEndpoint

HISTORY_ROWS = 30


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def alert_rules(request: HttpRequest, slug: str) -> HttpResponse:
    """Who hears of what at a site: shown to all, set by managers."""
    site = _site(request, slug)
    start = {name: request.GET[name] for name in ("kind", "role") if name in request.GET}
    form = RuleForm(request.POST or None, initial={"in_app": True, "email": True, **start})
    if request.method == "POST":
        require(request.user, "people.change", site.pk)
        if form.is_valid() and _rule_set(request, site, form):
            messages.success(request, "Saved. It holds for what happens from now on.")
            return redirect("alert-rules", slug=site.slug)
    context = {
        "site": site,
        "form": form,
        "rows": queries.rules_of(site),
        "history": queries.rule_history(request.user).filter(site=site)[:HISTORY_ROWS],
        "may_change": may("people.change", roles_at(request.user, site.pk)),
    }
    return render(request, "alerts/rules.html", context, status=422 if form.errors else 200)


def _rule_set(request: HttpRequest, site: Site, form: RuleForm) -> bool:
    given = form.cleaned_data
    is_on = given["in_app"] or given["email"] or not given["role"]
    return _done(
        form,
        lambda: setting_actions.set_rule(
            site_id=site.pk, actor=request.user, now=timezone.now(), **{**given, "is_on": is_on}
        ),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def webhooks(request: HttpRequest, slug: str) -> HttpResponse:
    """The receivers of a site's alerts; ``?change=`` names one to be changed. A new one's secret is on the answer to
    its form and nowhere else."""
    site = _site(request, slug)
    require(request.user, "people.change", site.pk)
    rows = queries.endpoints_of(request.user).filter(site=site)
    changing = get_object_or_404(rows, pk=as_key(request.GET["change"])) if "change" in request.GET else None
    start = {"url": changing.url, "kinds": changing.kinds} if changing else None
    form, made = WebhookForm(request.POST or None, initial=start), []
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid() and _done(form, lambda: made.append(_kept(request, site, form, changing))):
            if changing:
                messages.success(request, "Changed. What is owed is tried there at once.")
                return redirect("webhooks", slug=site.slug)
            form, status = WebhookForm(), 201
    context = {"site": site, "form": form, "made": made[0] if made else None, "rows": rows, "changing": changing}
    return _unstored(render(request, "alerts/webhooks.html", context, status=status))


def _kept(request: HttpRequest, site: Site, form: WebhookForm, changing: WebhookEndpoint | None) -> WebhookEndpoint:
    given = {"url": form.cleaned_data["url"], "kinds": form.cleaned_data["kinds"]}
    who = {"actor": request.user, "now": timezone.now()}
    if changing is None or changing.url != given["url"]:
        webhook_actions.check_address(url=given["url"], site_id=site.pk, actor=request.user)
    if changing is None:
        return webhook_actions.make_endpoint(site_id=site.pk, **given, **who)
    return webhook_actions.change_endpoint(endpoint_id=changing.pk, **given, **who)


@login_required
@require_POST
def webhook_deed(request: HttpRequest, endpoint_id: int) -> HttpResponse:
    """Switch a receiver on or off, or post again what was given up."""
    deed, now = request.POST.get("deed", ""), timezone.now()
    if deed == "again":
        count = webhook_actions.post_again(endpoint_id=endpoint_id, actor=request.user, now=now)
        words = "1 message is" if count == 1 else f"{grouped(count)} messages are"
        messages.success(request, f"{words} tried again.")
    elif deed in ("on", "off"):
        webhook_actions.change_endpoint(endpoint_id=endpoint_id, actor=request.user, now=now, is_on=deed == "on")
    endpoint = queries.endpoints_of(request.user).get(pk=endpoint_id)
    return redirect("webhooks", slug=endpoint.site.slug)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def alert_settings(request: HttpRequest) -> HttpResponse:
    """Quiet hours, digest and calendar links of the person who looks."""
    form = SettingsForm(initial=setting_actions.shown(queries.settings_of(request.user)))
    new_link = ""
    if request.method == "POST" and "make_link" in request.POST:
        _, token = setting_actions.make_calendar_link(actor=request.user, now=timezone.now())
        new_link = request.build_absolute_uri(reverse("calendar", args=[token]))
    elif request.method == "POST":
        form = SettingsForm(request.POST)
        deed = {"actor": request.user, "now": timezone.now()}
        if form.is_valid() and _done(form, lambda: setting_actions.set_settings(**deed, **form.cleaned_data)):
            messages.success(request, "Saved.")
            return redirect("alert-settings")
    context = {
        "form": form,
        "calendar_links": queries.links_of(request.user),
        "new_link": new_link,
        "clock": setting_actions.clock_of(request.user),
        "sites": sites_of(request.user),
    }
    return _unstored(render(request, "alerts/settings.html", context, status=422 if form.errors else 200))


@login_required
@require_POST
def calendar_link_revoked(request: HttpRequest, link_id: int) -> HttpResponse:
    setting_actions.revoke_calendar_link(actor=request.user, now=timezone.now(), link_id=link_id)
    messages.success(request, "The link leads nowhere now.")
    return redirect("alert-settings")


@require_safe
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    """The feed behind a private link; 304 while the reader has it already."""
    person = calendar.person_of(token)
    if person is None:
        raise Http404
    body = calendar.feed(person, now=timezone.now())
    etag = f'"{hashlib.sha256(body).hexdigest()}"'
    response = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    response["ETag"] = etag
    answer = get_conditional_response(request, etag=etag, response=response) or response
    answer["Cache-Control"] = "private, no-cache"
    answer["Referrer-Policy"] = "no-referrer"
    answer["X-Robots-Tag"] = "noindex"
    return answer


def _site(request: HttpRequest, slug: str) -> Site:
    return get_object_or_404(sites_of(request.user), slug=slug)


def _done(form: forms.Form, deed: Any) -> bool:
    """Whether the deed was done; a refusal goes beside its field and what was typed stays."""
    try:
        deed()
    except Refused as refused:
        beside(form, refused)
        return False
    return True


def _unstored(answer: HttpResponse) -> HttpResponse:
    """A page that may show a secret is kept by nobody."""
    answer["Cache-Control"] = "no-store"
    return answer


urlpatterns = [
    path("sites/<slug:slug>/alert-rules/", alert_rules, name="alert-rules"),
    path("sites/<slug:slug>/webhooks/", webhooks, name="webhooks"),
    path("webhooks/<int:endpoint_id>/", webhook_deed, name="webhook-deed"),
    path("alerts/settings/", alert_settings, name="alert-settings"),
    path("alerts/settings/links/<int:link_id>/revoke/", calendar_link_revoked, name="calendar-link-revoked"),
    path("calendar/<str:token>.ics", calendar_feed, name="calendar"),
]
