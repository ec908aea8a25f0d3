"""The link by which a person sets a password: for three days, once, until a newer one, a sign-in or another address.

Nothing of it is stored but the moment at which it was made: the link carries a signature over that, the password, the
last sign-in and the address, so that each change of these ends it.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.urls import reverse

from assets_app.people import mail
from assets_app.people.models import Person
from assets_app.refusals import NotFound


class _Signature(PasswordResetTokenGenerator):
    key_salt = "assets_app.people.sign_in_links"

    def _make_hash_value(self, user: Person, timestamp: int) -> str:  # type: ignore[override]
        made = user.link_made_at.timestamp() if user.link_made_at else ""
        return f"{super()._make_hash_value(user, timestamp)}{made}"


_signature = _Signature()


@dataclass
class NewLink:
    """A link as it is told once, to who made it; ``mail`` says what became of its email."""

    person: Person
    address: str
    mail: str = mail.NO_ADDRESS


def new_link(person: Person) -> NewLink:
    """The link of a person whose ``link_made_at`` was just set."""
    path = reverse("set-password", args=[person.pk, token_of(person)])
    return NewLink(person, settings.BASE_URL.rstrip("/") + path)


def token_of(person: Person) -> str:
    return _signature.make_token(person)


def leads(person: Person, token: str) -> bool:
    """Whether the link still leads anywhere."""
    return person.is_active and person.link_made_at is not None and _signature.check_token(person, token)


def person_of(person_id: int, token: str) -> Person:
    """Whose password the link sets; ``NotFound`` (``link_over``) says the same of a used one as of an invented one."""
    person = Person.objects.filter(pk=person_id).first()
    if person is None or not leads(person, token):
        raise link_over()
    return person


def link_over() -> NotFound:
    return NotFound(
        "link_over",
        f"This link leads nowhere. One works once, for {valid_days()} days, and until a newer one is made. "
        "A manager of your site can make you a new one.",
    )


def valid_days() -> int:
    """Three, which is Django's own value of the setting."""
    return settings.PASSWORD_RESET_TIMEOUT // 86_400


def send(link: NewLink, by: Person) -> None:
    """Mail it to the person, outside any transaction; where that fails, the link is still there to be handed over."""
    link.mail = mail.post(
        link.person,
        "Set your password",
        (
            f"{by.display_name} has made this link for you. Set your password by it:",
            f"  {link.address}",
            f"You sign in as {link.person.username}. The link works once, for {valid_days()} days, and until a newer "
            f"one is made. Nobody else may have it. If you did not expect it, do not use it and ask {by.display_name}.",
        ),
    )
