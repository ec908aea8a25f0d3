"""Mails about accounts: owed in the transaction of what they tell, tried at once when it stands, and then again.

A mail server that is down loses none for a day, nor does a worker that is killed: a try puts the next one off
before it begins. Killed between sending and writing it down, it comes twice. No row holds a link to a password: that is
made at the moment of sending, and one that ended meanwhile is not sent.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F

from assets_app.people import mail, sign_in_links
from assets_app.people.account_queries import require_account
from assets_app.people.models import AccountMail, Person
from assets_app.people.sign_in_links import NewLink, Way

FIRST_PAUSE, LONGEST_PAUSE = timedelta(minutes=1), timedelta(hours=1)
A_TRY_TAKES = timedelta(minutes=5)  # at the most: who began one and did not come back by then was killed
MOST_AT_ONCE = 200


def tell(person: Person, subject: str, *lines: str, now: datetime, to: str | None = None) -> None:
    """Owe the person a mail, in the caller's transaction."""
    address = person.email if to is None else to
    if address:
        _owe(AccountMail(person=person, to=address, subject=subject, lines=lines), now)


def tell_of_link(link: NewLink, *, now: datetime) -> None:
    """Owe the mail that brings a new link, or tells of it; those of older links are not owed any more. What becomes of
    the first try is put down in ``link``."""
    person = link.person
    AccountMail.objects.filter(person=person, link_made_at__isnull=False).delete()
    if not person.email:
        return
    subject, lines = sign_in_links.in_words(link)
    row = AccountMail(person=person, to=person.email, subject=subject, lines=lines)
    if link.way == Way.MAIL:
        row.lines, row.link_made_at = [], person.link_made_at
    link.mail = mail.NOT_SENT

    def tried(outcome: str) -> None:
        link.mail = outcome

    _owe(row, now, tried)


def send_owed(*, now: datetime) -> int:
    """Try what is owed; returns how many went out. The first that fails ends it: the next one would fail as well."""
    owed = AccountMail.objects.filter(next_try_at__lte=now).order_by("next_try_at", "pk")
    sent = 0
    for row in list(owed.select_related("person")[:MOST_AT_ONCE]):
        if _try(row, now) == mail.NOT_SENT:
            break
        sent += 1
    return sent


def send_again(*, person_id: int, actor: Person, now: datetime) -> tuple[int, int]:
    """Try at once what is owed to a person or was given up; how many went out, and how many did not.

    Refusals: those of ``require_account``.
    """
    require_account(actor, Person.objects.get(pk=person_id))
    rows = AccountMail.objects.filter(person_id=person_id).select_related("person")
    outcomes = [_try(row, now) for row in rows]
    return outcomes.count(mail.SENT), outcomes.count(mail.NOT_SENT)


def _owe(row: AccountMail, now: datetime, tried: Callable[[str], None] = lambda outcome: None) -> None:
    row.written_at, row.next_try_at = now, now + FIRST_PAUSE
    row.save()
    transaction.on_commit(lambda: tried(_try(row, now)), robust=True)


def _try(row: AccountMail, now: datetime) -> str:
    same = AccountMail.objects.filter(pk=row.pk)
    claimed = same.filter(attempts=row.attempts).update(attempts=F("attempts") + 1, next_try_at=now + A_TRY_TAKES)
    if not claimed:
        return mail.NOT_SENT  # another is at it
    lines = _lines(row, now)
    if lines is None:
        same.delete()
        return mail.LINK_ENDED
    outcome = mail.post(row.person, row.subject, lines, to=row.to)
    if outcome == mail.SENT or not mail.is_set_up():
        same.delete()
    else:
        same.update(next_try_at=_next_try(row, now))
    return outcome


def _lines(row: AccountMail, now: datetime) -> Sequence[str] | None:
    """None where the link that it would bring has ended, or is so old that nobody expects it."""
    if row.link_made_at is None:
        return list(row.lines)
    person = Person.objects.get(pk=row.person_id)
    if person.link_made_at != row.link_made_at or now - row.written_at > mail.OWED_FOR:
        return None
    return sign_in_links.in_words(sign_in_links.new_link(person, Way.MAIL))[1]


def _next_try(row: AccountMail, now: datetime) -> datetime | None:
    if now - row.written_at > mail.OWED_FOR:
        return None
    return now + min(FIRST_PAUSE * 2 ** min(row.attempts, 10), LONGEST_PAUSE)
