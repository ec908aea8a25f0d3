"""Deeds on orders as people do them, each told its moment; the version is always the one just read."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, TypedDict

from assets_app.inspections.inputs import PhotoInput
from assets_app.people.models import Person
from schedules.demo import photos
from schedules.demo.stage import Stage
from schedules.work import actions as work
from schedules.work.finishing import LookInput
from schedules.work.models import Step, WorkOrder

VALUES = {"lx": "620", "°C": "17", "min": "15", "N·m or kN": "440"}


class Version(TypedDict):
    """An order and the version that somebody saw."""

    order_id: int
    expected_version: int


def version(order: WorkOrder) -> Version:
    """Which order, as it stands now."""
    current = WorkOrder.objects.values_list("version", flat=True).get(pk=order.pk)
    return {"order_id": order.pk, "expected_version": current}


def assignee(order: WorkOrder) -> Person:
    """Who has it now."""
    return Person.objects.get(work_orders=order.pk)


def give(stage: Stage, order: WorkOrder, who: Person, moment: datetime, *, on: date, cost: int | None = None) -> None:
    """Assign and plan an order, as the planner."""
    tam = stage.people["tam"]
    work.assign(**version(order), assignee_id=who.pk, actor=tam, now=moment)
    money = None if cost is None else Decimal(cost)
    work.plan(**version(order), planned_on=max(on, moment.date()), cost_estimate=money, actor=tam, now=moment)


def do_steps(order: WorkOrder, who: Person, moment: datetime, *, but_last: int = 0) -> datetime:
    """Tick, write, photograph; returns when it was done."""
    steps = list(order.steps.filter(done_at=None))
    for step in steps[: len(steps) - but_last]:
        moment += timedelta(minutes=6)
        picture = PhotoInput(data=_picture(order, step), name="joint.png") if step.kind == Step.Kind.PHOTO else None
        value = VALUES.get(step.unit, "17") if step.kind == Step.Kind.VALUE else ""
        work.do_step(**version(order), sequence=step.sequence, value=value, photo=picture, actor=who, now=moment)
    return moment


def finish(order: WorkOrder, who: Person, moment: datetime, *, minutes: int, note: str = "", **look: Any) -> datetime:
    """All steps and the end; ``look``: what an inspection saw."""
    moment = do_steps(order, who, moment)
    seen = LookInput(**look) if look else None
    work.finish(**version(order), look=seen, note=note, minutes_spent=minutes, actor=who, now=moment)
    return moment


def verify(order: WorkOrder, who: Person, moment: datetime) -> None:
    work.verify(**version(order), note="seen on the spot", actor=who, now=moment)


def wait(order: WorkOrder, who: Person, moment: datetime, *, reason: str, note: str, days: int) -> None:
    until = moment.date() + timedelta(days=days)
    work.begin_wait(**version(order), reason=reason, note=note, expected_until=until, actor=who, now=moment)


def need_part(
    stage: Stage, order: WorkOrder, moment: datetime, *, name: str, lead: int, cost: int, quantity: int = 1
) -> None:
    """Note a part and order it."""
    tam = stage.people["tam"]
    part = work.add_part(
        **version(order),
        name=name,
        quantity=quantity,
        lead_time_days=lead,
        cost=Decimal(cost),
        actor=tam,
        now=moment,
    )
    work.order_part(**version(order), part_id=part.pk, actor=tam, now=moment)


def _picture(order: WorkOrder, step: Step) -> bytes:
    if order.joint.kind == "bolted":
        return photos.bolts(6, 0)
    return photos.weld((order.pk + step.sequence) % 5)
