"""The open orders of the looks on a page: whose they are, what they wait for, what was put off."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from django.db.models import FilteredRelation, Q, QuerySet

from assets_app.statements import Given, Statement
from schedules.deferral.models import Deferral
from schedules.work.models import WorkOrder

OPEN_STATES = [
    WorkOrder.State.OPEN,
    WorkOrder.State.WAITING,
    WorkOrder.State.PART_DONE,
    WorkOrder.State.DONE,
]


class OpenOrder(NamedTuple):
    """The open order of a look, with what it waits for and the deferral that stands on it."""

    pk: int
    joint_id: int
    method: str
    number: int
    state: str
    planned_on: date | None
    assignee_id: int | None
    first_name: str | None
    last_name: str | None
    username: str | None
    wait: str | None  # reason, empty where it waits for nothing
    wait_note: str | None
    wait_since: date | None
    expected_until: date | None
    put_off_until: date | None
    was_due_on: date | None  # the day from which it was put off
    put_off_reason: str | None

    @property
    def words(self) -> str:
        """State, hand and day of the order."""
        name = f"{self.first_name or ''} {self.last_name or ''}".strip() or self.username
        who = f", {name}" if self.assignee_id else ", nobody assigned"
        when = f", planned {_day(self.planned_on)}" if self.planned_on else ", no day planned"
        return f"{WorkOrder.State(self.state).label}{who}{when}"

    @property
    def wait_words(self) -> str:
        """``waits for parts since 3 Mar 2026, expected until 9 Apr 2026``."""
        if not self.wait:
            return ""
        expected = f"expected until {_day(self.expected_until)}" if self.expected_until else "no end known"
        note = f" ({self.wait_note})" if self.wait_note else ""
        return f"waits for {self.wait} since {_day(self.wait_since)}, {expected}{note}"


_ELSEWHERE = {
    "first_name": "assignee__first_name",
    "last_name": "assignee__last_name",
    "username": "assignee__username",
    "wait": "waiting__reason",
    "wait_note": "waiting__note",
    "wait_since": "waiting__since",
    "expected_until": "waiting__expected_until",
    "put_off_until": "standing__ends_on",
    "was_due_on": "standing__was_due_on",
    "put_off_reason": "standing__reason",
}
_COLUMNS = [_ELSEWHERE.get(name, name) for name in OpenOrder._fields]


def open_looks(joints: Sequence[int]) -> list[OpenOrder]:
    """The open order of every look at these joints that has one."""
    return [OpenOrder._make(row) for row in _OPEN_LOOKS.rows(joints=list(joints))]


def _rows() -> QuerySet[WorkOrder]:
    rows = WorkOrder.objects.filter(joint_id__one_of=Given("joints"), kind=WorkOrder.Kind.INSPECT)
    rows = rows.filter(state__in=OPEN_STATES).annotate(
        waiting=FilteredRelation("waits", condition=Q(waits__ended_on=None)),  # one at most
        standing=FilteredRelation("deferrals", condition=Q(deferrals__state=Deferral.State.STANDING)),  # one at most
    )
    return rows.order_by().values_list(*_COLUMNS)


_OPEN_LOOKS = Statement(_rows)


def _day(day: date | None) -> str:
    return f"{day.day} {day:%b %Y}" if day else "a day not known"
