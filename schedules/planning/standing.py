"""What stands in the way of the looks on a page: holds, orders and what they wait for, what was put off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Q

from schedules.deferral.models import Deferral
from schedules.due.models import DueDate
from schedules.work.models import Hold, Wait, WorkOrder

OPEN_STATES = [
    WorkOrder.State.OPEN,
    WorkOrder.State.WAITING,
    WorkOrder.State.PART_DONE,
    WorkOrder.State.DONE,
]


@dataclass
class Standing:
    """How one due look stands: its order, what the order waits for, until when it was put off, the holds on it."""

    order: WorkOrder | None = None
    wait: Wait | None = None
    deferral: Deferral | None = None
    holds: list[Hold] = field(default_factory=list)

    @property
    def wait_words(self) -> str:
        """``waits for parts since 3 Mar 2026, expected until 9 Apr 2026``."""
        if self.wait is None:
            return ""
        until = self.wait.expected_until
        expected = f"expected until {_day(until)}" if until else "no end known"
        note = f" ({self.wait.note})" if self.wait.note else ""
        return f"waits for {self.wait.reason} since {_day(self.wait.since)}, {expected}{note}"

    @property
    def order_words(self) -> str:
        """State, hand and day of the order."""
        if self.order is None:
            return "no order yet"
        who = f", {self.order.assignee}" if self.order.assignee else ", nobody assigned"
        when = f", planned {_day(self.order.planned_on)}" if self.order.planned_on else ", no day planned"
        return self.order.get_state_display() + who + when


def standing_of(rows: Sequence[DueDate]) -> dict[int, Standing]:
    """Programme id -> standing, for one page of rows in four queries."""
    joints = [row.joint_id for row in rows]
    orders = {(order.joint_id, order.method): order for order in _open_looks(joints)}
    ids = [order.pk for order in orders.values()]
    waits = {wait.order_id: wait for wait in Wait.objects.filter(order_id__in=ids, ended_on=None)}
    put_off = {d.order_id: d for d in Deferral.objects.filter(order_id__in=ids, state=Deferral.State.STANDING)}
    holds = standing_holds(joints, [row.asset_id for row in rows])
    result = {}
    for row in rows:
        order = orders.get((row.joint_id, row.method))
        result[row.programme_id] = Standing(
            order=order,
            wait=waits.get(order.pk) if order else None,
            deferral=put_off.get(order.pk) if order else None,
            holds=[hold for hold in holds if _binds(hold, row.joint_id, row.asset_id)],
        )
    return result


def _open_looks(joints: Sequence[int]) -> Sequence[WorkOrder]:
    orders = WorkOrder.objects.filter(joint_id__in=joints, kind=WorkOrder.Kind.INSPECT, state__in=OPEN_STATES)
    return list(orders.select_related("assignee"))


def standing_holds(joint_ids: Sequence[int], asset_ids: Sequence[int]) -> list[Hold]:
    """Holds not yet lifted on any of the joints, or on the whole of one of the assets."""
    here = Q(joint_id__in=joint_ids) | Q(joint=None, asset_id__in=asset_ids)
    return list(Hold.objects.filter(here, released_at=None).select_related("placed_by", "joint", "asset"))


def _binds(hold: Hold, joint_id: int, asset_id: int) -> bool:
    return hold.joint_id == joint_id or (hold.joint_id is None and hold.asset_id == asset_id)


def in_the_way(standings: Sequence[Standing]) -> list[str]:
    """What stands in the way of these looks, in plain counts, the gravest first; empty where nothing does."""
    words = []
    held = sum(1 for each in standings if each.holds)
    if held:
        words.append(f"{held} held")
    for reason in Wait.Reason.values:
        count = sum(1 for each in standings if each.wait and each.wait.reason == reason)
        if count:
            words.append(f"{count} waiting for {reason}")
    put_off = sum(1 for each in standings if each.deferral)
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
