"""A row that one run at a time works off: claimed by a conditional UPDATE, taken over once its run counts as dead.

Such a row has ``state`` (waiting, running, refused, failed, and ends of its own), ``claim``, ``claimed_at`` (the last
sign of life), ``attempts`` and ``ended_at``. A run names its claim and writes only while that holds, so a run that was
thought dead and the one that took over can never both write.

A run gives a sign of life whenever it tells how far it is, and a thread beside it gives one while it can tell nothing:
while it reads one large file, or writes in one transaction, of which nobody sees anything before its end. Work that
hangs is ended with its process by the time limit of a task.
"""

from __future__ import annotations

import threading
import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from typing import Any, ClassVar, Generic, TypeVar

from django.db import OperationalError, connection, models
from django.db.models import F, Q, QuerySet

from assets_app.refusals import Refused

Row = TypeVar("Row", bound=models.Model)
WAITING, RUNNING, REFUSED, FAILED = "waiting", "running", "refused", "failed"
# Without a sign of life for so long a run counts as dead and another takes over. Measured on two busy cores, the
# longest step of a report without one took 5 s. A run that was only slow loses its claim, and leaves nothing behind.
SILENT_AFTER = timedelta(minutes=2)
SIGN_EVERY_S = 15.0
MOST_ATTEMPTS = 3


class Lost(Exception):
    """Another run has taken this row over."""


class Run(Generic[Row]):
    """One claim at work; who derives from it says what the work is, and what a row keeps of how it ended."""

    model: type[Row]
    related: ClassVar[tuple[str, ...]] = ()
    afresh: ClassVar[Mapping[str, Any]] = {}  # what each run begins with

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
        """Write them, a sign of life with them, and tell of it; ``Lost`` where the claim does not hold any more."""
        ours, values = self.ours(), {"claimed_at": self.alive(), **values}
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

    @contextmanager
    def living(self) -> Iterator[None]:
        """Signs of life from a thread beside the block."""
        over = threading.Event()
        signs = threading.Thread(target=self._give_signs, args=(over,), daemon=True)
        signs.start()
        try:
            yield
        finally:
            over.set()
            signs.join()

    def _give_signs(self, over: threading.Event) -> None:
        try:
            while not over.wait(SIGN_EVERY_S):
                with suppress(OperationalError):  # busy: there is time for the next one
                    self.ours().update(claimed_at=self.alive())
        finally:
            connection.close()  # this thread's own


def owed(kind: type[Run[Row]], now: datetime) -> QuerySet[Row]:
    """Rows that wait, or whose run counts as dead; the oldest first."""
    dead = Q(state=RUNNING, claimed_at__lt=now - SILENT_AFTER)
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
            with run.living():
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
