"""Reads about people: roles at a site, sites in sight."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import Manager, QuerySet
from django.utils.datastructures import MultiValueDict

from assets_app.doors.keys import as_key
from assets_app.people import qualification_rules, rules, who_may
from assets_app.people.models import Person, Qualification, Role
from assets_app.record.models import RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from assets_app.register.models import Asset, Joint, Site
from assets_app.statements import Given, Statement

MOST_KEYS = 1000  # as many as a list that is sent may have

_SITES = Statement(
    lambda: Role.objects.filter(person_id=Given("person")).order_by("site_id").values_list("site_id").distinct()
)


def roles_at(person: Person, site_id: int) -> frozenset[str]:
    """Role names of ``person`` at the site; empty when signed out or inactive."""
    if not person.is_authenticated or not person.is_active:
        return frozenset()
    return frozenset(Role.objects.filter(person_id=person.pk, site_id=site_id).values_list("name", flat=True))


def sites_of(person: Person) -> QuerySet[Site]:
    """The sites at which ``person`` has any role."""
    if not person.is_authenticated:
        return Site.objects.none()
    return Site.objects.filter(pk__in=Role.objects.filter(person_id=person.pk).values("site_id"))


def site_ids_of(person: Person) -> list[int]:
    """Their keys, in order."""
    rows = _SITES.rows(person=person.pk) if person.is_authenticated else []
    return [pk for (pk,) in rows]


def require(person: Person, deed: str, site_id: int) -> frozenset[str]:
    """The roles of ``person`` at the site, after making sure that one of them may do ``deed``.

    Raises ``NotFound`` (``not_found``) when the person has no role there at all, so that another site's things do not
    show that they exist; ``NotAllowed`` (``role_lacks_right``) names who could.
    """
    roles = roles_at(person, site_id)
    if not roles:
        raise NotFound("not_found", "There is nothing here that you can see.")
    if not rules.may(deed, roles):
        raise NotAllowed(
            "role_lacks_right",
            f"As {', '.join(sorted(roles))} you cannot do this here. {rules.who_could(deed).capitalize()} could.",
            deed=deed,
            who_could=rules.who_could(deed),
        )
    return roles


class Named(NamedTuple):
    """A field of what is sent that names a thing, and so the site; ``site`` is the column of ``rows`` that holds it."""

    key: str
    rows: Manager[Any] | QuerySet[Any]
    site: str


BY_SITE = Named("site", Site.objects, "pk")
BY_ASSET = Named("asset", Asset.objects, "site_id")
BY_JOINT = Named("joint", Joint.objects, "asset__site_id")


def require_first(person: Person, deed: str, sent: object, *named: Named) -> None:
    """``require`` before what was sent is looked at, at each site of the things that it names.

    What is out of sight is answered as if it were not there (``not_found``). Where nothing is named, whoever may do
    the deed nowhere is refused, and the form tells the others what is missing.
    """
    told = [(each, keys) for each in named if (keys := _keys(sent, each.key))]
    if not told:
        _require_somewhere(person, deed)
    for each, keys in told:
        site_ids = set(each.rows.filter(pk__in=keys).values_list(each.site, flat=True)) - {None}
        if not site_ids:
            raise NotFound("not_found", "There is nothing here that you can see.")
        for site_id in sorted(site_ids):
            require(person, deed, site_id)


def _keys(sent: object, key: str) -> set[int]:
    """The keys of the database that stand in one field, alone or in a list."""
    if not isinstance(sent, Mapping):
        return set()
    value = sent.getlist(key) if isinstance(sent, MultiValueDict) else sent.get(key)
    words = [str(each) for each in (value if isinstance(value, list) else [value])[:MOST_KEYS]]
    return {key for word in words if (key := as_key(word)) is not None}


def _require_somewhere(person: Person, deed: str) -> None:
    rows = Role.objects.filter(person_id=person.pk).order_by("site_id").values_list("site_id", "name")
    if not rules.may(deed, [name for _, name in rows]):
        require(person, deed, next((site_id for site_id, _ in rows), 0))


def require_address(actor: Person, person: Person) -> list[int]:
    """The sites of ``person``, after making sure that ``actor`` may correct the email address: one's own, or as manager
    of every site of the person, for alerts of all of them go there.

    Refusals: ``not_found``, ``role_lacks_right``, ``keeps_not_all_sites``.
    """
    own = site_ids_of(person) if actor.pk == person.pk else []
    return own or require_at_every_site(
        actor,
        person,
        "people.change",
        f"{person.display_name} is told by the same address of a site whose people you do not keep. "
        f"{person.display_name} could correct it, or a manager of all those sites.",
    )


def require_at_every_site(actor: Person, person: Person, deed: str, otherwise: str) -> list[int]:
    """``otherwise``: what is said to who may do the deed at some of the person's sites only."""
    site_ids = site_ids_of(person)
    shared = [site_id for site_id in site_ids if roles_at(actor, site_id)]
    if not shared:
        raise NotFound("not_found", "There is nobody here that you can see.")
    for site_id in shared:
        require(actor, deed, site_id)
    if len(shared) < len(site_ids):
        raise NotAllowed("keeps_not_all_sites", otherwise)
    return site_ids


