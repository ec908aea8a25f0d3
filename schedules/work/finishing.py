"""The end of an order: done, with its look or repair written back in the same transaction; then verified by another."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import OperationalError, transaction

from assets_app.inspections import bolt_sheet_actions
from assets_app.inspections.actions import FindingInput, PhotoInput, add_evidence, mark_repaired, record_inspection
from assets_app.inspections.bolt_rules import BoltInput
from assets_app.inspections.models import Finding, Inspection, Method
from assets_app.people.models import Person
from assets_app.refusals import Conflict, NotAllowed, Unprocessable
from assets_app.register.models import Joint
from schedules.due import actions as due
from schedules.due.models import Policy, Programme
from schedules.due.programme_actions import ensure_programme
from schedules.work import events, eyes, orders, rules, welding
from schedules.work.models import WorkOrder
from schedules.work.welding import NOTHING_TOLD, WeldInput

_log = logging.getLogger(__name__)


@dataclass(frozen=True, kw_only=True)
class LookInput:
    """The look that an inspection order asks for.

    Attributes:
        result: accepted, findings or incomplete; an incomplete one is recorded and leaves the order part done.
        conditions: good, normal or poor.
        inspected_at: None is the moment of finishing.
        bolts: the bolt-by-bolt sheet of a bolt check; its lost bolts are findings by themselves.
    """

    result: str
    conditions: str = Inspection.Conditions.NORMAL.value
    inspected_at: datetime | None = None
    findings: Sequence[FindingInput] = ()
    note: str = ""
    counter_total: float | None = None
    bolts: Sequence[BoltInput] = ()


def finish(
    *,
    order_id: int,
    expected_version: int,
    actor: Person,
    now: datetime,
    look: LookInput | None = None,
    photos: Sequence[PhotoInput] = (),
    note: str = "",
    minutes_spent: int = 0,
    also_repaired: Sequence[int] = (),
    weld: WeldInput = NOTHING_TOLD,
) -> WorkOrder:
    """The work is done. An inspection writes its look; a repair marks its findings repaired and owes a look after it;
    tightening owes a re-check. All of it, and the mark that recomputes the date, stands or falls together.

    ``also_repaired``: further findings of the joint that the work put right. ``weld``: who welded and how, where the
    order welds. Refusals: ``steps_open``, ``look_needed``, ``look_not_asked``, ``other_joint``,
    ``welder_not_qualified``, and whatever recording a look refuses.
    """
    if minutes_spent < 0:
        raise Unprocessable("out_of_range", "Minutes are 0 or more.", field="minutes_spent")
    orders.require_right(actor, "finish", order_id)
    with transaction.atomic():
        _lock_joint_of(order_id)
        with orders.change(
            order_id,
            "finish",
            expected_version=expected_version,
            actor=actor,
            now=now,
            entry="order.finished",
        ) as deed:
            order = deed.order
            _check_asked(order, look)
            complete = look is None or look.result != Inspection.Result.INCOMPLETE
            if complete:
                _check_steps(order)
            covering = welding.answer_for(deed, weld)
            order.done_note = note.strip() or order.done_note
            order.minutes_spent += minutes_spent
            deed.facts |= {"note": note.strip(), "minutes": minutes_spent}
            if look is not None:
                _write_look(deed, look, photos)
            else:
                _write_repair(deed, photos, also_repaired)
                welding.count(deed, covering)
            if not complete:
                order.state, deed.entry = rules.PART_DONE, "order.look_incomplete"
                return order
            order.done_by, order.done_at = actor, now
            events.order_over.send(sender=__name__, order=order, actor=actor, now=now)
    return order


def verify(*, order_id: int, expected_version: int, actor: Person, now: datetime, note: str = "") -> WorkOrder:
    """Another person than the doer has seen that it is right: the order is closed."""
    with orders.change(
        order_id,
        "verify",
        expected_version=expected_version,
        actor=actor,
        now=now,
        entry="order.verified",
    ) as deed:
        order = deed.order
        if eyes.worked_on(order, actor):
            raise NotAllowed("did_the_work", "You did this work; another person must verify it.")
        order.verified_by, order.verified_at, order.closed_at = actor, now, now
        deed.facts |= {"note": note.strip(), "done_by": order.done_by.display_name if order.done_by else None}
    return order


def answer_by_look(*, inspection_id: int, now: datetime) -> WorkOrder | None:
    """A look recorded outside its order answers the order: done by the inspector, to be verified. Safe to run again.

    It runs after the look has committed: the order is locked before the record, as everywhere.
    """
    inspection = Inspection.objects.select_related("inspector").get(pk=inspection_id)
    if not inspection.counts_as_look:
        return None
    with transaction.atomic():
        order = (
            WorkOrder.objects.select_for_update(of=("self",))
            .select_related("site", "joint", "asset")
            .filter(
                joint_id=inspection.joint_id,
                method=inspection.method,
                kind=rules.INSPECT,
                state__in=rules.AT_WORK,
                raised_at__lte=inspection.recorded_at,
            )
            .first()
        )
        if order is None:
            return None
        before, order.state = order.state, rules.TRANSITIONS["answer by look"][order.state]
        order.inspection, order.done_by, order.done_at = inspection, inspection.inspector, inspection.recorded_at
        order.waits.filter(ended_on=None).update(ended_on=inspection.inspected_on)
        order.version += 1
        order.save()
        orders.write_down(
            order,
            "order.answered_by_look",
            actor=inspection.inspector,
            now=now,
            before=before,
            inspection=inspection.pk,
        )
        events.order_over.send(sender=__name__, order=order, actor=inspection.inspector, now=now)
    return order


def answer_owed(*, now: datetime) -> int:
    """Open orders whose look stands already: finds what a crash between look and order left.

    One that cannot be answered is logged and keeps no other from its answer; it is tried again at the next call.
    """
    answered = 0
    for order in WorkOrder.objects.filter(kind=rules.INSPECT, state__in=rules.AT_WORK).iterator(chunk_size=1000):
        look = (
            Inspection.objects.filter(
                joint_id=order.joint_id, method=order.method, recorded_at__gte=order.raised_at, corrections=None
            )
            .exclude(result=Inspection.Result.INCOMPLETE)
            .first()
        )
        try:
            answered += look is not None and answer_by_look(inspection_id=look.pk, now=now) is not None
        except OperationalError:
            raise  # the database is away: the task is tried again
        except Exception:
            _log.exception("order %s could not be answered by its look", order.number)
    return answered


def _lock_joint_of(order_id: int) -> None:
    Joint.objects.select_for_update(of=("self",)).get(work_orders=order_id)


def _check_asked(order: WorkOrder, look: LookInput | None) -> None:
    if order.kind == rules.INSPECT and look is None:
        raise Unprocessable("look_needed", "Say what was seen: the result of the look is missing.", field="result")
    if order.kind != rules.INSPECT and look is not None:
        raise Unprocessable("look_not_asked", "This order asks for a repair; record the look after it on its own.")


def _check_steps(order: WorkOrder) -> None:
    left = list(order.steps.filter(required=True, done_at=None).values_list("sequence", flat=True))
    if left:
        said = ", ".join(map(str, left))
        raise Conflict("steps_open", f"Not done yet: step {said}. Do them, or note it part done.", steps=left)


def _write_look(deed: orders.Deed, look: LookInput, photos: Sequence[PhotoInput]) -> None:
    order = deed.order
    told = {
        "joint_id": order.joint_id,
        "inspected_at": look.inspected_at or deed.now,
        "result": look.result,
        "conditions": look.conditions,
        "findings": look.findings,
        "note": look.note,
        "counter_total": look.counter_total,
        "photos": photos,
        "actor": deed.actor,
        "now": deed.now,
    }
    if look.bolts and order.method != Method.BOLT_CHECK:
        raise Unprocessable("sheet_not_asked", "This order asks for no bolt sheet.", field="bolts")
    if look.bolts:
        inspection = bolt_sheet_actions.record_bolt_sheet(bolts=look.bolts, **told)
    else:
        inspection = record_inspection(method=order.method, **told)
    deed.facts |= {"inspection": inspection.pk, "result": inspection.result}
    if inspection.counts_as_look:
        order.inspection = inspection


def _write_repair(deed: orders.Deed, photos: Sequence[PhotoInput], also: Sequence[int]) -> None:
    order = deed.order
    for photo in photos:
        add_evidence(
            joint_id=order.joint_id,
            data=photo.data,
            name=photo.name,
            caption=photo.caption,
            finding_id=order.finding_id,
            actor=deed.actor,
            now=deed.now,
        )
    repaired = []
    for pk in dict.fromkeys([*([order.finding_id] if order.finding_id else []), *also]):
        finding = Finding.objects.filter(pk=pk, joint_id=order.joint_id).first()
        if finding is None:
            raise Unprocessable("other_joint", "That finding is not one of this joint.", field="also_repaired")
        if finding.is_open:
            mark_repaired(finding=finding, actor=deed.actor, now=deed.now)
            repaired.append(finding.pk)
    deed.facts |= {"repaired": repaired, "owed": _owe_looks(deed)}


def _owe_looks(deed: orders.Deed) -> list[str]:
    """The looks that this work owes: by every method owed here after a repair, a re-check after work on bolts."""
    order = deed.order
    policy = Policy.objects.filter(site_id=order.site_id).first() or Policy()
    after_repair = deed.today + timedelta(days=policy.repair_look_days)
    recheck = deed.today + timedelta(days=policy.bolt_recheck_days)
    bolted = order.joint.kind == Joint.Kind.BOLTED
    owed: dict[str, date] = {}
    if order.kind == rules.REPAIR:
        methods = Programme.objects.filter(joint=order.joint, active=True).values_list("method", flat=True)
        owed = {method: after_repair for method in methods if method != Method.BOLT_CHECK}
        if not owed and not bolted:
            owed = {Method.VT.value: after_repair}
    if order.kind == rules.TIGHTEN or bolted:
        owed[Method.BOLT_CHECK.value] = recheck
    what = "repair" if order.kind == rules.REPAIR else "re-check of bolts tightened"
    for method, day in owed.items():
        ensure_programme(joint_id=order.joint_id, method=method, why=f"order {order.number}", now=deed.now)
        due.owe_look(
            joint_id=order.joint_id,
            limit="after work",
            due_on=day,
            method=method,
            why=f"first look after {what}, order {order.number}"
            if order.kind == rules.REPAIR
            else f"{what}, order {order.number}",
            source="lead time of the site's policy",
            now=deed.now,
        )
    return [f"{method} by {day.isoformat()}" for method, day in owed.items()]
