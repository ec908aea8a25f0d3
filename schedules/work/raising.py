"""Orders are raised here: from a due date, from a finding, by hand, or all that fall due at a site."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.db.models import Exists, Max, OuterRef, Q, QuerySet

from assets_app.inspections.kinds import KINDS
from assets_app.inspections.models import Finding, Method
from assets_app.people import queries as people
from assets_app.people.models import Person
from assets_app.record import actions as record
from assets_app.record.queries import came_first
from assets_app.refusals import Conflict, NotFound, Unprocessable
from assets_app.register.models import Joint, Site
from schedules.due.finding_rules import finding_day
from schedules.due.models import DueDate, Limit, Policy, Programme
from schedules.work import orders, rules
from schedules.work.models import Step, WorkOrder

AT_ONCE = 1000  # orders a batch


def raise_order_for_due_date(
    *, programme_id: int, actor: Person, now: datetime, cost_estimate: Decimal | None = None
) -> WorkOrder:
    """Raise the order for the look that a programme owes. Refusals: ``order_open`` (with its id), ``nothing_due``."""
    programme = Programme.objects.select_related("joint__asset__site").filter(pk=programme_id).first()
    if programme is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    joint = programme.joint
    people.require(actor, "order.raise", joint.asset.site_id)
    due = DueDate.objects.filter(programme=programme).first()
    if due is None:
        raise Conflict("nothing_due", f"No {programme.method} is owed on {joint.tag}.")
    order = _new(joint, rules.INSPECT, programme.method, "due date", actor, now, cost_estimate=cost_estimate)
    order.due_on, order.why = due.due_on, why_words(due)
    return _raise(order, actor, now)


def raise_order_for_finding(
    *, finding_id: int, kind: str, actor: Person, now: datetime, cost_estimate: Decimal | None = None
) -> WorkOrder:
    """Raise a repair, or the tightening of bolts, for an open finding; it is due when the finding's severity says."""
    finding = Finding.objects.select_related("joint__asset__site").filter(pk=finding_id).first()
    if finding is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    joint = finding.joint
    people.require(actor, "order.raise", joint.asset.site_id)
    if kind not in (rules.REPAIR, rules.TIGHTEN):
        raise Unprocessable("unknown_kind", "A finding asks for repair or tighten.", field="kind")
    if not finding.is_open:
        said = f"This finding is {finding.get_state_display()} already."
        raise came_first("finding_not_open", said, Finding, finding.pk)
    same = WorkOrder.objects.filter(finding=finding, kind=kind, state__in=rules.LIVE).first()
    if same is not None:
        said = f"Order {same.number} is open for this finding."
        raise came_first("order_open", said, WorkOrder, same.pk, order=same.pk)
    order = _new(joint, kind, "", "finding", actor, now, cost_estimate=cost_estimate)
    order.finding, order.due_on = finding, finding_due_on(finding)
    found = f"{KINDS[finding.kind].words} found on {finding.found_on:%-d %b %Y}"
    order.why = f"{found[0].upper()}{found[1:]}: {finding.severity}."
    return _raise(order, actor, now)


def follow_joined(*, later_id: int, first_id: int) -> list[int]:
    """Live orders for a finding go on for the one found first; their numbers. The joining writes it into the record."""
    rows = WorkOrder.objects.select_for_update().filter(finding=later_id, state__in=rules.LIVE).order_by("pk")
    numbers = []
    for order in rows:
        order.finding_id, order.version = first_id, order.version + 1
        order.save(update_fields=["finding", "version"])
        numbers.append(order.number)
    return numbers


def raise_order_by_hand(
    *,
    joint_id: int,
    kind: str,
    actor: Person,
    now: datetime,
    why: str,
    method: str = "",
    due_on: date | None = None,
    cost_estimate: Decimal | None = None,
) -> WorkOrder:
    """Raise an order that neither a date nor a finding asks for; ``why`` is said in words."""
    joint = Joint.objects.select_related("asset__site").filter(pk=joint_id).first()
    if joint is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    people.require(actor, "order.raise", joint.asset.site_id)
    if kind not in rules.KINDS:
        raise Unprocessable("unknown_kind", f"Kind is one of {', '.join(rules.KINDS)}.", field="kind")
    if kind == rules.INSPECT and method not in Method.values:
        raise Unprocessable("unknown_method", f"Method is one of {', '.join(Method.values)}.", field="method")
    if (kind == rules.TIGHTEN or method == Method.BOLT_CHECK) and joint.kind != Joint.Kind.BOLTED:
        raise Unprocessable("kind_does_not_fit", f"{joint.tag} has no bolts.", field="kind")
    if not why.strip():
        raise Unprocessable("reason_needed", "Say why this work is needed.", field="why")
    method = method if kind == rules.INSPECT else ""
    order = _new(joint, kind, method, "by hand", actor, now, cost_estimate=cost_estimate)
    order.due_on, order.why = due_on, why.strip()
    return _raise(order, actor, now)


