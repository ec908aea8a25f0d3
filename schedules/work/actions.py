"""Deeds on an order between its raising and its end; ``raising``, ``finishing`` and ``holds`` hold the others.

Each one: permission, lock, the version the person saw, state, written, recorded. Lock order: site, joint, order,
finding, record.
"""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from django.db.models import Max

from assets_app.inspections.actions import add_evidence
from assets_app.inspections.inputs import PhotoInput
from assets_app.people import queries as people
from assets_app.people import rules as rights
from assets_app.people.models import Person
from assets_app.record.queries import came_first
from assets_app.refusals import Conflict, NotFound, Unprocessable
from schedules.work import events, orders, rules
from schedules.work.finishing import finish, verify
from schedules.work.holds import place_hold, release_hold
from schedules.work.models import Part, Step, Wait, WorkOrder
from schedules.work.raising import (
    raise_due_orders,
    raise_order_by_hand,
    raise_order_for_due_date,
    raise_order_for_finding,
)

__all__ = [
    "add_part",
    "add_temporary_work",
    "assign",
    "begin_wait",
    "cancel",
    "do_step",
    "end_wait",
    "finish",
    "note_part_done",
    "order_part",
    "part_arrived",
    "place_hold",
    "plan",
    "raise_due_orders",
    "raise_order_by_hand",
    "raise_order_for_due_date",
    "raise_order_for_finding",
    "release_hold",
    "verify",
]
MOST_STEPS, LONGEST_NOTE = 100, 80


def assign(*, order_id: int, expected_version: int, assignee_id: int | None, actor: Person, now: datetime) -> WorkOrder:
    """Give an order to somebody who may work at the site (None: to nobody). Who works there may take a free one."""
    with orders.change(
        order_id,
        "assign",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.assigned",
        assignee_id=assignee_id,
    ) as deed:
        orders.require_free(actor, deed.order)
        person = deed.taker
        if assignee_id is not None:
            roles = people.roles_at(person, deed.order.site_id) if person else frozenset()
            if not rights.may("order.work", roles):
                could = rights.who_could("order.work")
                raise Unprocessable("cannot_work_here", f"Only a {could} of this site can have it.", field="assignee")
        deed.order.assignee = person
        deed.facts["assignee"] = person.display_name if person else None
    return deed.order


def plan(
    *,
    order_id: int,
    expected_version: int,
    planned_on: date | None,
    actor: Person,
    now: datetime,
    cost_estimate: Decimal | None = None,
) -> WorkOrder:
    """Set the day on which it is to be done, and what it is thought to cost (None leaves the cost as it was)."""
    with orders.change(
        order_id,
        "plan",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.planned",
    ) as deed:
        if planned_on is not None and planned_on < deed.today:
            raise Unprocessable("in_the_past", "Plan it for today or later.", field="planned_on")
        if cost_estimate is not None and cost_estimate < 0:
            raise Unprocessable("out_of_range", "A cost is 0 or more.", field="cost_estimate")
        deed.order.planned_on = planned_on
        if cost_estimate is not None:
            deed.order.cost_estimate = cost_estimate
        deed.facts |= {"planned_on": planned_on, "cost_estimate": deed.order.cost_estimate}
    return deed.order


def add_part(
    *,
    order_id: int,
    expected_version: int,
    name: str,
    actor: Person,
    now: datetime,
    quantity: int = 1,
    lead_time_days: int = 0,
    cost: Decimal | None = None,
) -> Part:
    """Note a part that the order needs."""
    with orders.change(
        order_id,
        "add part",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.part_added",
    ) as deed:
        if not name.strip():
            raise Unprocessable("name_needed", "Say which part.", field="name")
        if quantity < 1 or lead_time_days < 0 or (cost is not None and cost < 0):
            raise Unprocessable("out_of_range", "Quantity from 1, lead time and cost from 0.", field="quantity")
        part = Part.objects.create(
            order=deed.order, name=name.strip()[:120], quantity=quantity, lead_time_days=lead_time_days, cost=cost
        )
        deed.facts |= {"part": part.name, "quantity": quantity, "lead_time_days": lead_time_days}
    return part


