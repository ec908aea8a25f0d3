"""The page of my alerts, and of what could not be delivered."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from assets_app.doors.keys import as_key
from assets_app.people.queries import colleagues_of
from engineering.figures import grouped
from schedules.alerts import actions, given_up_rules, queries, setting_pages

ROWS = 60


@login_required
@require_safe
def alerts(request: HttpRequest) -> HttpResponse:
    """What I was told, the newest first."""
    rows = queries.mine(request.user)
    before = as_key(request.GET.get("before", ""))
    if before is not None:
        rows = rows.filter(pk__lt=before)
    found = list(rows[: ROWS + 1])
    shown = found[:ROWS]
    context = {
        "alerts": shown,
        "lifted": queries.of_lifted_holds(shown),
        "unseen": queries.unseen_count(request.user),
        "any_given_up": queries.any_given_up(request.user),
        "next_url": f"?before={shown[-1].pk}" if len(found) > ROWS else "",
        "first_url": "?" if before is not None else "",
    }
    return render(request, "alerts/alerts.html", context)


@login_required
@require_safe
def not_delivered(request: HttpRequest) -> HttpResponse:
    """What could not be delivered, why, and what to do."""
    emails, posts = queries.given_up(request.user), queries.posts_given_up(request.user)
    context = {
        "emails": [(row, *given_up_rules.email(row.newest.last_error)) for row in emails],
        "posts": [(row, *given_up_rules.post(row.newest.last_error)) for row in posts],
        # Whoever left since has no page any more.
        "still_here": set(colleagues_of(request.user).values_list("pk", flat=True)),
    }
    return render(request, "alerts/not_delivered.html", context)


@login_required
@require_POST
def alerts_seen(request: HttpRequest) -> HttpResponse:
    """Mark one, or all, as seen."""
    chosen = [as_key(pk) or 0 for pk in request.POST.getlist("id")] or None
    actions.mark_seen(actor=request.user, now=timezone.now(), delivery_ids=chosen)
    return redirect("alerts")


@login_required
@require_POST
def alert_acknowledged(request: HttpRequest, delivery_id: int) -> HttpResponse:
    """Say that I see to it."""
    actions.acknowledge(actor=request.user, now=timezone.now(), delivery_id=delivery_id)
    return redirect("alerts")


@login_required
@require_POST
def alert_again(request: HttpRequest, delivery_id: int) -> HttpResponse:
    """Send once more what was given up."""
    count = actions.try_again(actor=request.user, now=timezone.now(), delivery_id=delivery_id)
    messages.success(request, f"{grouped(count)} alert{' goes' if count == 1 else 's go'} out again within the minute.")
    return redirect("alerts-not-delivered")


urlpatterns = [
    path("alerts/", alerts, name="alerts"),
    path("alerts/not-delivered/", not_delivered, name="alerts-not-delivered"),
    path("alerts/seen/", alerts_seen, name="alerts-seen"),
    path("alerts/<int:delivery_id>/again/", alert_again, name="alert-again"),
    path("alerts/<int:delivery_id>/acknowledge/", alert_acknowledged, name="alert-acknowledge"),
    *setting_pages.urlpatterns,
]
