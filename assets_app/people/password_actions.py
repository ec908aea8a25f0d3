"""A password is set by a link, or changed by who knows the one before. Nobody but the person ever knows it.

Either ends the sessions and the tokens of devices from before. The record says that it happened and holds no password;
the person is told by mail.
"""

from __future__ import annotations

from datetime import datetime

from axes.utils import reset
from django.contrib.auth import authenticate
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest
from knox.models import AuthToken

from assets_app.people import mail, mail_actions, sign_in_links
from assets_app.people.actions import locked_person
from assets_app.people.models import Person
from assets_app.people.queries import site_ids_of
from assets_app.record import actions as record
from assets_app.refusals import Conflict, Unprocessable

NOT_YOU = "If that was not you, ask another manager at once for a new link, or to shut your account."


def set_password(*, person_id: int, token: str, password: str, now: datetime) -> Person:
    """Set the password by a link, which ends with it, as do the sessions and the tokens of devices from before.

    Who held the link is not known, so the record and the mail say who made it and that it was used.

    Refusals: ``link_over``, ``weak_password``.
    """
    with transaction.atomic():
        person = Person.objects.select_for_update(no_key=True).filter(pk=person_id).first()
        if person is None or not sign_in_links.leads(person, token):
            raise sign_in_links.link_over()
        _check_strength(password, person)
        _put(person, password)
        content = {"person": person.display_name, "link_made_by": person.link_made_by}
        for site_id in site_ids_of(person):
            record.append(
                site_id=site_id, deed="person.password_set", actor=None, subject=person, content=content, now=now
            )
        made_by = f", which {person.link_made_by} made" if person.link_made_by else ""
        mail_actions.tell(
            person,
            "Your password was set by a link",
            f"Your password was set on {mail.moment(now)} by a link{made_by}.",
            "Everything that was signed in as you before has to sign in anew.",
            NOT_YOU,
            now=now,
        )
    return person


def change_password(
    *,
    current: str,
    password: str,
    actor: Person,
    now: datetime,
    request: HttpRequest,
    token: AuthToken | None = None,
) -> Person:
    """Change one's own password: every other session and token ends with it, and a link that is out.

    ``request``: wrong tries count as at sign-in, and too many lock. ``token``: the one that asks, which stays; a door
    with a session carries that over itself. Refusals: ``wrong_password``, ``same_password``, ``weak_password``.
    """
    known = authenticate(request, username=actor.username, password=current)  # not in the transaction: tries are kept
    if known is None or known.pk != actor.pk:
        message = "That is not your password now, or there were too many tries. Who forgot it asks a manager."
        raise Unprocessable("wrong_password", message, field="current")
    if password == current:
        raise Unprocessable("same_password", "That is the password you have. Choose another.", field="password")
    with transaction.atomic():
        person = locked_person(actor.pk)
        if person.password != known.password or not person.is_active:
            raise Conflict("password_changed", "The password was changed meanwhile. Sign in anew by that one.")
        _check_strength(password, person)
        _put(person, password, but=token)
        for site_id in site_ids_of(person):
            content = {"person": person.display_name}
            record.append(
                site_id=site_id, deed="person.password_changed", actor=actor, subject=person, content=content, now=now
            )
        mail_actions.tell(
            person,
            "Your password was changed",
            f"Your password was changed on {mail.moment(now)}, by who knew the one before.",
            "Everything else that was signed in as you has to sign in anew.",
            NOT_YOU,
            now=now,
        )
    return person


def _check_strength(password: str, person: Person) -> None:
    try:
        validate_password(password, person)
    except ValidationError as weak:
        raise Unprocessable("weak_password", " ".join(weak.messages), field="password") from None


def _put(person: Person, password: str, *, but: AuthToken | None = None) -> None:
    """Sessions end by the password, for each holds a hash over it; tokens, but the one named, are taken away."""
    person.set_password(password)
    person.link_made_at = None
    person.save(update_fields=["password", "link_made_at"])
    tokens = AuthToken.objects.filter(user=person)
    (tokens if but is None else tokens.exclude(pk=but.pk)).delete()
    reset(username=person.username)  # wrong tries from before lock nobody out of the new password
