"""Roles and qualifications: given, taken, confirmed. Nobody gives them to themselves.

A role belongs to a site. A certificate belongs to a person and counts at every site where the person has a role: a
manager of any one of them may put it on file, confirm its use or end it, and the record of each says so.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import Q

from assets_app import events
from assets_app.inspections.models import Method
from assets_app.people import mail, mail_actions, rules
from assets_app.people.models import Person, Qualification, Role, RoleName
from assets_app.people.qualification_rules import POSITIONS, needs_ndt, positions_of, unknown_positions, welder_valid
from assets_app.people.queries import (
    day_at,
    ended_early,
    require,
    require_address,
    require_welder,
    roles_at,
    same_certificate,
    site_ids_of,
)
from assets_app.record import actions as record
from assets_app.record.queries import came_first
from assets_app.refusals import NotAllowed, NotFound, Unprocessable
from assets_app.register.models import Site

Actor = TypeVar("Actor", Person, None)


def grant_role(
    *, site_id: int, person_id: int, name: str, release_authority: bool = False, actor: Person, now: datetime
) -> Role:
    """Give a person a role at the site, or change whether they may lift holds there."""
    require(actor, "people.change", site_id)
    if name not in RoleName.values:
        raise Unprocessable("unknown_role", f"There is no role {name!r}.", field="name")
    with transaction.atomic():
        person = locked_person(person_id)
        _never_oneself(actor, person, "a role")
        is_new_here = not Role.objects.filter(person=person, site_id=site_id).exists()
        role, _ = Role.objects.update_or_create(
            person=person, site_id=site_id, name=name, defaults={"release_authority": release_authority}
        )
        _end_link(person)
        content = {"person": person.display_name, "role": name, "release_authority": release_authority}
        record.append(site_id=site_id, deed="role.granted", actor=actor, subject=person, content=content, now=now)
        if is_new_here:
            _record_what_is_held(site_id, person, actor, now)
    return role


def take_role(*, site_id: int, person_id: int, name: str, actor: Person, now: datetime) -> list[int]:
    """Take a role at the site from a person; the numbers of their orders that nobody has now."""
    require(actor, "people.change", site_id)
    with transaction.atomic():
        person, actor = locked_with_managers(person_id, actor)
        require(actor, "people.change", site_id)
        _never_oneself(actor, person, "a role")
        gone, _ = Role.objects.filter(person=person, site_id=site_id, name=name).delete()
        if not gone:
            raise NotFound("not_found", f"{person.display_name} is not {name} here.")
        _end_link(person)
        taken = {"person": person, "site_id": site_id, "role": name}
        told = events.role_taken.send(sender=__name__, **taken, actor=actor, now=now)
        content = {"person": person.display_name, "role": name}
        record.append(site_id=site_id, deed="role.taken", actor=actor, subject=person, content=content, now=now)
    return [number for _, numbers in told for number in numbers]


def correct_email(*, person_id: int, email: str, actor: Person, now: datetime) -> Person:
    """Correct where emails reach a person; each site's record says who did and when, not the address itself; mail to
    the one from before says so too."""
    email = email.strip()
    with transaction.atomic():
        person = locked_person(person_id)
        site_ids = require_address(actor, person)
        check_email(email)
        if email == person.email:
            raise Unprocessable("same_address", "That address is on file already.", field="email")
        before, person.email = person.email, email
        person.save(update_fields=["email"])
        _end_link(person)
        content = {"person": person.display_name}
        for site_id in site_ids:
            record.append(
                site_id=site_id, deed="person.email_corrected", actor=actor, subject=person, content=content, now=now
            )
        mail_actions.tell(
            person,
            "Your email address was changed",
            f"{actor.display_name} changed the address at which mail reaches you, on {mail.moment(now)}. Mail goes to "
            "the new one from now on, links to your password too.",
            f"If that is wrong, ask {actor.display_name} or another manager of your site at once.",
            to=before,
            now=now,
        )
    return person


def add_qualification(
    *,
    site_id: int,
    person_id: int,
    kind: str,
    issued_on: date,
    expires_on: date,
    actor: Person,
    now: datetime,
    method: str = "",
    level: int | None = None,
    process: str = "",
    welding_position: str = "",
    certificate: str = "",
) -> Qualification:
    """Put a certificate on file for somebody who has a role at the site; it counts at each site of that person.

    The same certificate twice is refused (``certificate_on_file``).
    """
    require(actor, "people.change", site_id)
    _check_certificate(kind, method, level, process, issued_on, expires_on)
    check_positions(welding_position, field="welding_position")
    with transaction.atomic():
        person = locked_person(person_id)
        _never_oneself(actor, person, "a qualification")
        _works_here(person, site_id)
        row = Qualification(
            person=person,
            kind=kind,
            method=method,
            level=level,
            process=process,
            welding_position=" ".join(positions_of(welding_position)),
            certificate=certificate,
            issued_on=issued_on,
            expires_on=expires_on,
        )
        _not_on_file(row)
        row.save()
        _record_everywhere(site_id, "qualification.added", actor, row, now)
    return row


def withdraw_qualification(
    *, site_id: int, qualification_id: int, ends_on: date, reason: str, actor: Person, now: datetime
) -> Qualification:
    """End a certificate early, at every site of the person; it stays on file with its new last day."""
    require(actor, "people.change", site_id)
    if not reason.strip():
        raise Unprocessable("reason_needed", "Say why the certificate ends.", field="reason")
    with transaction.atomic():
        row = _locked_qualification(qualification_id, site_id)
        _never_oneself(actor, row.person, "a qualification")
        if not row.issued_on <= ends_on < row.expires_on:
            raise Unprocessable("end_out_of_range", "The last day must lie inside the certificate.", field="ends_on")
        row.expires_on = ends_on
        row.save(update_fields=["expires_on"])
        _record_everywhere(site_id, "qualification.withdrawn", actor, row, now, reason=reason.strip())
    return row


def confirm_continuity(
    *, site_id: int, qualification_id: int, used_on: date, actor: Person, now: datetime
) -> Qualification:
    """Confirm that a welder has used the process; six months count from that day."""
    require(actor, "people.change", site_id)
    with transaction.atomic():
        row = _locked_qualification(qualification_id, site_id)
        _never_oneself(actor, row.person, "a qualification")
        if row.kind != Qualification.Kind.WELDER:
            raise Unprocessable("not_a_welder", "Continuity is a welder's.", field="qualification_id")
        if used_on > day_at(Site.objects.get(pk=site_id), now) or used_on < row.issued_on:
            raise Unprocessable("day_out_of_range", "That day lies ahead, or before the certificate.", field="used_on")
        if row.last_used_on and used_on <= row.last_used_on:
            said = f"Use is confirmed up to {row.last_used_on:%-d %b %Y} already; only a later day adds to it."
            raise came_first("already_confirmed", said, Qualification, row.pk, deed="qualification.continued")
        row.last_used_on = used_on
        row.save(update_fields=["last_used_on"])
        _record_everywhere(site_id, "qualification.continued", actor, row, now)
    return row


def lock_weld_certificates(
    *, site_id: int, welder: Person, process: str, position: str, on: date
) -> list[Qualification]:
    """The welder's certificates that cover a weld on the day, locked in the caller's transaction.

    An empty process or position is not known and not compared. Refusals: ``welder_not_qualified``.
    """
    list(Qualification.objects.select_for_update().filter(person=welder).order_by("pk"))
    require_welder(welder, site_id, on, process=process, position=position)
    return [
        row
        for row in welder.qualifications.all()
        if welder_valid(row, on, process=process or row.process, position=position)
    ]


def count_weld(
    *, site_id: int, covering: list[Qualification], on: date, why: str, actor: Person, now: datetime
) -> None:
    """A weld done on the day is the welder's work for continuity; ``covering`` are the locked certificates.

    For the deed that records the weld, in its transaction: that deed is the evidence, so no manager confirms it.
    """
    for row in covering:
        if row.last_used_on is None or row.last_used_on < on:
            row.last_used_on = on
            row.save(update_fields=["last_used_on"])
            _record(site_id, "qualification.continued", actor, row, now, why=why)


def check_positions(printed: str, *, field: str) -> None:
    """Refuse (``unknown_position``) what is no welding position, naming it."""
    if unknown := unknown_positions(printed):
        raise Unprocessable(
            "unknown_position",
            f"{' and '.join(unknown)} is no welding position of ISO 6947. "
            f"Write each one printed on the certificate, with spaces between: {' '.join(POSITIONS)}.",
            field=field,
        )


def check_email(email: str) -> None:
    """Refuse (``not_an_address``) what is no email address."""
    try:
        validate_email(email)
    except ValidationError:
        raise Unprocessable(
            "not_an_address", "That is no email address, such as kez@pier.example.", field="email"
        ) from None
    if len(email) > 254:
        raise Unprocessable("not_an_address", "An email address has 254 characters at most.", field="email")


def _check_certificate(
    kind: str, method: str, level: int | None, process: str, issued_on: date, expires_on: date
) -> None:
    if kind not in Qualification.Kind.values:
        raise Unprocessable("unknown_kind", f"There is no qualification {kind!r}.", field="kind")
    if expires_on <= issued_on:
        raise Unprocessable("ends_before_it_begins", "The last day must come after the first.", field="expires_on")
    if kind == Qualification.Kind.NDT and not method:
        raise Unprocessable("method_needed", "Say which method, e.g. MT.", field="method")
    if kind == Qualification.Kind.NDT and not (method in Method.values and needs_ndt(method)):
        known = " ".join(name for name in Method.values if needs_ndt(name))
        raise Unprocessable(
            "unknown_method", f"{method!r} is no NDT method here. Write one of {known}.", field="method"
        )
    if kind == Qualification.Kind.NDT and level not in (1, 2, 3):
        raise Unprocessable("level_needed", "The level is 1, 2 or 3.", field="level")
    if kind == Qualification.Kind.WELDER and not process:
        raise Unprocessable("process_needed", "Say which process, by its number in ISO 4063.", field="process")


def locked_person(person_id: int) -> Person:
    """Locked against other changes, not against being named: who finishes an order holds it and names themselves in the
    record, while a role taken from them waits here for their orders."""
    try:
        return Person.objects.select_for_update(no_key=True).get(pk=person_id)
    except Person.DoesNotExist:
        raise NotFound("not_found", "There is nobody here that you can see.") from None


def locked_with_managers(person_id: int, actor: Actor) -> tuple[Person, Actor]:
    """The person and the actor as they are now, locked in order with every manager of the person's sites: of two
    managers who shut each other, or take each other's role, one comes first and the other's right is looked at anew."""
    roles = Role.objects.filter(person_id=person_id).values("site_id")
    managers = Role.objects.filter(site_id__in=roles, name=RoleName.MANAGER).values("person_id")
    either = Person.objects.filter(Q(pk=person_id) | Q(pk__in=managers))
    rows = {row.pk: row for row in either.select_for_update(no_key=True).order_by("pk")}
    if actor is not None:
        actor = rows.get(actor.pk, actor)
    return rows.get(person_id) or locked_person(person_id), actor


def _end_link(person: Person) -> None:
    """A link to set a password that is out was made for the rights and the address that were; it leads nowhere then."""
    if person.link_made_at is not None:
        person.link_made_at = None
        person.save(update_fields=["link_made_at"])
        person.mails_owed.exclude(link_made_at=None).delete()


def _locked_qualification(qualification_id: int, site_id: int) -> Qualification:
    try:
        row = Qualification.objects.select_for_update().select_related("person").get(pk=qualification_id)
    except Qualification.DoesNotExist:
        raise NotFound("not_found", "There is no such certificate.") from None
    _works_here(row.person, site_id)
    return row


def _never_oneself(actor: Person, person: Person, what: str) -> None:
    if actor.pk == person.pk:
        raise NotAllowed("not_for_oneself", f"Nobody gives or changes {what} of their own. Another manager could.")


def _works_here(person: Person, site_id: int) -> None:
    if not roles_at(person, site_id):
        raise NotFound("not_found", "There is nobody here that you can see.")


def _not_on_file(new: Qualification) -> None:
    """Refuse a certificate that is on file; one that was ended early may be put on file again, as it should be."""
    held = next((row for row in same_certificate(new) if not ended_early(row)), None)
    if held is None:
        return
    said = (
        f"This certificate of {new.person.display_name} is on file already, until {held.expires_on:%-d %b %Y}. "
        "A renewed one has another number or first day; end a wrong one early, with the reason, and put the right one "
        "on file."
    )
    given = {"field": "certificate", "qualification": held.pk}
    raise came_first("certificate_on_file", said, Qualification, held.pk, deed="qualification.added", **given)


def _record_what_is_held(site_id: int, person: Person, actor: Person, now: datetime) -> None:
    """What somebody brings to a new site, into its record, without a word of where it was put on file."""
    today = day_at(Site.objects.get(pk=site_id), now)
    for row in person.qualifications.filter(expires_on__gte=today).order_by("pk"):
        _record(site_id, "qualification.noted", actor, row, now)


def _record_everywhere(site_id: int, deed: str, actor: Person, row: Qualification, now: datetime, **more: Any) -> None:
    """In the record of every site where the person has a role; those that the actor does not keep are told that."""
    for each in site_ids_of(row.person):  # in order, so that two such deeds never wait for each other's chain
        keeps = each == site_id or rules.may("people.change", roles_at(actor, each))
        _record(each, deed, actor, row, now, **more, **({} if keeps else {"by_another_site": True}))


def _record(site_id: int, deed: str, actor: Person, row: Qualification, now: datetime, **more: Any) -> None:
    content = {
        "person": row.person.display_name,
        "kind": row.kind,
        "method": row.method,
        "level": row.level,
        "process": row.process,
        "welding_position": row.welding_position,
        "certificate": row.certificate,
        "issued_on": row.issued_on,
        "expires_on": row.expires_on,
        "last_used_on": row.last_used_on,
        **more,
    }
    record.append(site_id=site_id, deed=deed, actor=actor, subject=row, content=content, now=now)
