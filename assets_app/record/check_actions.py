"""Check a site's chain now: asked for on a page or by the API, walked by a worker with ``verify.chain``.

As with the importer, a run claims its check by a conditional UPDATE; a word of progress is a sign of life, and a run
that gives none is taken over.
"""

from __future__ import annotations

import time
import uuid
from datetime import datetime, timedelta

from django.db import OperationalError, transaction
from django.db.models import F, Q, QuerySet

from assets_app import dispatch
from assets_app.people.models import Person
from assets_app.people.queries import require
from assets_app.record import verify
from assets_app.record.check_models import MOST_ATTEMPTS, SILENT_AFTER, RecordCheck
from assets_app.record.models import RecordEntry
from assets_app.register.models import Site

State = RecordCheck.State
UNGUARDED = "The database lacks the triggers that keep the record: {}."


def ask_for_check(*, site_id: int, actor: Person, now: datetime) -> RecordCheck:
    """Have the chain of a site walked after commit; one that is still going is answered again.

    Refusals: ``not_found``, ``role_lacks_right``.
    """
    require(actor, "record.check", site_id)
    with transaction.atomic():
        Site.objects.select_for_update(no_key=True).get(pk=site_id)  # who asks twice at once gets one
        going = RecordCheck.objects.filter(site_id=site_id, state__in=(State.WAITING, State.RUNNING)).first()
        if going:
            return going
        total = RecordEntry.objects.filter(site_id=site_id).count()
        row = RecordCheck.objects.create(site_id=site_id, asked_by=actor, asked_at=now, entries_total=total)
        transaction.on_commit(_start_work, robust=True)
    return row


def _start_work() -> None:
    from assets_app.record.tasks import check_chains

    dispatch.send(check_chains)


def owed(now: datetime) -> QuerySet[RecordCheck]:
    """Checks that wait, or whose run gives no sign of life any more; the oldest first."""
    dead = Q(state=State.RUNNING, claimed_at__lt=now - SILENT_AFTER)
    return RecordCheck.objects.filter(Q(state=State.WAITING) | dead).order_by("pk")


def run_check(*, check_id: int, now: datetime) -> RecordCheck:
    """Walk one chain, if it is owed; otherwise nothing happens. A busy database puts it back to waiting."""
    claim = uuid.uuid4().hex
    taken = owed(now).filter(pk=check_id)
    if not taken.update(state=State.RUNNING, claim=claim, claimed_at=now, attempts=F("attempts") + 1, entries_done=0):
        return RecordCheck.objects.get(pk=check_id)
    row = RecordCheck.objects.select_related("site").get(pk=check_id)
    ours = RecordCheck.objects.filter(pk=check_id, claim=claim, state=State.RUNNING)
    began = time.monotonic()

    def hear(done: int, of: int) -> None:
        alive = now + timedelta(seconds=time.monotonic() - began)
        ours.update(entries_done=done, entries_total=of, claimed_at=alive)

    if row.attempts > MOST_ATTEMPTS:
        ours.update(
            state=State.FAILED, words="The check broke off three times. Tell who keeps this service.", ended_at=now
        )
    else:
        try:
            answer = verify.chain(row.site, told=hear)
        except OperationalError:
            ours.update(state=State.WAITING)
            raise
        _end(ours, answer, now + timedelta(seconds=time.monotonic() - began))
    return RecordCheck.objects.get(pk=check_id)


def _end(ours: QuerySet[RecordCheck], answer: verify.Answer, at: datetime) -> None:
    unguarded = verify.missing_triggers()
    words = " ".join([answer.words, *([UNGUARDED.format(", ".join(unguarded))] if unguarded else [])])
    ours.update(
        state=State.WHOLE if answer.whole else State.BROKEN,
        entries_done=answer.entries,
        entries_total=answer.entries,
        broken_at=answer.sequence,
        words=words,
        ended_at=at,
    )
