"""Reports written by a worker: asked for, written whole or not at all, and forgotten when their time is over.

Each per cent done is a sign of life, and a run that gives none is taken over (``claims``). Its file stands under the
claim's name and counts only once the row says so, so that two runs can never leave two files.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import date, datetime
from typing import Any, ClassVar

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import QuerySet

from assets_app import claims, dispatch
from assets_app.people.models import Person
from assets_app.refusals import Conflict, Refused
from assets_app.register.models import Asset
from schedules.reports import pdf, queries
from schedules.reports.models import KEPT, WrittenReport

State = WrittenReport.State
MOST_WAITING = 5  # of one person at a time
FAULT = "Something went wrong here, not in the record. Ask again; should it fail again, tell who keeps this service."
BROKE_OFF = "Its run broke off three times. Choose a shorter period, or tell who keeps this service."
READING_SHARE = 30  # per cent of the work that is reading the record; the rest is drawing


def ask_for_report(
    *,
    asset_id: int | None = None,
    joint_id: int | None = None,
    since: date,
    until: date,
    actor: Person,
    now: datetime,
    hand_over: bool = True,
) -> WrittenReport:
    """Have the report of a joint, or of an asset, written after commit; whoever may see the site may ask.

    The same one that still waits or is being written is answered again, whoever asked for it. ``hand_over`` False where
    the caller writes it itself. Refusals: ``not_found``, ``period_backwards``, ``period_too_long``, ``too_many_looks``,
    ``reports_waiting``.
    """
    wanted = queries.wanted(actor, since, until, asset_id=asset_id, joint_id=joint_id)
    size = queries.size(wanted)
    with transaction.atomic():
        Asset.objects.select_for_update(no_key=True).get(pk=wanted.asset.pk)  # who asks twice at once gets one
        going = WrittenReport.objects.filter(state__in=(State.WAITING, State.RUNNING))
        same = going.filter(asset=wanted.asset, joint_id=joint_id, since=since, until=until).first()
        if same:
            return same
        if going.filter(asked_by=actor).count() >= MOST_WAITING:
            message = f"{MOST_WAITING} reports that you asked for are not written yet. Wait until one of them is."
            raise Conflict("reports_waiting", message)
        row = WrittenReport.objects.create(
            site_id=wanted.asset.site_id,
            asset=wanted.asset,
            joint_id=joint_id,
            since=since,
            until=until,
            looks=size.looks,
            photos=size.photos,
            asked_by=actor,
            asked_at=now,
        )
        if hand_over:
            transaction.on_commit(_start_work, robust=True)
    return row


def _start_work() -> None:
    from schedules.reports.tasks import write_reports

    dispatch.send(write_reports)


def owed(now: datetime) -> QuerySet[WrittenReport]:
    """Reports that wait, or whose run gives no sign of life any more; the oldest first."""
    return claims.owed(_Run, now)


def write_report(
    *, report_id: int, now: datetime, told: Callable[[WrittenReport], None] = lambda row: None
) -> WrittenReport:
    """Write one report, as ``claims.work_off`` says; ``told`` hears of progress."""
    row: WrittenReport = claims.work_off(_Run, report_id, now=now, told=told)
    return row


def forget_old_files(*, now: datetime) -> int:
    """Delete the files whose time is over; their rows stay and say so. The number of files."""
    old = list(WrittenReport.objects.exclude(file="").filter(ended_at__lt=now - KEPT).only("pk", "file"))
    for row in old:
        default_storage.delete(row.file.name)
        WrittenReport.objects.filter(pk=row.pk).update(file="")
    return len(old)


def _path(report_id: int, claim: str) -> str:
    return f"reports/{report_id}-{claim or 'none'}.pdf"


class _Run(claims.Run[WrittenReport]):
    model = WrittenReport
    related = ("site", "asset", "joint", "asked_by")
    afresh: ClassVar = {"done_percent": 0}

    def work(self) -> None:
        row = self.row
        default_storage.delete(_path(row.pk, self.taken_from))  # what a run that was killed may have left
        # Whoever asked may no longer be allowed to see it: that is asked again here.
        wanted = queries.wanted(row.asked_by, row.since, row.until, asset_id=row.asset_id, joint_id=row.joint_id)
        report = queries.gather(wanted, told=self._part(0, READING_SHARE))
        content = pdf.inspection_report(report, told=self._part(READING_SHARE, 99))
        path = default_storage.save(_path(row.pk, row.claim), ContentFile(content))
        done = {"file": path, "file_sha256": hashlib.sha256(content).hexdigest(), "done_percent": 100}
        try:
            self.end(State.DONE, **done)
        except claims.Lost:
            default_storage.delete(path)
            raise

    def refused(self, refused: Refused) -> dict[str, Any]:
        return {"why": refused.message}

    def failed(self, *, broke_off: bool) -> dict[str, Any]:
        return {"why": BROKE_OFF if broke_off else FAULT}

    def _part(self, first: int, last: int) -> Callable[[int, int], None]:
        """Hears how many of how many are done; writes it down with each whole per cent."""

        def hear(done: int, of: int) -> None:
            percent = first + (last - first) * min(done, of) // max(of, 1)
            if percent <= self.row.done_percent:
                return
            self.keep(done_percent=percent)

        return hear
