"""What every deed on an order shares: seen, allowed, locked, unchanged, then written down. For the actions here."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import transaction

from assets_app.inspections.models import Finding
from assets_app.people import queries as people
from assets_app.people import rules as rights
from assets_app.people.models import Person
from assets_app.record import actions as record
from assets_app.record.models import RecordEntry
from assets_app.record.queries import by_and_when, came_first, words
from assets_app.refusals import Conflict, NotFound
from schedules.due.models import Programme
from schedules.work import rules
from schedules.work.models import WorkOrder

BY_PROGRAMME = people.Named("programme", Programme.objects, "joint__asset__site_id")
BY_FINDING = people.Named("finding", Finding.objects, "joint__asset__site_id")


@dataclass
class Deed:
    """One deed on a locked order; ``facts`` go into the record under the name of ``entry``."""

    order: WorkOrder
    actor: Person
    now: datetime
    entry: str
    facts: dict[str, Any] = field(default_factory=dict)
    taker: Person | None = None

    @property
    def today(self) -> date:
        return people.day_at(self.order.site, self.now)


@contextmanager
def change(
    order_id: int,
    deed: str,
    *,
    expected_version: int,
    actor: Person,
    now: datetime,
    entry: str,
    assignee_id: int | None = None,
) -> Iterator[Deed]:
    """Run a deed on an order: permission, lock, version, state; then save it with its version and its entry.

    ``assignee_id``: who shall have it, locked first and handed on as ``taker`` (None where there is nobody such).

    Raises ``NotFound`` (``not_found``), ``NotAllowed`` (``role_lacks_right``), ``Conflict`` (``order_changed`` with
    what changed since, ``order_state``).
    """
    require_right(actor, deed, order_id, assignee_id=assignee_id)
    with transaction.atomic():
        taker = None if assignee_id is None else _locked_taker(assignee_id)
        order = locked(order_id)
        check_version(order, expected_version)
        state = rules.after(deed, order.state)
        if state is None:
            why = rules.why_not(deed, order.state)
            raise came_first("order_state", why, WorkOrder, order.pk, state=order.state)
        doing = Deed(order, actor, now, entry, taker=taker)
        before, order.state = order.state, state
        yield doing
        order.version += 1
        order.save()
        write_down(order, doing.entry, actor=actor, now=now, before=before, **doing.facts)


def site_of(order_id: int) -> int:
    site_id = WorkOrder.objects.filter(pk=order_id).values_list("site_id", flat=True).first()
    if site_id is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    return site_id


def require_right(actor: Person, deed: str, order_id: int, *, assignee_id: object = None) -> None:
    """Refuse unless the deed on the order is the person's to do; doors ask this before they look at what was sent.

    ``assignee_id``, as sent: who works at the site may take an order, though not give it to another.
    """
    taking = deed == "assign" and str(assignee_id) == str(actor.pk)
    _require_any(actor, rules.EITHER if taking else rules.RIGHTS[deed], site_of(order_id))


def require_free(actor: Person, order: WorkOrder) -> None:
    """Refuse who takes an order that somebody has already, unless giving orders out is theirs."""
    if order.assignee_id is not None:
        _require_any(actor, rules.RIGHTS["assign"], order.site_id)


def _require_any(actor: Person, deeds: tuple[str, ...], site_id: int) -> None:
    roles = people.roles_at(actor, site_id)
    if not any(rights.may(deed, roles) for deed in deeds):
        people.require(actor, deeds[0], site_id)


def locked(order_id: int) -> WorkOrder:
    rows = WorkOrder.objects.select_for_update(of=("self",)).select_related("site", "joint", "asset")
    return rows.get(pk=order_id)


def _locked_taker(person_id: int) -> Person | None:
    """Before the order, as in a deed that takes their role or shuts their account and then looks for their orders: the
    one who comes second sees what the first has done, and neither waits for the other for ever."""
    return Person.objects.select_for_update(no_key=True).filter(pk=person_id).first()


def check_version(order: WorkOrder, expected: int) -> None:
    """Refuse (``order_changed``) what was decided on an older state of the order, with what changed since."""
    if order.version == expected:
        return
    changes = changed_since(order, expected)
    zone = order.site.time_zone
    told = (f"{one['deed']} {by_and_when(one['by'], datetime.fromisoformat(one['at']), zone)}" for one in changes)
    said = "; ".join(told) or "it was changed"
    raise Conflict(
        "order_changed",
        f"The order changed since you opened it: {said}. Look at it again, then decide.",
        version=order.version,
        state=order.state,
        changes=changes,
    )


def changed_since(order: WorkOrder, version: int) -> list[dict[str, Any]]:
    """The deeds on the order after ``version``, oldest first."""
    rows = RecordEntry.objects.filter(subject_kind="workorder", subject_id=order.pk).order_by("sequence")
    return [
        {"deed": words(row.deed), "by": row.actor_name, "at": row.at.isoformat(), "version": row.facts["version"]}
        for row in rows
        if row.facts.get("version", 0) > version
    ]


def write_down(order: WorkOrder, entry: str, *, actor: Person | None, now: datetime, **facts: Any) -> None:
    content = {"number": order.number, "title": order.title, "state": order.state, "version": order.version, **facts}
    record.append(
        site_id=order.site_id,
        deed=entry,
        actor=actor,
        subject=order,
        content=content,
        now=now,
        asset_id=order.asset_id,
        joint_id=order.joint_id,
    )
