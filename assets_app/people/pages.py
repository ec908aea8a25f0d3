"""Who may do what at each site; a colleague's page: roles here, certificates and what they are worth today."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe

from assets_app.people import qualification_rules, queries, who_may
from assets_app.people.models import RoleName


@require_safe
@login_required
def people(request: HttpRequest) -> HttpResponse:
    """Who may do, verify, sign, hold, release and put off what, in one table a site."""
    context = {
        "sites": queries.who_may_at(request.user, timezone.now()),
        "columns": list(who_may.COLUMNS),
        "no_role": who_may.NO_ROLE,
        "deeds": who_may.of_roles(RoleName.values),
    }
    return render(request, "people/people.html", context)


@require_safe
@login_required
def person(request: HttpRequest, person_id: int) -> HttpResponse:
    who = queries.colleague(request.user, person_id)
    shared = set(queries.sites_of(request.user).values_list("pk", flat=True))
    roles = [role for role in who.roles.all() if role.site_id in shared]
    today = queries.day_at(roles[0].site, timezone.now())
    rows = [
        {
            "certificate": one,
            "state": qualification_rules.state(one, today),
            "continuity_ends": qualification_rules.continuity_ends(one) if one.kind == "welder" else None,
        }
        for one in who.qualifications.all()
    ]
    return render(request, "people/person.html", {"who": who, "roles": roles, "rows": rows})


urlpatterns = [
    path("people/", people, name="people"),
    path("people/<int:person_id>/", person, name="person"),
]