def add_temporary_work(
    *, order_id: int, expected_version: int, what: str, actor: Person, now: datetime, note: str = ""
) -> list[Step]:
    """A permit, lifting, strongbacks or shoring as two steps at the end: put on, and taken off again.

    Both are required, so that nothing temporary stays on an asset that goes back to use. ``note`` says which.
    """
    with orders.change(
        order_id,
        "add step",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.temporary_work_added",
    ) as deed:
        if what not in rules.TEMPORARY:
            said = ", ".join(rules.TEMPORARY)
            raise Unprocessable("unknown_temporary_work", f"It is one of {said}.", field="what")
        if len(note.strip()) > LONGEST_NOTE:
            raise Unprocessable("note_too_long", f"At most {LONGEST_NOTE} characters.", field="note")
        last = deed.order.steps.aggregate(last=Max("sequence"))["last"] or 0
        if last + 2 > MOST_STEPS:
            raise Conflict("too_many_steps", f"An order has at most {MOST_STEPS} steps.")
        work = rules.TEMPORARY[what]
        steps = [
            Step(order=deed.order, sequence=last + place, text=_with_note(step.text, note), kind=step.kind)
            for place, step in enumerate((work.on, work.off), start=1)
        ]
        Step.objects.bulk_create(steps)
        deed.facts |= {"what": what, "note": note.strip(), "steps": [step.sequence for step in steps]}
    return steps


def _with_note(text: str, note: str) -> str:
    return f"{text}: {note.strip()}" if note.strip() else text


def order_part(*, order_id: int, expected_version: int, part_id: int, actor: Person, now: datetime) -> Part:
    """The part was ordered today."""
    with orders.change(
        order_id,
        "order part",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.part_ordered",
    ) as deed:
        part = _part(deed.order, part_id)
        if part.ordered_on is not None:
            said = f"It was ordered on {part.ordered_on:%-d %b %Y}: note its arrival when it is here."
            raise _part_came_first("already_ordered", said, "order.part_ordered", part)
        part.ordered_on = deed.today
        part.save(update_fields=["ordered_on"])
        deed.facts |= {"part": part.name, "part_id": part.pk}
    return part


def part_arrived(*, order_id: int, expected_version: int, part_id: int, actor: Person, now: datetime) -> Part:
    """The part is here."""
    with orders.change(
        order_id,
        "note arrival of part",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.part_arrived",
    ) as deed:
        part = _part(deed.order, part_id)
        if part.arrived_on is not None:
            said = f"It came on {part.arrived_on:%-d %b %Y}: there is nothing left to note."
            raise _part_came_first("already_here", said, "order.part_arrived", part)
        part.arrived_on = deed.today
        part.save(update_fields=["arrived_on"])
        deed.facts |= {"part": part.name, "part_id": part.pk}
    return part


def begin_wait(
    *,
    order_id: int,
    expected_version: int,
    reason: str,
    actor: Person,
    now: datetime,
    note: str = "",
    expected_until: date | None = None,
) -> Wait:
    """The order stands still: for parts, access, weather or a permit."""
    with orders.change(
        order_id,
        "begin waiting",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.waiting",
    ) as deed:
        if reason not in Wait.Reason.values:
            said = ", ".join(Wait.Reason.values)
            raise Unprocessable("unknown_reason", f"It waits for one of {said}.", field="reason")
        if expected_until is not None and expected_until < deed.today:
            raise Unprocessable("in_the_past", "Expected until today or later.", field="expected_until")
        wait = Wait.objects.create(
            order=deed.order,
            reason=reason,
            note=note.strip()[:200],
            since=deed.today,
            expected_until=expected_until,
            begun_by=actor,
        )
        deed.facts |= {"reason": reason, "note": wait.note, "expected_until": expected_until}
    return wait


