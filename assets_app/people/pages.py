"""Who may do what at each site; a colleague's page: roles here, certificates and what they are worth today."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from assets_app.doors.beside import attempt
from assets_app.people import (
    account_actions,
    account_pages,
    account_queries,
    actions,
    mail_actions,
    qualification_rules,
    queries,
    rules,
    sign_in_links,
    who_may,
)
from assets_app.people.forms import (
    AddressForm,
    CertificateForm,
    EndForm,
    LinkForm,
    PersonForm,
    RoleForm,
    ShutForm,
    SiteRoleForm,
    UsedForm,
)
from assets_app.people.models import Person, Qualification, RoleName
from assets_app.refusals import NotAllowed, NotFound
from assets_app.register.models import Site


def _whose(request: HttpRequest) -> dict[str, Any]:
    return {"actor": request.user, "now": timezone.now()}


@require_safe
@login_required
def people(request: HttpRequest) -> HttpResponse:
    """Who may do, verify, sign, hold, release and put off what, in one table a site."""
    return _show_people(request)


def _show_people(
    request: HttpRequest, role_form: RoleForm | None = None, add_form: PersonForm | None = None, status: int = 200
) -> HttpResponse:
    """``role_form`` and ``add_form``: one that was refused."""
    managed = _managed(request.user)
    sites = queries.who_may_at(request.user, timezone.now())
    context = {
        "sites": sites,
        "may_import": any(
            rules.may("people.change", row["roles"])
            for one in sites
            for row in one["rows"]
            if row["who"] == request.user
        ),
        "columns": list(who_may.COLUMNS),
        "no_role": who_may.NO_ROLE,
        "deeds": who_may.of_roles(RoleName.values),
        "shut": account_queries.shut_of(request.user),
        "not_reached": account_queries.not_reached(request.user),
        "role_form": role_form or (RoleForm(sites=managed) if managed else None),
        "add_form": add_form or (PersonForm(sites=managed) if managed else None),
    }
    return render(request, "people/people.html", context, status=status)


@require_safe
@login_required
def person(request: HttpRequest, person_id: int) -> HttpResponse:
    who = queries.colleague(request.user, person_id)
    return _show(request, who, _blank(request.user, who))


@require_POST
@login_required
def email(request: HttpRequest, person_id: int) -> HttpResponse:
    """Correct where emails reach a colleague, or oneself."""
    who = queries.colleague(request.user, person_id)
    queries.require_address(request.user, who)
    form = AddressForm(request.POST)
    if attempt(form, lambda told: actions.correct_email(person_id=who.pk, **told, **_whose(request))):
        words = f"Corrected, and in the record. What was given up can be tried again. {_link_words(who)}"
        messages.success(request, words.strip())
        return redirect("person", who.pk)
    return _show(request, who, _blank(request.user, who), 422, address=form)


@require_POST
@login_required
def role_given(request: HttpRequest) -> HttpResponse:
    """Give somebody a role at a site, by the name that they sign in by."""
    queries.require_first(request.user, "people.change", {"site": request.POST.get("site_id")}, queries.BY_SITE)
    form, given = RoleForm(request.POST, sites=_managed(request.user)), []

    def give(told: dict[str, Any]) -> None:
        given.append(queries.person_by_name(request.user, told["site_id"], told.pop("username")))
        actions.grant_role(person_id=given[0].pk, **told, **_whose(request))

    if attempt(form, give):
        messages.success(request, f"Given, and in the record. It holds from now on. {_link_words(given[0])}".strip())
        return redirect("people")
    return _show_people(request, form, status=422)


@require_POST
@login_required
def person_added(request: HttpRequest) -> HttpResponse:
    """Add somebody who does not sign in yet; the answer shows the link for them, this once."""
    queries.require_first(request.user, "account.change", {"site": request.POST.get("site_id")}, queries.BY_SITE)
    form = PersonForm(request.POST, sites=_managed(request.user))
    made: list[sign_in_links.NewLink] = []
    if attempt(form, lambda told: made.append(account_actions.add_person(**told, **_whose(request)))):
        return account_pages.handed_over(request, made[0])
    return _show_people(request, add_form=form, status=422)


@require_POST
@login_required
def link_made(request: HttpRequest, person_id: int) -> HttpResponse:
    """Make a link for a colleague who forgot the password, or never set one."""
    who = queries.colleague(request.user, person_id)
    account_queries.require_account(request.user, who)
    form, made = LinkForm(request.POST, email=who.email), []
    if attempt(form, lambda told: made.append(account_actions.make_link(person_id=who.pk, **told, **_whose(request)))):
        return account_pages.handed_over(request, made[0])
    return _show(request, who, _blank(request.user, who), 422, link=form)


@require_POST
@login_required
def account_shut(request: HttpRequest, person_id: int) -> HttpResponse:
    """Nobody signs in by the account of a colleague from now on."""
    who = queries.colleague(request.user, person_id)
    account_queries.require_account(request.user, who)
    form, freed = ShutForm(request.POST), []

    def shut(told: dict[str, Any]) -> None:
        freed.extend(account_actions.shut_account(person_id=who.pk, **told, **_whose(request)))

    if attempt(form, shut):
        messages.success(request, f"Shut, and in the record. {_freed_words(freed, who)}".strip())
        return redirect("person", who.pk)
    return _show(request, who, _blank(request.user, who), 422, shut=form)


@require_POST
@login_required
def account_opened(request: HttpRequest, person_id: int) -> HttpResponse:
    who = queries.colleague(request.user, person_id)
    account_actions.open_account(person_id=who.pk, **_whose(request))
    messages.success(
        request, f"Open again, and in the record. {who.display_name} signs in by the password from before."
    )
    return redirect("person", who.pk)


@require_POST
@login_required
def mails_again(request: HttpRequest, person_id: int) -> HttpResponse:
    """Try at once the mails about an account that did not go out."""
    who = queries.colleague(request.user, person_id)
    sent, unsent = mail_actions.send_again(person_id=who.pk, **_whose(request))
    if unsent:
        messages.error(request, "The mail server takes none now either. It is tried again by itself.")
    else:
        words = "Sent." if sent else "Nothing was to be sent. Where a link is over, make a new one."
        messages.success(request, words)
    return redirect("person", who.pk)


@require_POST
@login_required
def role_taken(request: HttpRequest, person_id: int) -> HttpResponse:
    """Take a role from a colleague."""
    who = queries.colleague(request.user, person_id)
    sent = {"site": request.POST.get("site_id")}
    queries.require_first(request.user, "people.change", sent, queries.BY_SITE)
    form = SiteRoleForm(request.POST, sites=_managed(request.user))
    if not form.is_valid():
        raise NotFound("not_found", "There is no such role here.")
    freed = actions.take_role(person_id=who.pk, **form.cleaned_data, **_whose(request))
    words = f"{_freed_words(freed, who)} {_link_words(who)}"
    messages.success(request, " ".join(f"Taken, and in the record. It holds from now on. {words}".split()))
    is_here = queries.colleagues_of(request.user).filter(pk=who.pk).exists()
    return redirect("person", who.pk) if is_here else redirect("people")


def _freed_words(numbers: list[int], who: Person) -> str:
    """Which orders nobody has now; more than a few by their count."""
    if not numbers:
        return ""
    most = 10
    named = ", ".join(map(str, numbers[:most])) + (" and others" if len(numbers) > most else "")
    orders, go, them = ("order", "goes", "it") if len(numbers) == 1 else ("orders", "go", "them")
    could = rules.who_could("order.plan")
    return (
        f"{len(numbers)} {orders} of {who.display_name} {go} back to nobody ({named}): a {could} gives {them} out anew."
    )


@require_POST
@login_required
def certificate(request: HttpRequest, person_id: int) -> HttpResponse:
    """Put a certificate of a colleague on file."""
    who = queries.colleague(request.user, person_id)
    site_id = _site_of_right(request.user, who).pk
    form = CertificateForm(request.POST)
    added = {"site_id": site_id, "person_id": who.pk}
    if attempt(form, lambda told: actions.add_qualification(**added, **told, **_whose(request))):
        messages.success(request, "On file, and in the record.")
        return redirect("person", who.pk)
    return _show(request, who, form, status=422)


@require_POST
@login_required
def certificate_deed(request: HttpRequest, person_id: int, qualification_id: int, deed: str) -> HttpResponse:
    """Confirm that a welder used the process, or end a certificate early."""
    who = queries.colleague(request.user, person_id)
    shape, act = DEEDS[deed]
    meant = {"site_id": _site_of_right(request.user, who).pk, "qualification_id": qualification_id}
    form = shape(request.POST)
    if attempt(form, lambda told: act(**meant, **told, **_whose(request))):
        messages.success(request, "On file, and in the record.")
        return redirect("person", who.pk)
    return _show(request, who, _blank(request.user, who), 422, typed=(qualification_id, deed, form))


DEEDS = {
    "used": (UsedForm, actions.confirm_continuity),
    "end": (EndForm, actions.withdraw_qualification),
}


def _site_of_right(actor: Person, who: Person) -> Site:
    """One site of ``who`` as whose manager ``actor`` may change their certificates, which count at all of them.

    Refuses (``role_lacks_right``) who may at none.
    """
    sites = _sites(actor, who)
    if sites:
        return sites[0]
    role = next(role for role in who.roles.all() if queries.roles_at(actor, role.site_id))
    queries.require(actor, "people.change", role.site_id)
    return role.site  # one's own certificate: the deed says that nobody changes it


def _sites(actor: Person, who: Person) -> list[Site]:
    """The sites at which ``actor`` may put a certificate of ``who`` on file; none of one's own."""
    sites = {role.site for role in who.roles.all() if actor.pk != who.pk}
    able = [site for site in sites if rules.may("people.change", queries.roles_at(actor, site.pk))]
    return sorted(able, key=lambda site: site.name)


