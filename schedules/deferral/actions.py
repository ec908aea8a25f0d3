"""Work is put off by a signature, with a reason, an interim measure and an end; or that is taken back."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from assets_app.people import queries as people
from assets_app.people.models import Person
from assets_app.record import actions as record
from assets_app.record.queries import came_first
from assets_app.refusals import Conflict, NotFound, Unprocessable
from schedules.deferral import bounds, rules
from schedules.deferral.models import Deferral
from schedules.work import orders
from schedules.work import rules as work
from schedules.work.models import WorkOrder


def sign_deferral(
    *,
    order_id: int,
    expected_version: int,
    ends_on: date,
    reason: str,
    interim_measure: str,
    actor: Person,
    now: datetime,
    cost_estimate: Decimal | None = None,
) -> Deferral:
    """Put an order off until a day. The order keeps the day on which it was due; it is shown as put off until the end.

    Refusals: ``engineer_not_certified``, ``reason_needed``, ``interim_needed``, ``order_changed``, ``order_state``,
    ``no_due_date``, ``already_deferred``, ``cannot_be_deferred`` (a finding stops use), ``ends_too_early``,
    ``beyond_window``.
    """
    people.require_signature(actor, "deferral.sign", orders.site_of(order_id), now)
    if not reason.strip():
        raise Unprocessable("reason_needed", "Say why it is put off.", field="reason")
    if not interim_measure.strip():
        raise Unprocessable("interim_needed", "Say what is done meanwhile to keep it safe.", field="interim_measure")
    if cost_estimate is not None and cost_estimate < 0:
        raise Unprocessable("out_of_range", "A cost is 0 or more.", field="cost_estimate")
    with transaction.atomic():
        order = orders.locked(order_id)
        orders.check_version(order, expected_version)
        today = people.day_at(order.site, now)
        _check_order(order, today)
        explained = bounds.explanations(order, now=now)
        _check_end(order, ends_on, today, rules.earliest(bounds.bounds_of(order, explained, today)))
        _end_lapsed(order, today)
        deferral = Deferral.objects.create(
            order=order,
            site_id=order.site_id,
            was_due_on=order.due_on,
            ends_on=ends_on,
            reason=reason.strip(),
            interim_measure=interim_measure.strip(),
            risk=bounds.risk_of(order, explained),
            cost_estimate=cost_estimate if cost_estimate is not None else order.cost_estimate,
            signed_by=actor,
            signed_at=now,
        )
        facts = {"was_due_on": order.due_on, "ends_on": ends_on, "risk": deferral.risk}
        _write_down(deferral, "deferral.signed", actor, now, reason=reason.strip(), interim=interim_measure, **facts)
    return deferral


def withdraw_deferral(*, deferral_id: int, reason: str, actor: Person, now: datetime) -> Deferral:
    """Take a deferral back: the order is due again on its own day."""
    known = Deferral.objects.filter(pk=deferral_id).first()
    if known is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    people.require(actor, "deferral.sign", known.site_id)
    if not reason.strip():
        raise Unprocessable("reason_needed", "Say why it is taken back.", field="reason")
    with transaction.atomic():
        orders.locked(known.order_id)
        deferral = Deferral.objects.select_for_update(of=("self",)).select_related("order", "site").get(pk=deferral_id)
        if deferral.state != Deferral.State.STANDING:
            said = f"This deferral is {deferral.get_state_display()}."
            raise came_first("not_standing", said, Deferral, deferral.pk)
        _end(deferral, Deferral.State.WITHDRAWN, people.day_at(deferral.site, now))
        _write_down(deferral, "deferral.withdrawn", actor, now, reason=reason.strip())
    return deferral


def end_for_order(*, order: WorkOrder, actor: Person, now: datetime) -> None:
    """The work is done, or called off: what put it off ends, inside the transaction of that deed."""
    deferral = Deferral.objects.select_for_update().filter(order=order, state=Deferral.State.STANDING).first()
    if deferral is None:
        return
    called_off = order.state == work.CANCELLED
    state = Deferral.State.WITHDRAWN if called_off else Deferral.State.ENDED
    _end(deferral, state, people.day_at(order.site, now))
    why = "the order was called off" if called_off else "the work was done"
    _write_down(deferral, f"deferral.{state.value}", actor, now, reason=why)


def _check_order(order: WorkOrder, today: date) -> None:
    if order.state not in work.AT_WORK:
        said = f"The order is {order.get_state_display()}: there is nothing to put off."
        raise came_first("order_state", said, WorkOrder, order.pk, state=order.state)
    if order.due_on is None:
        raise Conflict("no_due_date", "The order is due on no day, so it cannot be put off.")
    grave = bounds.gravest_finding(order)
    if grave is not None:
        raise Conflict(
            "cannot_be_deferred",
            f"A finding on this joint is {grave.severity}: it cannot be put off.",
            finding=grave.pk,
            severity=grave.severity,
        )
    standing = Deferral.objects.filter(order=order, state=Deferral.State.STANDING, ends_on__gte=today).first()
    if standing is not None:
        message = f"It is put off until {standing.ends_on:%-d %b %Y} already. Take that back first."
        raise came_first("already_deferred", message, Deferral, standing.pk, deferral=standing.pk)


def _check_end(order: WorkOrder, ends_on: date, today: date, bound: rules.Bound | None) -> None:
    if ends_on <= today or (order.due_on is not None and ends_on <= order.due_on):
        raise Unprocessable("ends_too_early", "The end must lie ahead, and after the day it is due.", field="ends_on")
    if bound is not None and ends_on > bound.on:
        message = f"Not beyond {bound.on:%-d %b %Y}: {bound.why}."
        raise Unprocessable("beyond_window", message, field="ends_on", latest=bound.on.isoformat())


def _end_lapsed(order: WorkOrder, today: date) -> None:
    """One whose end has passed makes way for a new signature; it stays on file as lapsed."""
    rows = Deferral.objects.filter(order=order, state=Deferral.State.STANDING, ends_on__lt=today)
    rows.update(state=Deferral.State.LAPSED, ended_on=today)


def _end(deferral: Deferral, state: Deferral.State, on: date) -> None:
    deferral.state, deferral.ended_on = state, on
    deferral.save(update_fields=["state", "ended_on"])


def _write_down(deferral: Deferral, deed: str, actor: Person, now: datetime, **facts: object) -> None:
    order = deferral.order
    record.append(
        site_id=deferral.site_id,
        deed=deed,
        actor=actor,
        subject=deferral,
        content={"order": order.number, "title": order.title, **facts},
        now=now,
        asset_id=order.asset_id,
        joint_id=order.joint_id,
    )
