"""Who may do what at each site; a colleague's page: roles here, certificates and what they are worth today."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from assets_app.people import actions, qualification_rules, queries, rules, who_may
from assets_app.people.forms import CertificateForm
from assets_app.people.models import Person, RoleName
from assets_app.refusals import NotAllowed, NotFound, Refused
from assets_app.register.models import Site


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
    return _show(request, who, _blank(request.user, who))


@require_POST
@login_required
def certificate(request: HttpRequest, person_id: int) -> HttpResponse:
    """Put a certificate of a colleague on file."""
    who = queries.colleague(request.user, person_id)
    sites = _sites(request.user, who)
    if not sites:
        role = next(role for role in who.roles.all() if queries.roles_at(request.user, role.site_id))
        queries.require(request.user, "people.change", role.site_id)
    form = CertificateForm(request.POST, sites=sites)
    if form.is_valid():
        try:
            actions.add_qualification(person_id=who.pk, actor=request.user, now=timezone.now(), **form.cleaned_data)
        except (NotAllowed, NotFound):
            raise
        except Refused as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
        else:
            messages.success(request, "On file, and in the record.")
            return redirect("person", who.pk)
    return _show(request, who, form, status=422)


def _sites(actor: Person, who: Person) -> list[Site]:
    """The sites at which ``actor`` may put a certificate of ``who`` on file; none of one's own."""
    sites = {role.site for role in who.roles.all() if actor.pk != who.pk}
    able = [site for site in sites if rules.may("people.change", queries.roles_at(actor, site.pk))]
    return sorted(able, key=lambda site: site.name)


def _blank(actor: Person, who: Person) -> CertificateForm | None:
    sites = _sites(actor, who)
    return CertificateForm(sites=sites) if sites else None


def _show(request: HttpRequest, who: Person, form: CertificateForm | None, status: int = 200) -> HttpResponse:
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
    context = {"who": who, "roles": roles, "rows": rows, "form": form}
    return render(request, "people/person.html", context, status=status)


urlpatterns = [
    path("people/", people, name="people"),
    path("people/<int:person_id>/", person, name="person"),
    path("people/<int:person_id>/certificates/", certificate, name="person-certificate"),
]
