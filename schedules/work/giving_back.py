"""Orders of somebody who can do them no more, for the role is gone or the account shut: they go back to nobody."""

from __future__ import annotations

from datetime import datetime

from assets_app.people import queries as people
from assets_app.people import rules as rights
from assets_app.people.models import Person
from schedules.work import orders, rules
from schedules.work.models import WorkOrder


def give_back(*, person: Person, site_id: int, reason: str, actor: Person | None, now: datetime) -> list[int]:
    """Take the person's orders at the site back that are not done yet, unless another role still lets them do work.

    What they did and wrote stays on each. Returns their numbers. In the transaction of the deed that took the role or
    shut the account, which has locked the person: who gives an order out locks them too, so none comes in between.
    """
    if rights.may("order.work", people.roles_at(person, site_id)):
        return []
    theirs = WorkOrder.objects.filter(site_id=site_id, assignee=person, state__in=rules.AT_WORK)
    found = list(theirs.select_for_update().order_by("pk"))
    for order in found:
        order.assignee, order.version = None, order.version + 1
        order.save(update_fields=["assignee", "version"])
        facts = {"assignee": None, "was": person.display_name, "reason": reason}
        orders.write_down(order, "order.unassigned", actor=actor, now=now, **facts)
    return [order.number for order in found]
