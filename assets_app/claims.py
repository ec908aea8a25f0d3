"""A row that one run at a time works off: claimed by a conditional UPDATE, taken over once its run counts as dead.

Such a row has ``state`` (waiting, running, refused, failed, and ends of its own), ``claim``, ``claimed_at`` (the last
sign of life), ``attempts`` and ``ended_at``. A run names its claim and writes only while that holds, so a run that was
thought dead and the one that took over can never both write.
"""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import datetime, timedelta
from typing import Any, ClassVar, Generic, TypeVar

from django.db import OperationalError, models
from django.db.models import F, Q, QuerySet

from assets_app.refusals import Refused

Row = TypeVar("Row", bound=models.Model)
WAITING, RUNNING, REFUSED, FAILED = "waiting", "running", "refused", "failed"
LONGEST_RUN = timedelta(minutes=20)  # longer than a task may take
MOST_ATTEMPTS = 3


class Lost(Exception):
    """Another run has taken this row over."""


class Run(Generic[Row]):
    """One claim at work; who derives from it says what the work is, and what a row keeps of how it ended."""

    model: type[Row]
    related: ClassVar[tuple[str, ...]] = ()
    afresh: ClassVar[Mapping[str, Any]] = {}  # what each run begins with
    silent_for: ClassVar[timedelta] = LONGEST_RUN  # without a sign of life for that long it counts as dead

    def __init__(self, row: Any, taken_from: str, now: datetime, told: Callable[[Row], None]) -> None:
        self.row, self.taken_from, self.now, self.told = row, taken_from, now, told
        self._began = time.monotonic()

    def work(self) -> None:
        raise NotImplementedError

    def refused(self, refused: Refused) -> dict[str, Any]:
        """What is kept of a refusal, by work that may be refused."""
        raise NotImplementedError

    def failed(self, *, broke_off: bool) -> dict[str, Any]:
        """What is kept of a fault of our own, or of a row whose runs broke off time and again."""
        raise NotImplementedError

    def ours(self) -> QuerySet[Row]:
        rows: QuerySet[Row] = self.model._default_manager.filter(pk=self.row.pk, claim=self.row.claim, state=RUNNING)
        return rows

    def keep(self, **values: Any) -> None:
        """Write them and tell of it; ``Lost`` where the claim does not hold any more."""
        ours = self.ours()
        for name, value in values.items():
            setattr(self.row, name, value)
        if not ours.update(**values):
            raise Lost
        self.told(self.row)

    def end(self, state: str, **values: Any) -> None:
        self.keep(**{"state": state, "ended_at": self.now} | values)

    def alive(self) -> datetime:
        """Now, for a sign of life."""
        return self.now + timedelta(seconds=time.monotonic() - self._began)


def owed(kind: type[Run[Row]], now: datetime) -> QuerySet[Row]:
    """Rows that wait, or whose run counts as dead; the oldest first."""
    dead = Q(state=RUNNING, claimed_at__lt=now - kind.silent_for)
    return kind.model._default_manager.filter(Q(state=WAITING) | dead).order_by("pk")


def work_off(kind: type[Run[Row]], pk: int, *, now: datetime, told: Callable[[Row], None] = lambda row: None) -> Any:
    """Work off one row, if it is owed; otherwise nothing happens. ``told`` hears of progress; the row as it then is.

    A busy database puts it back to waiting and raises ``OperationalError``; any other fault is kept and raised.
    """
    rows = kind.model._default_manager
    taken_from = rows.values_list("claim", flat=True).get(pk=pk)
    mine = {"state": RUNNING, "claim": uuid.uuid4().hex, "claimed_at": now, "attempts": F("attempts") + 1}
    if _free(kind, pk, taken_from, now).update(**mine, **kind.afresh):
        _go(kind(rows.select_related(*kind.related).get(pk=pk), taken_from, now, told))
    return rows.select_related(*kind.related).get(pk=pk)


def _free(kind: type[Run[Row]], pk: int, taken_from: str, now: datetime) -> QuerySet[Row]:
    """The row, if no other run took it since its claim was read."""
    return owed(kind, now).filter(pk=pk, claim=taken_from)


def _go(run: Run[Any]) -> None:
    try:
        if run.row.attempts > MOST_ATTEMPTS:
            run.end(FAILED, **run.failed(broke_off=True))
            return
        try:
            run.work()
        except Refused as refused:
            run.end(REFUSED, **run.refused(refused))
    except Lost:
        return
    except OperationalError:
        run.ours().update(state=WAITING)
        raise
    except Exception:
        with suppress(Lost):
            run.end(FAILED, **run.failed(broke_off=False))
        raise
