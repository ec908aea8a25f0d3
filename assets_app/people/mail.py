"""One mail to one person about their account. What is owed, and when it is tried again: ``mail_actions``."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from smtplib import SMTPException

from django.conf import settings
from django.core.mail import EmailMessage, get_connection

from assets_app.people.models import Person

OWED_FOR = timedelta(days=1)  # then it is given up
TIMEOUT_S = 10  # somebody waits for the page meanwhile
TROUBLE = (OSError, SMTPException)
TO_A_LOG = "django.core.mail.backends.console.EmailBackend"  # what it "sends" stands in the log of the service
TO_A_FOLDER = "django.core.mail.backends.filebased.EmailBackend"  # of the machine that the service runs on
TO_NOBODY = "django.core.mail.backends.dummy.EmailBackend"
NO_ADDRESS, SENT, NOT_SENT, LINK_ENDED = "no address", "sent", "not sent", "link ended"
_log = logging.getLogger(__name__)


def is_set_up() -> bool:
    """Whether mail leaves this machine."""
    return settings.EMAIL_BACKEND not in (TO_A_LOG, TO_A_FOLDER, TO_NOBODY)


def post(person: Person, subject: str, lines: Iterable[str], *, to: str) -> str:
    """Mail it outside any transaction; what became of it. Nothing of it goes into a log."""
    if settings.EMAIL_BACKEND == TO_A_LOG:
        return NOT_SENT
    body = "\n\n".join([f"{person.display_name},", *lines]) + "\n"
    try:
        EmailMessage(subject=subject, body=body, to=[to], connection=get_connection(timeout=TIMEOUT_S)).send()
    except TROUBLE as error:
        _log.warning("email about an account not sent: person %s, %s", person.pk, type(error).__name__)
        return NOT_SENT
    return SENT if is_set_up() else NOT_SENT


def moment(at: datetime) -> str:
    return f"{at.astimezone(UTC):%-d %b %Y at %H:%M} UTC"