def is_release_authority(person: Person, site_id: int) -> bool:
    """Whether ``person`` is a named authority who may lift a hold at the site."""
    return Role.objects.filter(person_id=person.pk, site_id=site_id, release_authority=True).exists()


def day_at(site: Site, now: datetime) -> date:
    """The day on the site's own clock."""
    return now.astimezone(ZoneInfo(site.time_zone)).date()


def qualified_for(method: str, site_id: int, on: date) -> list[Person]:
    """The people at the site who may record an inspection by ``method`` on the day, by name."""
    able = rules.MAY["inspection.record"] if qualification_rules.needs_ndt(method) else rules.MAY["bolt_check.record"]
    people = (
        Person.objects.filter(is_active=True, roles__site_id=site_id, roles__name__in=able)
        .distinct()
        .prefetch_related("qualifications")
        .order_by("last_name", "first_name", "username")
    )
    if not qualification_rules.needs_ndt(method):
        return list(people)
    return [
        who for who in people if any(qualification_rules.ndt_valid(one, method, on) for one in who.qualifications.all())
    ]


def require_qualified(person: Person, method: str, site_id: int, on: date) -> None:
    """Refuse (``not_qualified``) whoever may not sign ``method`` on the day, with the reason and who could."""
    if not qualification_rules.needs_ndt(method):
        return
    why = qualification_rules.why_not_ndt(person.qualifications.all(), method, on)
    if not why:
        return
    could = [who.display_name for who in qualified_for(method, site_id, on)]
    who_could = f"{' or '.join(could)} could." if could else "Nobody at this site could on that day."
    raise NotAllowed(
        "not_qualified",
        f"You cannot sign {method} for {on:%-d %b %Y}: {why}. {who_could}",
        field="method",
        who_could=could,
    )


def welders_for(site_id: int, on: date, *, process: str = "", position: str = "") -> list[Person]:
    """The people who work at the site and whose certificate covers the weld on the day, by name."""
    people = (
        Person.objects.filter(is_active=True, roles__site_id=site_id, roles__name__in=rules.MAY["order.work"])
        .distinct()
        .prefetch_related("qualifications")
        .order_by("last_name", "first_name", "username")
    )
    return [
        who
        for who in people
        if not qualification_rules.why_not_welder(who.qualifications.all(), on, process=process, position=position)
    ]


def require_welder(welder: Person, site_id: int, on: date, *, process: str = "", position: str = "") -> None:
    """Refuse (``welder_not_qualified``) a welder whose certificate does not cover the weld; says why and who could."""
    why = qualification_rules.why_not_welder(welder.qualifications.all(), on, process=process, position=position)
    if welder.is_active and rules.may("order.work", roles_at(welder, site_id)) and not why:
        return
    could = [who.display_name for who in welders_for(site_id, on, process=process, position=position)]
    who_could = f"{' or '.join(could)} could." if could else "Nobody at this site could on that day."
    raise Unprocessable(
        "welder_not_qualified",
        f"{welder.display_name} cannot answer for this weld on {on:%-d %b %Y}: "
        f"{why or 'does no work at this site'}. {who_could}",
        field="welder_id",
        who_could=could,
    )


def require_signature(person: Person, deed: str, site_id: int, now: datetime) -> frozenset[str]:
    """``require``, and where only the engineer's role lets the person do it, a certificate that runs on the day.

    Refuses (``engineer_not_certified``) with the reason and who could; who may do it by another role too is not asked.
    """
    roles = require(person, deed, site_id)
    why = why_not_signed(person, deed, roles, day_at(Site.objects.get(pk=site_id), now))
    if why:
        could = who_could_sign(deed, site_id, now)
        who_could = f"{' or '.join(could)} could." if could else "Nobody at this site could today."
        message = f"You cannot sign this as an engineer: {why}. {who_could}"
        raise NotAllowed("engineer_not_certified", message, deed=deed, who_could=could)
    return roles


