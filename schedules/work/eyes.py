"""Four eyes: who did the work neither verifies it nor lifts the hold on it.

The record says who did what: a step done again by somebody else keeps the name of the first only there.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db.models import Q, QuerySet

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
    return welding.welded_any(ended.values_list("pk", flat=True), person)


def worked_on(order: WorkOrder, person: Person) -> bool:
    """Whether the person did the work of the order, a part of it, or wrote or corrected the look that it gave."""
    return worked(WorkOrder.objects.filter(pk=order.pk), person) or _looked(order.inspection, person)


def worked_among(orders: Sequence[WorkOrder], person: Person) -> set[int]:
    """Which of some orders the person worked on, welded or looked for, and so may not verify.

    Three queries for all, and one for each that has a look.
    """
    ids = [order.pk for order in orders]
    told = RecordEntry.objects.filter(subject_kind="workorder", subject_id__in=ids, deed__in=WORK, actor=person)
    own = set(told.values_list("subject_id", flat=True))
    own |= set(Step.objects.filter(order__in=ids, done_by=person).values_list("order_id", flat=True))
    own |= welding.welded_among(ids, person)
    return own | {order.pk for order in orders if order.done_by_id == person.pk or _looked(order.inspection, person)}


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


def _looked(look: Inspection | None, person: Person) -> bool:
    while look is not None:
        if look.inspector_id == person.pk:
            return True
        look = look.corrections.order_by("pk").first()
    return False
