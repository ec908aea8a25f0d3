"""Emails go out in batches of one person, each batch claimed by one conditional UPDATE, so that two workers never send
the same one. Nothing is sent inside a transaction. Quiet hours and the digest set the time from which a batch is owed.

Two windows lead to a second copy, and none to a lost one: a worker killed between sending and writing it down, whose
claim runs out, and a server that took the mail and whose answer was lost (``EMAIL_TIMEOUT``). The batch then goes out
again under the same Message-ID, by which mail programs know it.

A server that hangs or is away is trouble for every mail: the run ends with the first one, and few runs are at work at
once, so that it keeps no more than a few of the workers' hands.
"""

from __future__ import annotations

import logging
import time
import uuid
from datetime import datetime, timedelta
from email.utils import parseaddr
from smtplib import SMTPDataError, SMTPException, SMTPRecipientsRefused

from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import F, Q

from assets_app.people.queries import site_ids_of
from schedules.alerts import actions, rules
from schedules.alerts.models import Delivery
from schedules.alerts.personal import Clocks

TROUBLE = (OSError, SMTPException)  # named, so that a fault of our own is not retried in silence
OF_THIS_MAIL = (SMTPRecipientsRefused, SMTPDataError)  # trouble that says nothing about the next mail
MOST_RUNS = 2  # at work at once: one may have been killed
LONGEST_RUN = timedelta(minutes=2)  # far below the time limit of a task, which would cut a mail in two
_log = logging.getLogger(__name__)
CAUTION = "These figures support a decision; they do not make it."


class NoServer(Exception):
    """The mail server takes nothing now, from nobody."""


def deliver_owed(*, now: datetime, most: int = 1000) -> int:
    """Expand new intents and send what is owed; returns how many batches went out. Safe beside itself."""
    actions.expand(now=now)
    if _runs_at(now) >= MOST_RUNS:
        return 0
    sent, began = 0, time.monotonic()
    for _ in range(most):
        moment = now + timedelta(seconds=time.monotonic() - began)  # a claim holds from when it is made
        batch = claim(now=moment) if moment - now < LONGEST_RUN else None
        if batch is None:
            break
        try:
            sent += send(batch, now=now)
        except NoServer:
            break
    return sent


def _runs_at(now: datetime) -> int:
    """Claims that hold now; one from a clock that was ahead says nothing about the workers' hands."""
    soon = now + rules.CLAIM_HOLDS
    held = Delivery.objects.filter(state=Delivery.State.CLAIMED, claimed_until__gt=now, claimed_until__lte=soon)
    return held.order_by().values("batch").distinct().count()


def owed_at(now: datetime) -> Q:
    """Deliveries to be tried now: owed and due, or claimed by somebody who never came back."""
    due = Q(state=Delivery.State.OWED, next_try_at__lte=now)
    left_behind = Q(state=Delivery.State.CLAIMED, claimed_until__lte=now)
    return Q(channel=Delivery.Channel.EMAIL) & (due | left_behind)


def claim(*, now: datetime) -> str | None:
    """Claim one batch; its name, or None where nothing is owed. A batch that was tried keeps its name and content."""
    while True:
        owed = Delivery.objects.filter(owed_at(now)).select_related("intent__site")
        first = owed.order_by("next_try_at", "pk").first()
        if first is None:
            return None
        if first.batch:
            batch, rows = first.batch, Q(batch=first.batch)
        else:
            batch, rows = uuid.uuid4().hex, Q(person_id=first.person_id, batch="")
        if _keep_quiet(first, rows, now):
            continue
        if not first.batch:
            fresh = Delivery.objects.filter(owed_at(now), person_id=first.person_id, batch="")
            ids = list(fresh.order_by("pk").values_list("pk", flat=True)[: rules.BATCH_SIZE])
            rows = Q(pk__in=ids, batch="")
        if take(rows, batch, now):
            return batch


def _keep_quiet(first: Delivery, rows: Q, now: datetime) -> bool:
    """Put off what has waited into the person's quiet hours (a worker that slept, a mail that failed)."""
    until = _after_quiet(first, now)
    waiting = Delivery.objects.filter(rows, owed_at(now))
    if until <= now or waiting.filter(intent__kind__in=rules.BREAKS_THROUGH).exists():
        return False
    others = waiting.exclude(intent__kind__in=rules.BREAKS_THROUGH)  # one that came this moment is not put off
    others.update(state=Delivery.State.OWED, claimed_until=None, next_try_at=until)
    return True


def _after_quiet(row: Delivery, at: datetime) -> datetime:
    return Clocks(of=row.person_id).after_quiet(row.person_id, row.intent.site.time_zone, at)


def take(rows: Q, batch: str, now: datetime) -> int:
    """The claim itself: whoever's UPDATE finds the rows still owed has them; returns how many."""
    return Delivery.objects.filter(rows, owed_at(now)).update(
        state=Delivery.State.CLAIMED,
        batch=batch,
        claimed_until=now + rules.CLAIM_HOLDS,
        attempts=F("attempts") + 1,
    )


def send(batch: str, *, now: datetime) -> bool:
    """Send a claimed batch as one message and write down how it went; whether it went out. Raises ``NoServer``."""
    rows = list(
        Delivery.objects.filter(batch=batch, state=Delivery.State.CLAIMED)
        .select_related("intent__site", "person")
        .order_by("intent__site__name", "intent_id")
    )
    rows = _without_lost_sites(rows)
    if not rows:
        return False
    mine = Delivery.objects.filter(pk__in=[row.pk for row in rows])
    try:
        message(batch, rows).send()
    except TROUBLE as error:
        wait = rules.retry_after(max(row.attempts for row in rows))
        state = Delivery.State.FAILED if wait is None else Delivery.State.OWED
        mine.update(
            state=state,
            claimed_until=None,
            next_try_at=now if wait is None else now + wait,
            last_error=f"{type(error).__name__}: {error}"[:240],
        )
        found = ("email not sent: person %s, %s alerts, try %s, %s, %s", rows[0].person_id, len(rows))
        _log.warning(*found, max(row.attempts for row in rows), type(error).__name__, state.label)
        if not isinstance(error, OF_THIS_MAIL):
            raise NoServer from error
        return False
    mine.update(state=Delivery.State.SENT, sent_at=now, claimed_until=None, last_error="")
    return True


def _without_lost_sites(rows: list[Delivery]) -> list[Delivery]:
    """A batch without what belongs to a site where the person has no role any more: that is not theirs to read."""
    if not rows:
        return []
    person = rows[0].person
    theirs = set(site_ids_of(person)) if person.is_active else set()
    lost = [row.pk for row in rows if row.intent.site_id not in theirs]
    if lost:
        Delivery.objects.filter(pk__in=lost).delete()
    return [row for row in rows if row.intent.site_id in theirs]


def message(batch: str, rows: list[Delivery]) -> EmailMessage:
    """One alert is the mail; several are its lines."""
    subject = rows[0].intent.subject if len(rows) == 1 else f"{len(rows)} alerts: {rows[0].intent.subject}, ..."
    lines = []
    for row in rows:
        intent = row.intent
        link = f"\n  {settings.BASE_URL.rstrip('/')}{intent.link}" if intent.link else ""
        lines.append(f"{intent.site.name}: {intent.text}{link}")
    body = "\n\n".join([*lines, CAUTION]) + "\n"
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"
    return EmailMessage(
        subject=" ".join(subject.split())[:200],
        body=body,
        to=[rows[0].person.email],
        headers={"Message-ID": f"<{batch}@{domain}>"},
    )
