"""Who answers for the weld of a repair: named when the work is done, and qualified for it on that day.

Every repair order on a welded joint welds: its steps say so. Who welded, and how, is told at the end; the register's
process stands in where none is told. The register holds no welding position. What neither says is not known: it is not
compared with the certificate, and the record, the page and the paper say so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from assets_app.people import actions as people_actions
from assets_app.people.models import Person, Qualification
from assets_app.record.models import RecordEntry
from assets_app.refusals import Unprocessable
from assets_app.register.models import Joint
from schedules.work import rules
from schedules.work.models import WorkOrder
from schedules.work.orders import Deed

FINISHED = "order.finished"


@dataclass(frozen=True, kw_only=True)
class WeldInput:
    """How the repair was welded.

    Attributes:
        welder_id: who welded; None is the person who says that the work is done.
        process: number after ISO 4063, such as 135; empty: as the register has it.
        position: after ISO 6947, such as PF; empty: not known.
    """

    welder_id: int | None = None
    process: str = ""
    position: str = ""


NOTHING_TOLD = WeldInput()


def welds(order: WorkOrder) -> bool:
    return order.kind == rules.REPAIR and order.joint.kind == Joint.Kind.WELD


def process_of(joint: Joint) -> str:
    """The process that the register has for the joint; empty: not known."""
    weld = getattr(joint, "weld", None)
    return weld.process if weld else ""


def answer_for(deed: Deed, told: WeldInput) -> list[Qualification]:
    """Check the welder and put the weld among the facts of the deed; gives the certificates, locked.

    Refusals: ``weld_not_asked``, ``no_such_welder``, ``unknown_position``, ``welder_not_qualified``.
    """
    order = deed.order
    if not welds(order):
        if told != NOTHING_TOLD:
            raise Unprocessable("weld_not_asked", "This order welds nothing; leave the welder out.", field="welder_id")
        return []
    welder = _welder(order, told.welder_id, deed.actor)
    process = told.process.strip() or process_of(order.joint)
    position = told.position.strip().upper()
    people_actions.check_positions(position, field="position")
    covering = people_actions.lock_weld_certificates(
        site_id=order.site_id, welder=welder, process=process, position=position, on=deed.today
    )
    deed.facts["weld"] = {
        "welder_id": welder.pk,
        "welder": welder.display_name,
        "process": process or None,
        "position": position or None,
        "certificates": [row.certificate for row in covering if row.certificate],
    }
    return covering


def count(deed: Deed, covering: list[Qualification]) -> None:
    """The weld counts as its welder's work for continuity; where the process is not known nothing is extended.

    It writes to the record, so it comes after the findings are locked.
    """
    if not deed.facts.get("weld", {}).get("process"):
        return
    people_actions.count_weld(
        site_id=deed.order.site_id,
        covering=covering,
        on=deed.today,
        why=f"order {deed.order.number}",
        actor=deed.actor,
        now=deed.now,
    )


def _welder(order: WorkOrder, welder_id: int | None, actor: Person) -> Person:
    if welder_id in (None, actor.pk):
        return actor
    welder = Person.objects.filter(pk=welder_id, roles__site_id=order.site_id).distinct().first()
    if welder is None:
        raise Unprocessable("no_such_welder", "Name somebody who works at this site.", field="welder_id")
    return welder


def weld_of(order_id: int) -> dict[str, Any] | None:
    """What the record says of the weld of a finished order; None where none is told."""
    entry = _finished([order_id]).order_by("-sequence").first()
    return entry.facts.get("weld") if entry else None


def welded_among(orders: QuerySet[WorkOrder], person: Person) -> set[int]:
    """Of which of the orders the person was the welder."""
    told = _finished(orders.values("pk")).filter(content__contains=f'"welder_id":{person.pk}')  # canonical: no spaces
    return {row.subject_id for row in told if (row.facts.get("weld") or {}).get("welder_id") == person.pk}


def _finished(order_ids: Any) -> QuerySet[RecordEntry]:
    return RecordEntry.objects.filter(subject_kind="workorder", subject_id__in=order_ids, deed=FINISHED)