def why_not_signed(person: Person, deed: str, roles: frozenset[str], on: date) -> str:
    """Why a certificate keeps the person from ``deed`` on the day; empty where none does."""
    if roles & (rules.MAY[deed] - {rules.ENGINEER}):
        return ""
    return qualification_rules.why_not_engineer(person.qualifications.all(), on)


def who_could_sign(deed: str, site_id: int, now: datetime) -> list[str]:
    """Names of the people at the site who may do ``deed`` today, certificates and release authority heeded."""
    on = day_at(Site.objects.get(pk=site_id), now)
    held: dict[Person, set[str]] = {}
    rows = Role.objects.filter(site_id=site_id, person__is_active=True).select_related("person")
    lifting = set(rows.filter(release_authority=True).values_list("person_id", flat=True))
    for role in rows.order_by("person__last_name", "person__first_name", "person__username"):
        held.setdefault(role.person, set()).add(role.name)
    return [
        who.display_name
        for who, names in held.items()
        if rules.may(deed, names)
        and not why_not_signed(who, deed, frozenset(names), on)
        and (deed != "hold.release" or who.pk in lifting)
    ]


def who_may_at(person: Person, now: datetime) -> list[dict[str, Any]]:
    """For each site of the person's: who may do what there today, by name. In three queries, however many people."""
    sites = list(sites_of(person).order_by("name", "pk"))
    roles = Role.objects.filter(site__in=sites, person__is_active=True).select_related("person")
    held: dict[int, dict[Person, list[Role]]] = {site.pk: {} for site in sites}
    by_name = roles.order_by("person__last_name", "person__first_name", "person__username", "name")
    for role in by_name.prefetch_related("person__qualifications"):
        held[role.site_id].setdefault(role.person, []).append(role)
    told = []
    for site in sites:
        on = day_at(site, now)
        rows = [
            {"who": who, "roles": [role.name for role in own], "cells": who_may.row(_holder(who, own), on)}
            for who, own in held[site.pk].items()
        ]
        told.append({"site": site, "on": on, "rows": rows})
    return told


def _holder(who: Person, roles: list[Role]) -> who_may.Holder:
    return who_may.Holder(
        roles=frozenset(role.name for role in roles),
        release_authority=any(role.release_authority for role in roles),
        certificates=list(who.qualifications.all()),
    )


def colleagues_of(person: Person) -> QuerySet[Person]:
    """Everybody with a role at a site where ``person`` has one."""
    return Person.objects.filter(roles__site__in=sites_of(person)).distinct().order_by("last_name", "first_name", "pk")


def colleague(viewer: Person, person_id: int) -> Person:
    """One of them, or ``NotFound``."""
    try:
        return colleagues_of(viewer).prefetch_related("roles__site", "qualifications").get(pk=person_id)
    except Person.DoesNotExist:
        raise NotFound("not_found", "There is nobody here that you can see.") from None


def person_by_name(keeper: Person, site_id: int, username: str) -> Person:
    """Somebody to be given a role at a site, by the name that they sign in by, whether or not they work here already.

    Only who keeps the people of the site is answered. Refusals: ``not_found``, ``role_lacks_right``,
    ``no_such_name``, ``account_shut``.
    """
    require(keeper, "people.change", site_id)
    found = Person.objects.filter(username=username.strip()).first()
    if found is not None and not found.is_active:
        message = (
            "This account is shut. A manager of all sites of that person opens it first, or whoever runs the service."
        )
        raise Conflict("account_shut", message, field="username")
    if found is None:
        message = f"Nobody signs in by the name {username.strip()}. Add the person first, with a first role."
        raise Unprocessable("no_such_name", message, field="username")
    return found


def same_certificate(new: Qualification) -> QuerySet[Qualification]:
    """Those on file for the same, by the same number and from the same first day."""
    what = ("kind", "method", "process", "certificate", "issued_on")
    return new.person.qualifications.filter(**{name: getattr(new, name) for name in what}).order_by("pk")


def ended_early(row: Qualification) -> bool:
    """Whether the record says that the certificate was ended before its day."""
    ended = RecordEntry.objects.filter(subject_kind="qualification", subject_id=row.pk, deed="qualification.withdrawn")
    return ended.exists()