def due_without_order(site_id: int, until: date) -> QuerySet[DueDate]:
    """Looks due by a day for which no order is open.

    Where an open finding governs and its repair has an order, that order is the answer, until another limit asks.
    """
    live = WorkOrder.objects.filter(
        joint=OuterRef("joint"), method=OuterRef("method"), kind=rules.INSPECT, state__in=rules.LIVE
    )
    repair = WorkOrder.objects.filter(joint=OuterRef("joint"), finding__isnull=False, state__in=rules.LIVE)
    only_the_finding = Q(governing=Limit.FINDING) & (Q(next_on=None) | Q(next_on__gt=until))
    rows = DueDate.objects.filter(~Exists(live), site_id=site_id, due_on__lte=until)
    rows = rows.exclude(only_the_finding & Q(Exists(repair)))
    return rows.select_related("joint__asset").order_by("due_on", "programme")


@transaction.atomic
def raise_due_orders(*, site_id: int, within_days: int, actor: Person, now: datetime) -> list[WorkOrder]:
    """Raise an order for every look due within so many days that has none open. Run again it raises nothing new."""
    people.require(actor, "order.raise", site_id)
    if not 0 <= within_days <= 366:
        raise Unprocessable("out_of_range", "Days go from 0 to 366.", field="within_days")
    site = Site.objects.select_for_update(no_key=True).get(pk=site_id)
    until = people.day_at(site, now) + timedelta(days=within_days)
    number = _next_number(site_id)
    raised = []
    for due in due_without_order(site_id, until).iterator(chunk_size=AT_ONCE):
        order = _new(due.joint, rules.INSPECT, due.method, "due date", actor, now)
        order.number, order.due_on, order.why = number + len(raised), due.due_on, why_words(due)
        raised.append(order)
    if not raised:
        return []
    WorkOrder.objects.bulk_create(raised, batch_size=AT_ONCE)
    Step.objects.bulk_create((step for order in raised for step in _steps(order)), batch_size=AT_ONCE)
    numbers = [order.number for order in raised]
    content = {"within_days": within_days, "first": numbers[0], "last": numbers[-1], "count": len(numbers)}
    content["orders"] = [[order.number, order.title, order.due_on] for order in raised]
    record.append(site_id=site_id, deed="orders.raised", actor=actor, subject=site, content=content, now=now)
    return raised


def why_words(due: DueDate) -> str:
    """The governing limit in one short sentence; the page explains the rest afresh."""
    if due.due_on is None:
        return "Nothing limits it by a date."
    following = f" Next: {due.next_limit}, {due.next_on:%-d %b %Y}." if due.next_limit and due.next_on else ""
    return f"{due.governing.capitalize()} governs: {due.due_on:%-d %b %Y}.{following}"


def finding_due_on(finding: Finding) -> date | None:
    """By when a finding asks for its repair, by the site's lead times."""
    policy = Policy.objects.filter(site_id=finding.joint.asset.site_id).first() or Policy()
    last = finding.assessments.first() if finding.state == Finding.State.ASSESSED else None
    return finding_day(
        severity=finding.severity,
        found_on=finding.found_on,
        last_look_on=None,
        assessed_until=last.ends_on if last else None,
        policy=policy,
    )


def _new(
    joint: Joint,
    kind: str,
    method: str,
    origin: str,
    actor: Person,
    now: datetime,
    cost_estimate: Decimal | None = None,
) -> WorkOrder:
    if not joint.active:
        raise Conflict("joint_retired", f"{joint.tag} is no longer in use.")
    if cost_estimate is not None and cost_estimate < 0:
        raise Unprocessable("out_of_range", "A cost is 0 or more.", field="cost_estimate")
    return WorkOrder(
        site_id=joint.asset.site_id,
        asset=joint.asset,
        joint=joint,
        kind=kind,
        method=method,
        origin=origin,
        title=rules.title_for(kind, method, joint.tag, joint.name),
        cost_estimate=cost_estimate,
        raised_by=actor,
        raised_at=now,
    )


def _raise(order: WorkOrder, actor: Person, now: datetime) -> WorkOrder:
    """Number it, write it with its steps and its entry; a second open look of the same kind is refused."""
    with transaction.atomic():
        Site.objects.select_for_update(no_key=True).get(pk=order.site_id)
        order.number = _next_number(order.site_id)
        try:
            with transaction.atomic():
                order.save(force_insert=True)
        except IntegrityError:
            same = WorkOrder.objects.filter(
                joint=order.joint, method=order.method, kind=order.kind, state__in=rules.LIVE
            ).first()
            if same is None:
                raise
            said = f"Order {same.number} is open for this look."
            raise came_first("order_open", said, WorkOrder, same.pk, order=same.pk) from None
        Step.objects.bulk_create(_steps(order))
        facts = {"origin": order.origin, "finding": order.finding_id, "due_on": order.due_on, "why": order.why}
        orders.write_down(order, "order.raised", actor=actor, now=now, **facts)
    return order


def _steps(order: WorkOrder) -> list[Step]:
    return [
        Step(order=order, sequence=place, text=each.text, kind=each.kind, unit=each.unit, required=each.required)
        for place, each in enumerate(rules.steps_for(order.kind, order.method), start=1)
    ]


def _next_number(site_id: int) -> int:
    """The site's row is locked by the caller."""
    last = WorkOrder.objects.filter(site_id=site_id).aggregate(last=Max("number"))["last"]
    return (last or 0) + 1
