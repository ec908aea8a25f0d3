"""What stands in the way of the looks on a page: holds, orders and what they wait for, what was put off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from django.db.models import FilteredRelation, Q, QuerySet

from schedules.deferral.models import Deferral
from schedules.due.list_queries import DueRow
from schedules.work.models import Hold, Wait, WorkOrder

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
    "put_off_reason": "standing__reason",
}
_COLUMNS = [_ELSEWHERE.get(name, name) for name in OpenOrder._fields]


@dataclass(frozen=True)
class Standing:
    """How one due look stands: its order, and the holds on it."""

    order: OpenOrder | None = None
    holds: Sequence[Hold] = ()

    @property
    def order_words(self) -> str:
        return self.order.words if self.order else "no order yet"

    @property
    def wait_words(self) -> str:
        return self.order.wait_words if self.order else ""


def standing_of(rows: Sequence[DueRow]) -> dict[int, Standing]:
    """Programme id -> standing, for one page of rows in two queries."""
    joints = [row.joint_id for row in rows]
    orders = {(order.joint_id, order.method): order for order in _open_looks(joints)}
    holds = list(_standing_holds(joints, [row.asset_id for row in rows]).only("joint_id", "asset_id", "reason"))
    return {
        row.programme_id: Standing(
            orders.get((row.joint_id, row.method)),
            [hold for hold in holds if _binds(hold, row.joint_id, row.asset_id)] if holds else (),
        )
        for row in rows
    }


def _open_looks(joints: Sequence[int]) -> list[OpenOrder]:
    rows = WorkOrder.objects.filter(joint_id__in=joints, kind=WorkOrder.Kind.INSPECT, state__in=OPEN_STATES)
    rows = rows.annotate(
        waiting=FilteredRelation("waits", condition=Q(waits__ended_on=None)),  # one at most
        standing=FilteredRelation("deferrals", condition=Q(deferrals__state=Deferral.State.STANDING)),  # one at most
    )
    return [OpenOrder._make(row) for row in rows.order_by().values_list(*_COLUMNS)]


def standing_holds(joint_ids: Sequence[int], asset_ids: Sequence[int]) -> list[Hold]:
    """Holds not yet lifted on any of the joints, or on the whole of one of the assets."""
    return list(_standing_holds(joint_ids, asset_ids).select_related("placed_by", "joint", "asset"))


def _standing_holds(joint_ids: Sequence[int], asset_ids: Sequence[int]) -> QuerySet[Hold]:
    here = Q(joint_id__in=joint_ids) | Q(joint=None, asset_id__in=asset_ids)
    return Hold.objects.filter(here, released_at=None)


def _binds(hold: Hold, joint_id: int, asset_id: int) -> bool:
    return hold.joint_id == joint_id or (hold.joint_id is None and hold.asset_id == asset_id)


def in_the_way(standings: Sequence[Standing]) -> list[str]:
    """What stands in the way of these looks, in plain counts, the gravest first; empty where nothing does."""
    words = []
    held = sum(1 for each in standings if each.holds)
    if held:
        words.append(f"{held} held")
    for reason in Wait.Reason.values:
        count = sum(1 for each in standings if each.order and each.order.wait == reason)
        if count:
            words.append(f"{count} waiting for {reason}")
    put_off = sum(1 for each in standings if each.order and each.order.put_off_until)
    if put_off:
        words.append(f"{put_off} put off")
    without = sum(1 for each in standings if each.order is None)
    if without:
        words.append(f"{without} without an order")
    idle = sum(1 for each in standings if each.order and each.order.assignee_id is None)
    if idle:
        words.append(f"{idle} with nobody assigned")
    return words


def _day(day: date | None) -> str:
    return f"{day.day} {day:%b %Y}" if day else "a day not known"
