"""Runs of the counting. A run claims its recording by a conditional UPDATE and writes only while the claim holds."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import fields
from datetime import datetime, timedelta
from typing import Any

from django.db import OperationalError
from django.db.models import F, Q, QuerySet

from assets_app.refusals import Refused, Unprocessable
from schedules.duty.recordings import reading, words
from schedules.duty.recordings.counting import Outcome, Wanted, work
from schedules.duty.recordings.models import Recording

State = Recording.State
LONGEST_RUN = timedelta(minutes=20)  # after that a run counts as dead; longer than a task may take
MOST_ATTEMPTS = 3


def owed(now: datetime) -> QuerySet[Recording]:
    """Recordings that wait, or whose run should long be over; the oldest first."""
    dead = Q(state=State.RUNNING, claimed_at__lt=now - LONGEST_RUN)
    return Recording.objects.filter(Q(state=State.WAITING) | dead).order_by("pk")


def run_recording(
    *, recording_id: int, now: datetime, progress: Callable[[Recording], None] = lambda recording: None
) -> Recording:
    """Screen and count one recording, if it is owed; otherwise nothing happens. ``progress`` hears how far it is.

    The state afterwards says how it ended. A busy database puts it back to waiting and raises ``OperationalError``;
    any other fault is kept as failed and raised.
    """
    claim = uuid.uuid4().hex
    taken = owed(now).filter(pk=recording_id)
    if not taken.update(
        state=State.RUNNING, claim=claim, claimed_at=now, attempts=F("attempts") + 1, rows_done=0, error={}
    ):
        return Recording.objects.get(pk=recording_id)
    run = _Run(recording_id, claim, now, progress)
    try:
        run.work()
    except Refused as refused:
        run.end(State.REFUSED, error={"code": refused.code, "field": refused.field, "message": refused.message})
    except _Lost:
        pass
    except OperationalError:
        run.ours().update(state=State.WAITING)
        raise
    except Exception:
        message = "Something went wrong here, not in the file. Tell who keeps this service."
        run.end(State.FAILED, error={"code": "failed", "field": "", "message": message})
        raise
    run.recording.refresh_from_db()
    return run.recording


class _Lost(Exception):
    """Another run has taken this recording over."""


class _Run:
    """One claim at work."""

    def __init__(self, pk: int, claim: str, now: datetime, progress: Callable[[Recording], None]) -> None:
        self.recording = Recording.objects.get(pk=pk)
        self.claim, self.now, self.progress = claim, now, progress

    def ours(self) -> QuerySet[Recording]:
        return Recording.objects.filter(pk=self.recording.pk, claim=self.claim, state=State.RUNNING)

    def end(self, state: str, **values: Any) -> None:
        """Close it, if the claim still holds; else what the other run makes of it stands."""
        self.ours().update(state=state, ended_at=self.now, **values)

    def work(self) -> None:
        if self.recording.attempts > MOST_ATTEMPTS:
            raise Unprocessable("broke_off", "Its run broke off three times. Split the file.", field="file")
        wanted = Wanted(**{name: getattr(self.recording, name) for name in (part.name for part in fields(Wanted))})
        with self.recording.file.open("rb") as stored:
            layout = reading.look_at(stored, self.recording.column)
            outcome = work(lambda: reading.chunks(stored, layout), wanted, self._progress)
        self.end(State.DONE, **_result(outcome, wanted))

    def _progress(self, samples: int) -> None:
        self.recording.rows_done = samples
        if not self.ours().update(rows_done=samples):
            raise _Lost
        self.progress(self.recording)


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