def end_wait(*, order_id: int, expected_version: int, actor: Person, now: datetime) -> WorkOrder:
    """What it waited for has come; it goes on where it stood."""
    with orders.change(
        order_id,
        "end waiting",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.waiting_ended",
    ) as deed:
        order = deed.order
        order.waits.filter(ended_on=None).update(ended_on=deed.today)
        done = bool(order.done_note) or order.steps.exclude(done_at=None).exists()
        order.state = rules.after_wait(anything_done=done)
    return order


def do_step(
    *,
    order_id: int,
    expected_version: int,
    sequence: int,
    actor: Person,
    now: datetime,
    value: str = "",
    photo: PhotoInput | None = None,
) -> Step:
    """Tick a step, write its value or add its photo. Done again, it takes the newer value or photo."""
    with orders.change(
        order_id,
        "do step",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.step_done",
    ) as deed:
        step = Step.objects.select_for_update().filter(order=deed.order, sequence=sequence).first()
        if step is None:
            raise NotFound("not_found", f"The order has no step {sequence}.")
        if step.kind == Step.Kind.VALUE:
            if not value.strip():
                raise Unprocessable("value_needed", "Write the value that you read.", field="value")
            step.value = value.strip()[:64]
        if step.kind == Step.Kind.PHOTO:
            if photo is None:
                raise Unprocessable("photo_needed", "Take or choose a photo.", field="photo")
            step.evidence = add_evidence(
                joint_id=deed.order.joint_id,
                data=photo.data,
                name=photo.name,
                caption=photo.caption or step.text[:160],
                finding_id=deed.order.finding_id,
                actor=actor,
                now=now,
            )
        step.done_by, step.done_at = actor, now
        step.save()
        deed.facts |= {"step": sequence, "text": step.text, "value": step.value}
        if step.evidence is not None:
            deed.facts["photo"] = step.evidence.original_sha256
    return step


def note_part_done(
    *, order_id: int, expected_version: int, note: str, actor: Person, now: datetime, minutes_spent: int = 0
) -> WorkOrder:
    """Part of the work is done; the note says what is left."""
    with orders.change(
        order_id,
        "note part done",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.part_done",
    ) as deed:
        if not note.strip():
            raise Unprocessable("note_needed", "Say what is done and what is left.", field="note")
        if minutes_spent < 0:
            raise Unprocessable("out_of_range", "Minutes are 0 or more.", field="minutes_spent")
        deed.order.done_note = note.strip()
        deed.order.minutes_spent += minutes_spent
        deed.facts |= {"note": note.strip(), "minutes": minutes_spent}
    return deed.order


def cancel(*, order_id: int, expected_version: int, reason: str, actor: Person, now: datetime) -> WorkOrder:
    """Call the work off. What is due stays due: only the order goes."""
    with orders.change(
        order_id,
        "cancel",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.cancelled",
    ) as deed:
        if not reason.strip():
            raise Unprocessable("reason_needed", "Say why it is called off.", field="reason")
        deed.order.waits.filter(ended_on=None).update(ended_on=deed.today)
        deed.order.closed_at = now
        deed.facts["reason"] = reason.strip()
        events.order_over.send(sender=__name__, order=deed.order, actor=actor, now=now)
    return deed.order


def _part_came_first(code: str, said: str, deed: str, part: Part) -> Conflict:
    """Two parts of an order may have one name, so that the entry has to name its key."""
    return came_first(code, said, WorkOrder, part.order_id, deed=deed, facts={"part_id": part.pk})


def _part(order: WorkOrder, part_id: int) -> Part:
    part = Part.objects.select_for_update().filter(order=order, pk=part_id).first()
    if part is None:
        raise NotFound("not_found", "The order needs no such part.")
    return part
