"""Runs of the counting; one claims its recording and writes only while the claim holds (``claims``)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from datetime import datetime
from typing import Any, ClassVar

from django.db.models import QuerySet

from assets_app import claims
from assets_app.refusals import Refused
from schedules.duty.recordings import reading, words
from schedules.duty.recordings.counting import Outcome, Wanted, work
from schedules.duty.recordings.models import Recording

BROKE_OFF = "Its run broke off three times. Split the file."
FAULT = "Something went wrong here, not in the file. Tell who keeps this service."


def owed(now: datetime) -> QuerySet[Recording]:
    """Recordings that wait, or whose run should long be over; the oldest first."""
    return claims.owed(_Run, now)


def run_recording(
    *, recording_id: int, now: datetime, progress: Callable[[Recording], None] = lambda recording: None
) -> Recording:
    """Screen and count one recording, as ``claims.work_off`` says; ``progress`` hears how far it is.

    The state afterwards says how it ended.
    """
    recording: Recording = claims.work_off(_Run, recording_id, now=now, told=progress)
    return recording


class _Run(claims.Run[Recording]):
    model = Recording
    afresh: ClassVar = {"rows_done": 0, "error": {}}

    def work(self) -> None:
        wanted = Wanted(**{name: getattr(self.row, name) for name in (part.name for part in fields(Wanted))})
        with self.row.file.open("rb") as stored:
            layout = reading.look_at(stored, self.row.column)
            outcome = work(lambda: reading.chunks(stored, layout), wanted, self._progress)
        self.end(Recording.State.DONE, **_result(outcome, wanted))

    def _progress(self, samples: int) -> None:
        self.keep(rows_done=samples)

    def refused(self, refused: Refused) -> dict[str, Any]:
        return {"error": {"code": refused.code, "field": refused.field, "message": refused.message}}

    def failed(self, *, broke_off: bool) -> dict[str, Any]:
        if broke_off:
            return {"error": {"code": "broke_off", "field": "file", "message": BROKE_OFF}}
        return {"error": {"code": "failed", "field": "", "message": FAULT}}


def _result(outcome: Outcome, wanted: Wanted) -> dict[str, Any]:
    return {
        "samples": outcome.samples,
        "rows_total": outcome.samples,
        "rows_done": outcome.samples,
        "screening": words.told(outcome, wanted),
        "histogram": [[float(size), float(count)] for size, count in zip(*outcome.histogram, strict=True)],
        "before": outcome.before,
        "after": outcome.after,
    }
