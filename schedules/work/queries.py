"""Reads of work: orders in sight, a person's day, holds that stand."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db.models import Max, Prefetch, Q, QuerySet

from assets_app.inspections.models import Finding
from assets_app.inspections.queries import with_sizes
from assets_app.people.models import Person, Role
from assets_app.people.queries import sites_of
from assets_app.people.rules import MAY
from assets_app.record.models import RecordEntry
from assets_app.record.queries import words
from assets_app.refusals import NotFound
from assets_app.register.models import Asset, Site
from schedules.due import queries as due
from schedules.due.models import Programme
from schedules.work import eyes, rules
from schedules.work.models import Hold, Wait, WorkOrder


def orders_in_sight(person: Person) -> QuerySet[WorkOrder]:
    rows = WorkOrder.objects.filter(site__in=sites_of(person))
    return rows.select_related("site", "asset", "joint", "assignee")


def order_in_sight(person: Person, order_id: int) -> WorkOrder:
    """The order with its steps, parts and waits, or ``NotFound`` where the person has no role."""
    rows = orders_in_sight(person).select_related("finding", "done_by", "verified_by", "raised_by", "inspection")
    order = rows.prefetch_related("steps__done_by", "steps__evidence", "parts", "waits__begun_by").filter(pk=order_id)
    found = order.first()
    if found is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    return found


TO_VERIFY = 40  # the longest waiting that this person may verify; a person verifies a few a day


@dataclass
class Place:
    """Orders that stand together on the site."""

    name: str
    orders: list[WorkOrder] = field(default_factory=list)


@dataclass
class MyWork:
    """A person's orders: the next one, today's by place, those that wait, those for later, and what to verify."""

    next: WorkOrder | None
    today: list[Place]
    waiting: list[WorkOrder]
    later: list[WorkOrder]
    to_verify: list[WorkOrder]
    free: list[WorkOrder]
    held: dict[int, Hold]  # asset -> a hold that stands


def my_work(person: Person, *, today: date, place: str = "") -> MyWork:
    """What is mine to do. The next job is the earliest of today's, at ``place`` if one is there."""
    mine = with_put_off(orders_in_sight(person)).filter(assignee=person, state__in=rules.AT_WORK)
    mine = mine.prefetch_related(Prefetch("waits", Wait.objects.filter(ended_on=None), to_attr="waits_now"))
    ordered = sorted(mine, key=urgency)
    waiting = [order for order in ordered if order.state == rules.WAITING]
    ready = [order for order in ordered if order.state != rules.WAITING]
    now_due = [order for order in ready if is_for_today(order, today)]
    here = [order for order in now_due or ready if place and order.asset.place == place]
    following = next(iter(here or now_due or ready), None)
    asset_ids = {order.asset_id for order in ordered}
    return MyWork(
        next=following,
        today=_by_place([order for order in now_due if order is not following]),
        waiting=waiting,
        later=[order for order in ready if order not in now_due and order is not following],
        to_verify=_to_verify(person),
        free=_free(person),
        held={hold.asset_id: hold for hold in standing_holds(asset_ids)},
    )


def with_put_off(rows: QuerySet[WorkOrder]) -> QuerySet[WorkOrder]:
    """Orders with ``put_off_until``, the end of the deferral that stands on each."""
    return rows.annotate(put_off_until=Max("deferrals__ends_on", filter=Q(deferrals__state="standing")))


def is_for_today(order: WorkOrder, today: date) -> bool:
    """Planned for today or before; without a plan, due by today, or put off until today at the latest."""
    day = order.planned_on or order.put_off_until or order.due_on
    return day is not None and day <= today


def standing_holds(asset_ids: Iterable[int]) -> QuerySet[Hold]:
    """The holds that stand on these assets, on any joint of them."""
    rows = Hold.objects.filter(asset_id__in=list(asset_ids), released_at=None)
    return rows.select_related("asset", "joint", "finding", "placed_by")


def holds_in_sight(person: Person) -> QuerySet[Hold]:
    rows = Hold.objects.filter(site__in=sites_of(person))
    return rows.select_related("site", "asset", "joint", "finding", "placed_by", "released_by")


def hold_in_sight(person: Person, hold_id: int) -> Hold:
    hold = holds_in_sight(person).filter(pk=hold_id).first()
    if hold is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    return hold


def who_lifts(site_id: int) -> str:
    """The named authorities of a site in words; empty where nobody is named."""
    named = Role.objects.filter(site_id=site_id, release_authority=True, name__in=MAY["hold.release"])
    people = {role.person.display_name for role in named.filter(person__is_active=True).select_related("person")}
    return " or ".join(sorted(people))


def workers_at(site_id: int) -> list[Person]:
    """Who can be given an order at the site, by name."""
    able = Person.objects.filter(is_active=True, roles__site_id=site_id, roles__name__in=MAY["order.work"])
    return list(able.distinct().order_by("last_name", "first_name", "username"))


def history(order: WorkOrder) -> list[dict[str, Any]]:
    """Who did what to the order, newest first, from the record."""
    rows = RecordEntry.objects.filter(subject_kind="workorder", subject_id=order.pk).order_by("-sequence")
    return [{"at": row.at, "by": row.actor_name, "did": words(row.deed), "facts": row.facts} for row in rows]


def open_findings(joint_id: int) -> list[Finding]:
    rows = Finding.objects.filter(joint_id=joint_id, state__in=["open", "assessed"])
    return list(rows.prefetch_related(with_sizes()))


def explanation(order: WorkOrder, *, now: datetime) -> due.Explanation | None:
    """Why the look of an order falls due when it does, afresh; None where no programme owes it."""
    programme = Programme.objects.filter(joint_id=order.joint_id, method=order.method).first()
    if programme is None:
        return None
    try:
        return due.explain(programme.pk, now=now)
    except NotFound:
        return None


def urgency(order: WorkOrder) -> tuple[Any, ...]:
    """Sorts orders of ``with_put_off``, the next one first."""
    far = date.max
    return (
        order.planned_on or order.put_off_until or order.due_on or far,
        order.due_on or far,
        order.asset.place,
        order.pk,
    )


def _by_place(found: list[WorkOrder]) -> list[Place]:
    places: dict[str, Place] = {}
    for order in found:
        name = order.asset.place or order.asset.name
        places.setdefault(name, Place(name)).orders.append(order)
    return list(places.values())


def _to_verify(person: Person) -> list[WorkOrder]:
    able = Role.objects.filter(person=person, name__in=MAY["order.verify"]).values("site_id")
    rows = eyes.open_to(orders_in_sight(person).filter(state=rules.DONE, site_id__in=able), person)
    return list(rows.select_related("done_by").order_by("done_at", "pk")[:TO_VERIFY])


def _free(person: Person) -> list[WorkOrder]:
    """Nobody's orders that this person could take."""
    able = Role.objects.filter(person=person, name__in=MAY["order.work"]).values("site_id")
    rows = with_put_off(orders_in_sight(person)).filter(state__in=rules.AT_WORK, assignee=None, site_id__in=able)
    return list(rows.order_by("due_on", "pk")[:20])


def assets_in_sight(person: Person) -> QuerySet[Asset]:
    rows = Asset.objects.filter(site__in=sites_of(person)).exclude(status=Asset.Status.RETIRED)
    return rows.order_by("site__name", "tag")


def sites_where(person: Person, deed: str) -> list[Site]:
    """The sites at which a person may do a deed."""
    able = Role.objects.filter(person=person, name__in=MAY[deed]).values("site_id")
    return list(Site.objects.filter(pk__in=able))
