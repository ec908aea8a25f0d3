"""Accounts: a person is added, a link is made by which they set a password; an account is shut and opened again.

Nobody but the person ever knows the password. A manager who is shown a link could use it first: so the person is told
by mail that it was made, by whom, and again when it is used; the record says the same and holds no link.
"""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from knox.models import AuthToken

from assets_app import events
from assets_app.people import mail_actions, sign_in_links
from assets_app.people.account_queries import AT_THE_MACHINE, check_not_last_manager, require_account
from assets_app.people.actions import check_email, grant_role, locked_with_managers
from assets_app.people.models import Person, RoleName
from assets_app.people.queries import require
from assets_app.people.sign_in_links import NewLink, Way
from assets_app.record import actions as record
from assets_app.record.queries import came_first
from assets_app.refusals import Conflict, Unprocessable

LONGEST_NAME = 150


def add_person(
    *,
    site_id: int,
    first_name: str,
    username: str,
    role: str,
    actor: Person,
    now: datetime,
    last_name: str = "",
    email: str = "",
    hand_over: str = Way.MAIL,
) -> NewLink:
    """Add somebody with a first role at the site; the link by which they set their password is mailed or told here.

    Refusals: ``not_found``, ``role_lacks_right``, ``name_needed``, ``bad_sign_in_name``, ``name_taken``,
    ``not_an_address``, ``unknown_role``, and those of ``sign_in_links.check_way``.
    """
    require(actor, "account.change", site_id)
    first_name, last_name, email = first_name.strip(), last_name.strip(), email.strip()
    username = Person.normalize_username(username.strip())
    _check_names(first_name, last_name, username)
    if email:
        check_email(email)
    if role not in RoleName.values:
        raise Unprocessable("unknown_role", f"There is no role {role!r}.", field="role")
    sign_in_links.check_way(hand_over, email)
    with transaction.atomic():
        person = _new_person(username, first_name=first_name, last_name=last_name, email=email)
        content = {"person": person.display_name, "signs_in_as": person.username, "hand_over": hand_over}
        record.append(site_id=site_id, deed="person.added", actor=actor, subject=person, content=content, now=now)
        grant_role(site_id=site_id, person_id=person.pk, name=role, actor=actor, now=now)
        return _handed_over(person, hand_over, actor, now)


def make_link(*, person_id: int, actor: Person | None, now: datetime, hand_over: str = Way.MAIL) -> NewLink:
    """Make a link for somebody who forgot the password or never set one; one made before ends, the password does not.

    ``actor`` as for ``require_account``. Refusals: ``not_found``, ``role_lacks_right``, ``not_for_oneself``,
    ``keeps_not_all_sites``, ``account_shut``, and those of ``sign_in_links.check_way``.
    """
    with transaction.atomic():
        person, actor = locked_with_managers(person_id, actor)
        site_ids = require_account(actor, person)
        if not person.is_active:
            message = f"The account of {person.display_name} is shut: no link leads in. Open it first."
            raise Conflict("account_shut", message)
        sign_in_links.check_way(hand_over, person.email)
        _record(site_ids, person, actor, now, deed="person.link_made", hand_over=hand_over)
        return _handed_over(person, hand_over, actor, now)


def shut_account(*, person_id: int, reason: str, actor: Person | None, now: datetime) -> list[int]:
    """Nobody signs in by the account from now on: sessions, tokens and links end; the numbers of orders given back.

    Roles, signatures and the record stay as they are; the roles give no right. ``actor`` as for ``require_account``.
    Refusals: ``reason_needed``, ``not_found``, ``role_lacks_right``, ``not_for_oneself``, ``keeps_not_all_sites``,
    ``account_shut``, ``last_manager``.
    """
    reason = reason.strip()
    with transaction.atomic():
        person, actor = locked_with_managers(person_id, actor)
        site_ids = require_account(actor, person)
        if not reason:
            raise Unprocessable("reason_needed", "Say why the account is shut.", field="reason")
        if not person.is_active:
            said = f"The account of {person.display_name} is shut already."
            raise came_first("account_shut", said, Person, person.pk, deed="person.account_shut")
        check_not_last_manager(person, site_ids)
        person.is_active, person.shut_at, person.link_made_at = False, now, None
        person.save(update_fields=["is_active", "shut_at", "link_made_at"])
        AuthToken.objects.filter(user=person).delete()
        whose = {"person": person, "actor": actor, "now": now}
        told = events.account_shut.send(sender=__name__, site_ids=site_ids, **whose)
        _record(site_ids, **whose, deed="person.account_shut", reason=reason)
    return [number for _, numbers in told for number in numbers]


def open_account(*, person_id: int, actor: Person | None, now: datetime) -> Person:
    """The person signs in again, by the password from before, and the roles they still have count again.

    Sessions, tokens, links and orders from before do not come back. Refusals: as for ``shut_account``,
    ``account_open``.
    """
    with transaction.atomic():
        person, actor = locked_with_managers(person_id, actor)
        site_ids = require_account(actor, person)
        if person.is_active:
            said = f"The account of {person.display_name} is open."
            raise came_first("account_open", said, Person, person.pk, deed="person.account_opened")
        person.is_active = True
        person.save(update_fields=["is_active"])
        _record(site_ids, person, actor, now, deed="person.account_opened")
    return person


def _record(
    site_ids: list[int], person: Person, actor: Person | None, now: datetime, *, deed: str, **more: object
) -> None:
    """In the record of each of the sites; without an actor it is said that it was a command."""
    content = {"person": person.display_name, **more, **({} if actor else {"at_the_machine": True})}
    for site_id in site_ids:
        record.append(site_id=site_id, deed=deed, actor=actor, subject=person, content=content, now=now)


def _named(actor: Person | None) -> str:
    return actor.display_name[:160] if actor else AT_THE_MACHINE


def _handed_over(person: Person, way: str, actor: Person | None, now: datetime) -> NewLink:
    """A new link, made last of all: a change of roles would end it."""
    person.link_made_at, person.link_made_by = now, _named(actor)
    person.save(update_fields=["link_made_at", "link_made_by"])
    link = sign_in_links.new_link(person, way)
    mail_actions.tell_of_link(link, now=now)
    return link


def _check_names(first_name: str, last_name: str, username: str) -> None:
    for field, name in (("first_name", first_name), ("last_name", last_name)):
        if len(name) > LONGEST_NAME:
            raise Unprocessable("name_too_long", f"At most {LONGEST_NAME} characters.", field=field)
    if not first_name:
        raise Unprocessable("name_needed", "Say the person's name, as the record shall show it.", field="first_name")
    try:
        Person.username_validator(username)
    except ValidationError:
        username = ""
    if not username or len(username) > LONGEST_NAME:
        said = f"Letters, digits and @ . + - _ make a sign-in name, without a space, {LONGEST_NAME} at most."
        raise Unprocessable("bad_sign_in_name", said, field="username")


def _new_person(username: str, *, email: str, **facts: object) -> Person:
    taken = Conflict(
        "name_taken",
        f"Somebody signs in as {username} already. If it is the same person, give them the role; else choose another "
        "name.",
        field="username",
    )
    if Person.objects.filter(username__iexact=username).exists():
        raise taken
    try:
        with transaction.atomic():
            return Person.objects.create_user(username, email, password=None, **facts)
    except IntegrityError:
        raise taken from None
