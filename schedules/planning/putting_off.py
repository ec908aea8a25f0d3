"""Which overdue looks of a page a signature puts off: until when, why, and only where it covers all that asks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from assets_app.inspections.models import Finding
from assets_app.inspections.queries import OPEN
from schedules.deferral.models import Deferral
from schedules.deferral.rules import NEVER
from schedules.due.list_queries import DueRow
from schedules.planning.standing_orders import OpenOrder


@dataclass(frozen=True)
class PutOff:
    """Until when a look is put off; ``repair``: the number of the repair order, where it is not the look's own."""

    until: date
    reason: str
    repair: int | None = None


@dataclass(frozen=True)
class _Asking:
    """An open finding that asks for something, and the deferral of its order that still stands."""

    severity: str
    number: int | None = None
    ends_on: date | None = None
    reason: str = ""
    was_due_on: date | None = None


def put_off(
    rows: Sequence[DueRow], orders: Mapping[tuple[int, str], OpenOrder], today: Mapping[int, date]
) -> dict[int, PutOff]:
    """Programme id -> what puts its look off. A row whose deferral does not cover all that is overdue is not in it:
    it stays overdue in words too. ``today`` gives each site's day."""
    own = {row.programme_id: orders.get((row.joint_id, row.method)) for row in rows}
    concerned = {
        row.joint_id
        for row in rows
        if row.governing == "finding" or ((order := own[row.programme_id]) and order.put_off_until)
    }
    asking = _asking(concerned) if concerned else {}
    found = {}
    for row in rows:
        here = asking.get(row.joint_id, [])
        if row.due_on is None or any(each.severity in NEVER for each in here):
            continue  # what stops use is put off by nobody
        told = _look_put_off(row, own[row.programme_id]) or _repair_put_off(row, here)
        if told and told.until >= today[row.site_id]:
            found[row.programme_id] = told
    return found


def _look_put_off(row: DueRow, order: OpenOrder | None) -> PutOff | None:
    """The look's own order is put off, and nothing has come since that asks for it sooner than what was signed for."""
    if order is None or order.put_off_until is None or order.was_due_on is None:
        return None
    assert row.due_on is not None
    return PutOff(order.put_off_until, order.put_off_reason or "") if row.due_on >= order.was_due_on else None


def _repair_put_off(row: DueRow, asking: Sequence[_Asking]) -> PutOff | None:
    """A finding governs, and the repair of each finding on the joint is put off; the next limit ends that sooner."""
    if row.governing != "finding" or not asking:
        return None
    assert row.due_on is not None
    ends = [each.ends_on for each in asking if each.ends_on and each.was_due_on and each.was_due_on <= row.due_on]
    if len(ends) < len(asking):
        return None
    first = min(asking, key=lambda each: each.ends_on or date.max)
    return PutOff(min([*ends, *([row.next_on] if row.next_on else [])]), first.reason, first.number)


def _asking(joint_ids: set[int]) -> dict[int, list[_Asking]]:
    """Joint -> its open findings that ask for something."""
    rows = Finding.objects.filter(joint_id__in=joint_ids, state__in=OPEN).exclude(severity="record").order_by("pk")
    values = list(rows.values_list("pk", "joint_id", "severity"))
    deferrals = Deferral.objects.filter(order__finding__in=[pk for pk, _, _ in values], state=Deferral.State.STANDING)
    columns = ("order__finding_id", "order__number", "ends_on", "reason", "was_due_on")
    standing = {pk: told for pk, *told in deferrals.order_by("-ends_on").values_list(*columns)} if values else {}
    found: dict[int, list[_Asking]] = defaultdict(list)
    for pk, joint_id, severity in values:
        found[joint_id].append(_Asking(severity, *standing.get(pk, ())))
    return found
