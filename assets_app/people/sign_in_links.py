"""The link by which a person sets a password: for three days, once, until a newer one, a sign-in, another
address or another role.

It goes to the person by mail and is seen by nobody else; or who made it is shown it once, and the person is told so by
mail. Nothing of it is stored but by whom it was made, and the moment: the link carries a signature over that, the
password, the last sign-in and the address, so that each change of these ends it. A role given or taken takes the
moment away: who was shown the link keeps the person at the sites that were, perhaps not at one that came to them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.db import models
from django.urls import reverse

from assets_app.people import mail
from assets_app.people.models import Person
from assets_app.refusals import NotFound, Unprocessable


class _Signature(PasswordResetTokenGenerator):
    key_salt = "assets_app.people.sign_in_links"

    def _make_hash_value(self, user: Person, timestamp: int) -> str:  # type: ignore[override]
        made = user.link_made_at.timestamp() if user.link_made_at else ""
        return f"{super()._make_hash_value(user, timestamp)}{made}"


_signature = _Signature()


class Way(models.TextChoices):
    """How a new link comes to its person."""

    MAIL = "mail", "mailed to the person alone"
    SHOW = "show", "shown to who makes it"


@dataclass
class NewLink:
    """A link just made; ``shown`` is it, told once, unless it goes by mail. ``mail``: what became of its email."""

    person: Person
    address: str
    way: str
    by: str
    mail: str = mail.NO_ADDRESS

    @property
    def shown(self) -> str | None:
        return self.address if self.way == Way.SHOW else None


def check_way(way: str, email: str) -> None:
    """Refuse a way by which the link would reach nobody: ``unknown_way``, ``mail_not_set_up``, ``no_address``."""
    if way not in Way.values:
        raise Unprocessable("unknown_way", f"There is no way {way!r}.", field="hand_over")
    if way == Way.MAIL and not mail.is_set_up():
        message = "No mail leaves this service. Have the link shown, and hand it over yourself."
        raise Unprocessable("mail_not_set_up", message, field="hand_over")
    if way == Way.MAIL and not email:
        message = "No email address is given, so the link cannot be mailed. Give one, or have the link shown."
        raise Unprocessable("no_address", message, field="hand_over")


def new_link(person: Person, way: str = Way.SHOW) -> NewLink:
    """The link of a person whose ``link_made_at`` and ``link_made_by`` were just set."""
    path = reverse("set-password", args=[person.pk, token_of(person)])
    return NewLink(person, settings.BASE_URL.rstrip("/") + path, way, person.link_made_by)


def token_of(person: Person) -> str:
    return _signature.make_token(person)


def leads(person: Person, token: str) -> bool:
    """Whether the link still leads anywhere."""
    return person.is_active and person.link_made_at is not None and _signature.check_token(person, token)


def is_out(person: Person, now: datetime) -> bool:
    """Whether a link that was made for the person may lead somewhere still. Its days count from the mailing, which may
    come late; when it was mailed is not kept, so that up to a day after its end this may be true."""
    at, signed_in = person.link_made_at, person.last_login
    if at is None or not person.is_active or (signed_in is not None and signed_in > at):
        return False
    return now <= at + timedelta(seconds=settings.PASSWORD_RESET_TIMEOUT) + mail.OWED_FOR


def person_of(person_id: int, token: str) -> Person:
    """Whose password the link sets; ``NotFound`` (``link_over``) says the same of a used one as of an invented one."""
    person = Person.objects.filter(pk=person_id).first()
    if person is None or not leads(person, token):
        raise link_over()
    return person


def link_over() -> NotFound:
    return NotFound(
        "link_over",
        f"This link leads nowhere. One works once, for {valid_days()} days, until a newer one is made or your roles "
        "change. "
        "A manager of your site can make you a new one.",
    )


def valid_days() -> int:
    """Three, which is Django's own value of the setting."""
    return settings.PASSWORD_RESET_TIMEOUT // 86_400


def in_words(link: NewLink) -> tuple[str, tuple[str, ...]]:
    """Subject and lines of the mail that brings it, or that tells that it was made and shown."""
    if link.way == Way.MAIL:
        return "Set your password", _to_be_used(link)
    return "A link to your password was made", _shown_to_another(link)


def _to_be_used(link: NewLink) -> tuple[str, ...]:
    return (
        f"{_first(link.by)} had this link made for you, and was not shown it. Set your password by it:",
        f"  {link.address}",
        f"You sign in as {link.person.username}. The link works once, for {valid_days()} days, until a newer one is "
        "made or your roles change. Nobody else may have it. "
        f"If you did not expect it, do not use it and ask {link.by}.",
    )


def _first(by: str) -> str:
    """As a sentence begins; it may be *whoever runs the service*."""
    return by[:1].upper() + by[1:]


def _shown_to_another(link: NewLink) -> tuple[str, ...]:
    return (
        f"{_first(link.by)} made a link by which your password can be set, and was shown it to hand it over to you.",
        f"It works once, for {valid_days()} days, and until a newer one is made. You are told here when it is used. "
        "Until then your password stays as it is.",
        f"If you did not ask for it, ask {link.by} why, and another manager of your site to make a newer one that is "
        "mailed to you: with that this one ends.",
    )