def _deeds(one: Qualification, today: date, typed: Any) -> list[Any]:
    """What can be done to a certificate that runs, with its form."""
    if not qualification_rules.runs(one, today):
        return []
    names = {"used": "Confirm use of the process", "end": "End it early"}
    if one.kind != "welder":
        del names["used"]
    told = []
    for name, words in names.items():
        refused = typed is not None and typed[:2] == (one.pk, name)
        fresh = DEEDS[name][0](auto_id=f"id_{name}_{one.pk}_%s")
        form = typed[2] if refused else fresh
        told.append({"address": f"person-certificate-{name}", "words": words, "form": form, "open": refused})
    return told


def _managed(actor: Person) -> list[tuple[int, str]]:
    """The sites whose people the actor keeps, by name."""
    sites = queries.sites_of(actor).order_by("name", "pk")
    return [(site.pk, site.name) for site in sites if rules.may("people.change", queries.roles_at(actor, site.pk))]


def _blank(actor: Person, who: Person) -> CertificateForm | None:
    return CertificateForm() if _sites(actor, who) else None


def _address(actor: Person, who: Person) -> AddressForm | None:
    """The form for the address, for whoever may correct it; nobody else sees the address."""
    try:
        queries.require_address(actor, who)
    except (NotAllowed, NotFound):
        return None
    return AddressForm(initial={"email": who.email})


