"""Four eyes: who did the work neither verifies it nor lifts the hold on it.

The record says who did what: a step done again by somebody else keeps the name of the first only there.
"""

from __future__ import annotations

from datetime import datetime

from django.db.models import Exists, OuterRef, Q, QuerySet

from assets_app.inspections.models import Inspection
from assets_app.people.models import Person
from assets_app.record.models import RecordEntry
from assets_app.refusals import NotAllowed
from schedules.work import rules, welding
from schedules.work.models import Hold, Step, WorkOrder

# The deeds by which somebody has worked on an order, whatever the order says of itself by now.
WORK = ("order.step_done", "order.part_done", "order.look_incomplete", "order.finished", "order.answered_by_look")


def worked(orders: QuerySet[WorkOrder], person: Person, *, since: datetime | None = None) -> bool:
    """Whether the person did any of the work of the orders, or welded; ``since`` leaves out what was done before."""
    steps = Step.objects.filter(order__in=orders.values("pk"), done_by=person)
    done = orders.filter(done_by=person)
    told = RecordEntry.objects.filter(
        subject_kind="workorder", subject_id__in=orders.values("pk"), deed__in=WORK, actor=person
    )
    ended = orders.exclude(done_at=None)
    if since is not None:
        steps, done, told = (
            steps.filter(done_at__gte=since),
            done.filter(done_at__gte=since),
            told.filter(at__gte=since),
        )
        ended = ended.filter(done_at__gte=since)
    if done.exists() or steps.exists() or told.exists():
        return True
    return bool(welding.welded_among(ended, person))


def worked_on(order: WorkOrder, person: Person) -> bool:
    """Whether the person did the work of the order, a part of it, welded, or wrote or corrected the look it gave."""
    return not open_to(WorkOrder.objects.filter(pk=order.pk), person).exists()


def open_to(orders: QuerySet[WorkOrder], person: Person) -> QuerySet[WorkOrder]:
    """Those of the orders on which the person did none of the work, so that the person may verify them.

    Two queries, however many orders there are, before that of the orders themselves.
    """
    told = RecordEntry.objects.filter(
        subject_kind="workorder", subject_id=OuterRef("pk"), deed__in=WORK, actor_id=person.pk
    )
    steps = Step.objects.filter(order=OuterRef("pk"), done_by=person)
    own = Q(done_by=person) | Q(inspection__inspector=person)
    own |= Q(inspection__in=_corrected_by(orders, person)) | Q(pk__in=welding.welded_among(orders, person))
    return orders.filter(~Exists(told), ~Exists(steps)).exclude(own)


def _corrected_by(orders: QuerySet[WorkOrder], person: Person) -> set[int]:
    """The looks on the joints of the orders that the person corrected, or corrected a correction of."""
    corrections = Inspection.objects.filter(joint__in=orders.values("joint")).exclude(corrects=None)
    rows = list(corrections.values_list("pk", "corrects_id", "inspector_id"))
    before = {pk: old for pk, old, _ in rows}
    found: set[int] = set()
    for pk, _, inspector_id in rows:
        look = before.get(pk) if inspector_id == person.pk else None
        while look is not None:
            found.add(look)
            look = before.get(look)
    return found


def worked_on_held(hold: Hold, person: Person) -> bool:
    """Whether the person repaired or tightened what is held: for its finding, since it was placed, or last before it.

    The last work on a joint counts whenever it was: a hold may stand because of that very work.
    """
    work = WorkOrder.objects.filter(~Q(kind=rules.INSPECT))
    here = work.filter(joint_id=hold.joint_id) if hold.joint_id else work.filter(asset_id=hold.asset_id)
    if worked(here, person, since=hold.placed_at):
        return True
    if hold.finding_id and worked(work.filter(finding_id=hold.finding_id), person):
        return True
    if hold.joint_id is None:
        return False
    last = here.exclude(done_at=None).order_by("-done_at", "-pk").first()
    return last is not None and worked(work.filter(pk=last.pk), person)


def check_correction(inspection: Inspection) -> None:
    """Refuse (``verified_it``) a correction by who verified the order of the look: nobody would have verified that."""
    earlier = inspection.corrects
    while earlier is not None:
        if earlier.work_orders.filter(verified_by_id=inspection.inspector_id).exists():
            message = "You verified the order of this look; another person must correct it."
            raise NotAllowed("verified_it", message)
        earlier = earlier.corrects
