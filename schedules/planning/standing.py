"""What stands in the way of the looks on a page: holds, orders and what they wait for, what was put off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from django.db.models import Q

from assets_app.statements import Given, Statement
from schedules.due.list_queries import DueRow
from schedules.planning.putting_off import PutOff, put_off
from schedules.planning.standing_orders import OpenOrder, open_looks
from schedules.work.models import Hold, Wait


class Held(NamedTuple):
    """A hold that is not yet lifted, of one joint or of all of its asset."""

    joint_id: int | None
    asset_id: int
    reason: str

    def binds(self, joint_id: int, asset_id: int) -> bool:
        """Whether the joint is held by it."""
        return self.joint_id == joint_id or (self.joint_id is None and self.asset_id == asset_id)


@dataclass(frozen=True)
class Standing:
    """How one due look stands: its order, the holds on it, and the signature that puts it off."""

    order: OpenOrder | None = None
    holds: Sequence[Held] = ()
    put_off: PutOff | None = None

    @property
    def order_words(self) -> str:
        return self.order.words if self.order else "no order yet"

    @property
    def wait_words(self) -> str:
        return self.order.wait_words if self.order else ""


def standing_of(rows: Sequence[DueRow], *, today: Mapping[int, date]) -> dict[int, Standing]:
    """Programme id -> standing, for one page of rows in two queries, two more where findings or deferrals govern."""
    if not rows:
        return {}
    joints = [row.joint_id for row in rows]
    orders = {(order.joint_id, order.method): order for order in open_looks(joints)}
    later = put_off(rows, orders, today)
    holds = [Held._make(row) for row in _HOLDS.rows(joints=joints, assets=[row.asset_id for row in rows])]
    return {
        row.programme_id: Standing(
            orders.get((row.joint_id, row.method)),
            [hold for hold in holds if hold.binds(row.joint_id, row.asset_id)] if holds else (),
            later.get(row.programme_id),
        )
        for row in rows
    }


_HERE = Q(joint_id__one_of=Given("joints")) | Q(joint=None, asset_id__one_of=Given("assets"))
_HOLDS = Statement(lambda: Hold.objects.filter(_HERE, released_at=None).values_list("joint_id", "asset_id", "reason"))


def standing_holds(joint_ids: Sequence[int], asset_ids: Sequence[int]) -> list[Hold]:
    """Holds not yet lifted on any of the joints, or on the whole of one of the assets."""
    here = Q(joint_id__in=joint_ids) | Q(joint=None, asset_id__in=asset_ids)
    return list(Hold.objects.filter(here, released_at=None).select_related("placed_by", "joint", "asset"))


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
    later = sum(1 for each in standings if each.put_off)
    if later:
        words.append(f"{later} put off")
    without = sum(1 for each in standings if each.order is None)
    if without:
        words.append(f"{without} without an order")
    idle = sum(1 for each in standings if each.order and each.order.assignee_id is None)
    if idle:
        words.append(f"{idle} with nobody assigned")
    return words