def _why_no_account(actor: Person, who: Person) -> str:
    """Why the actor may not answer for the account, in words; empty where they may."""
    try:
        account_queries.require_account(actor, who)
    except (NotAllowed, NotFound) as refused:
        return refused.message
    return ""


def _link_words(before: Person) -> str:
    """``before``: as they were before their roles changed."""
    if not sign_in_links.is_out(before, timezone.now()):
        return ""
    return f"The link to a password that was out for {before.display_name} ended with that: make a new one."


def _show(
    request: HttpRequest,
    who: Person,
    form: CertificateForm | None,
    status: int = 200,
    typed: Any = None,
    address: AddressForm | None = None,
    shut: ShutForm | None = None,
    link: LinkForm | None = None,
) -> HttpResponse:
    """``typed``: certificate, deed and form of what was refused; ``address``, ``shut``, ``link``: a refused form."""
    shared = set(queries.sites_of(request.user).values_list("pk", flat=True))
    roles = [role for role in who.roles.all() if role.site_id in shared]
    today = queries.day_at(roles[0].site, timezone.now())
    keeps = bool(_sites(request.user, who))
    rows = [
        {
            "certificate": one,
            "state": qualification_rules.state(one, today),
            "continuity_ends": qualification_rules.continuity_ends(one) if one.kind == "welder" else None,
            "deeds": _deeds(one, today, typed) if keeps else [],
        }
        for one in who.qualifications.all()
    ]
    rows.sort(key=lambda row: row["state"] == "ran out")  # what counts today first
    context = {"who": who, "roles": roles, "rows": rows, "form": form}
    context["address"] = address or _address(request.user, who)
    managed = [] if request.user.pk == who.pk else _managed(request.user)
    context |= {"keeps_account": bool(managed), "why_no_account": _why_no_account(request.user, who)}
    context |= {"valid_days": sign_in_links.valid_days(), "shut_form": shut or ShutForm()}
    context["mails"] = list(who.mails_owed.filter(attempts__gt=0)) if managed else []
    context["link_is_out"] = sign_in_links.is_out(who, timezone.now())
    context["link_form"] = link or LinkForm(email=who.email)
    context["managed"] = {site_id for site_id, _ in managed}
    return render(request, "people/person.html", context, status=status)


urlpatterns = [
    path("people/", people, name="people"),
    path("people/<int:person_id>/", person, name="person"),
    path("people/add/", person_added, name="person-add"),
    path("people/<int:person_id>/link/", link_made, name="person-link"),
    path("people/<int:person_id>/mails/", mails_again, name="person-mails-again"),
    path("people/<int:person_id>/shut/", account_shut, name="person-shut"),
    path("people/<int:person_id>/open/", account_opened, name="person-open"),
    path("people/<int:person_id>/email/", email, name="person-email"),
    path("people/roles/", role_given, name="role-give"),
    path("people/<int:person_id>/roles/take/", role_taken, name="person-role-take"),
    path("people/<int:person_id>/certificates/", certificate, name="person-certificate"),
    *(
        path(
            f"people/<int:person_id>/certificates/<int:qualification_id>/{deed}/",
            certificate_deed,
            {"deed": deed},
            name=f"person-certificate-{deed}",
        )
        for deed in DEEDS
    ),
    *account_pages.urlpatterns,
]
