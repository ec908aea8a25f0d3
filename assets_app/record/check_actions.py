"""Check a site's chain now: asked for on a page or by the API, walked by a worker with ``verify.chain``."""

from __future__ import annotations

from datetime import datetime
from typing import Any, ClassVar

from django.db import transaction
from django.db.models import QuerySet

from assets_app import claims, dispatch
from assets_app.people.models import Person
from assets_app.people.queries import require
from assets_app.record import verify
from assets_app.record.check_models import RecordCheck
from assets_app.record.models import RecordEntry
from assets_app.register.models import Site

State = RecordCheck.State
BROKE_OFF = "The check broke off three times. Tell who keeps this service."
FAULT = "Something went wrong here; it says nothing about the record. Ask again, and tell who keeps this service."
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
    return claims.owed(_Run, now)


def run_check(*, check_id: int, now: datetime) -> RecordCheck:
    """Walk one chain, as ``claims.work_off`` says."""
    row: RecordCheck = claims.work_off(_Run, check_id, now=now)
    return row


class _Run(claims.Run[RecordCheck]):
    model = RecordCheck
    related = ("site", "asked_by")
    afresh: ClassVar = {"entries_done": 0}

    def work(self) -> None:
        answer = verify.chain(self.row.site, told=self._hear)
        unguarded = verify.missing_triggers()
        words = " ".join([answer.words, *([UNGUARDED.format(", ".join(unguarded))] if unguarded else [])])
        self.end(
            State.WHOLE if answer.whole else State.BROKEN,
            entries_done=answer.entries,
            entries_total=answer.entries,
            broken_at=answer.sequence,
            words=words,
            ended_at=self.alive(),
        )

    def failed(self, *, broke_off: bool) -> dict[str, Any]:
        return {"words": BROKE_OFF if broke_off else FAULT}

    def _hear(self, done: int, of: int) -> None:
        self.keep(entries_done=done, entries_total=of)
