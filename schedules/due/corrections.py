"""A look that was put right by another no longer counts: what it had moved is taken back."""

from __future__ import annotations

from assets_app.inspections import queries
from assets_app.inspections.models import Inspection
from schedules.due.models import OwedLook, Programme


def take_back(inspection: Inspection) -> None:
    """Undo what a corrected look did to its programme and to the looks owed; in the transaction of the correction.

    The programme falls back to the latest look that still counts, or to none: then it counts from commissioning, which
    is the safe side. A last look that came from elsewhere (an import) and is not this one stays.
    """
    OwedLook.objects.filter(satisfied_by=inspection).update(satisfied_by=None)
    programme = (
        Programme.objects.select_for_update()
        .filter(joint_id=inspection.joint_id, method=inspection.method, last_look_on=inspection.inspected_on)
        .first()
    )
    if programme is None:
        return
    left = queries.looks_that_count().filter(joint_id=inspection.joint_id, method=inspection.method)
    last = left.order_by("-inspected_on", "-pk").first()
    programme.last_look_on = last.inspected_on if last else None
    programme.last_look_total = last.counter_total if last else None
    programme.last_look_conditions = last.conditions if last else ""
    programme.save(update_fields=["last_look_on", "last_look_total", "last_look_conditions"])
