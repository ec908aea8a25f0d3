"""The people of ``people`` as rows: sign-in, roles, certificates."""

from __future__ import annotations

from datetime import date, timedelta

from django.contrib.auth.hashers import make_password

from assets_app.people.models import Person, Qualification, Role
from assets_app.register.models import Site
from schedules.demo.people import (
    CERTIFICATE_YEARS,
    LAPSING,
    NAMES,
    NDT,
    PASSWORD,
    RELEASE_AUTHORITY,
    SIGN_INS,
    WELDER_YEARS,
)


def create(sites: dict[str, Site], *, today: date) -> dict[str, Person]:
    """The people with their roles and certificates; username -> person."""
    password = make_password(PASSWORD)  # once: hashing is slow on purpose
    for each in SIGN_INS:
        first, last = NAMES[each.username]
        Person.objects.create(
            username=each.username,
            first_name=first,
            last_name=last,
            email=f"{each.username}@larkmoor.example",
            password=password,
        )
    people = {person.username: person for person in Person.objects.filter(username__in=NAMES)}
    Role.objects.bulk_create(
        Role(
            person=people[each.username],
            site=sites[slug],
            name=role,
            release_authority=each.username in RELEASE_AUTHORITY,
        )
        for each in SIGN_INS
        for slug in each.sites
        for role in each.roles
    )
    Qualification.objects.bulk_create(_certificates(people, today))
    return people


def _certificates(people: dict[str, Person], today: date) -> list[Qualification]:
    """Two rounds of five years each, so that every look of the past was signed by a certificate of its day."""
    rows = []
    for username, methods in NDT.items():
        for place, method in enumerate(methods):
            ends = today + timedelta(days=420 + 97 * place)
            if (username, method) == LAPSING[:2]:
                ends = today + timedelta(days=LAPSING[2])
            for number in (2, 1):
                issued = ends - timedelta(days=365 * CERTIFICATE_YEARS)
                certificate = f"LK-{username.upper()}-{method}-{number}"
                rows.append(_ndt(people[username], method, certificate, issued, ends))
                ends = issued
    rows += _welders(people, today)
    rows.append(
        Qualification(
            person=people["maren"],
            kind=Qualification.Kind.ENGINEER,
            certificate="LK-MAREN-E",
            issued_on=today - timedelta(days=365 * 9),
            expires_on=today + timedelta(days=365 * 2),
        )
    )
    return rows


def _welders(people: dict[str, Person], today: date) -> list[Qualification]:
    """Two rounds of three years, so that every weld of the past was made under a certificate of its day."""
    rows = []
    newest = today - timedelta(days=400)
    for username in ("bram", "kez"):
        for process in ("111", "135", "141"):
            for number in (2, 1):
                issued = newest - timedelta(days=365 * WELDER_YEARS * (2 - number))
                ends = issued + timedelta(days=365 * WELDER_YEARS)
                rows.append(
                    Qualification(
                        person=people[username],
                        kind=Qualification.Kind.WELDER,
                        process=process,
                        welding_position="PA PB PF",
                        certificate=f"LK-{username.upper()}-{process}-{number}",
                        issued_on=issued,
                        expires_on=ends,
                        last_used_on=min(today - timedelta(days=40), ends),
                    )
                )
    return rows


def _ndt(person: Person, method: str, certificate: str, issued: date, ends: date) -> Qualification:
    return Qualification(
        person=person,
        kind=Qualification.Kind.NDT,
        method=method,
        level=2,
        certificate=certificate,
        issued_on=issued,
        expires_on=ends,
    )
