"""What schedules does when assets_app tells of a change: in the same transaction, synchronously.

What can only be done after the commit is robust: the deed stands by then, so an error is logged and the person is told
that it was done. What it leaves undone stays in the database, where beat's tasks find it.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.dispatch import receiver

from assets_app import dispatch, events
from assets_app.doors.metrics import Measure, standing_asked
from assets_app.inspections.models import Finding, Inspection
from assets_app.people.models import Person
from assets_app.register.models import Asset, Site
from schedules import gauges
from schedules.alerts import actions as alerts
from schedules.alerts.setting_actions import end_calendar_links
from schedules.deferral import actions as deferral
from schedules.due import actions as due
from schedules.due import corrections, measured_growth, programmes
from schedules.due import events as due_events
from schedules.duty import events as duty_events
from schedules.duty import few
from schedules.work import events as work_events
from schedules.work import eyes, finishing, giving_back, holds, raising
from schedules.work.models import Hold, WorkOrder


@receiver(events.joints_changed)
def mark_joints_stale(*, joint_ids: list[int], why: str, now: datetime, **_: Any) -> None:
    due.mark_joints_stale(joint_ids=joint_ids, why=why, now=now, rating_too=True)
    assets = Asset.objects.filter(joints__in=joint_ids).order_by().values("pk")
    transaction.on_commit(lambda: few.refit(asset_ids=assets, now=now), robust=True)


@receiver(events.register_imported)
def mark_imported_stale(*, asset_ids: list[int], why: str, now: datetime, **_: Any) -> None:
    due.mark_assets_stale(asset_ids=asset_ids, why=why, now=now, rating_too=True)
    transaction.on_commit(lambda: few.refit(asset_ids=asset_ids, now=now), robust=True)


@receiver(events.programmes_given)
def take_programmes(*, rows: list[dict[str, Any]], now: datetime, check_only: bool, **_: Any) -> dict[str, int]:
    return programmes.take_programmes(rows=rows, now=now, check_only=check_only)


@receiver(duty_events.duty_changed)
def mark_assets_stale(*, asset_ids: list[int], why: str, now: datetime, **_: Any) -> None:
    due.mark_assets_stale(asset_ids=asset_ids, why=why, now=now)


@receiver(duty_events.count_corrected)
def fit_growth_anew(*, asset_ids: list[int], since: date, **_: Any) -> None:
    measured_growth.outdate(asset_ids=asset_ids, since=since)  # beat's task finds it


@receiver(duty_events.spectrum_changed)
def mark_ratings_stale(*, joint_ids: list[int], why: str, now: datetime, **_: Any) -> None:
    due.mark_joints_stale(joint_ids=joint_ids, why=why, now=now, rating_too=True)


@receiver(events.inspection_recorded)
def note_look(*, inspection: Inspection, now: datetime, **_: Any) -> None:
    if inspection.corrects is not None:
        eyes.check_correction(inspection)
        corrections.take_back(inspection.corrects)
    due.note_look(inspection=inspection, now=now)
    if inspection.sizes.exists():
        transaction.on_commit(_fit_growth, robust=True)  # found again by its open rows


def _fit_growth() -> None:
    from schedules.due.tasks import fit_growth

    dispatch.send(fit_growth)


@receiver(events.finding_changed)
def mark_finding_stale(*, finding: Finding, now: datetime, **_: Any) -> None:
    due.mark_joints_stale(joint_ids=[finding.joint_id], why="finding changed", now=now)


@receiver(events.inspection_recorded)
def hold_what_was_found(*, findings: list[Finding], now: datetime, **_: Any) -> None:
    for finding in findings:
        holds.place_for_finding(finding=finding, now=now)


@receiver(events.finding_changed)
def hold_what_was_raised(*, finding: Finding, now: datetime, **_: Any) -> None:
    holds.place_for_finding(finding=finding, now=now)


@receiver(events.findings_joined)
def go_on_for_the_first(*, later_id: int, first_id: int, **_: Any) -> list[int]:
    return raising.follow_joined(later_id=later_id, first_id=first_id)


@receiver(events.role_taken)
def give_orders_back(*, person: Person, site_id: int, role: str, actor: Person, now: datetime, **_: Any) -> list[int]:
    reason = f"{person.display_name} is {role} here no more"
    return giving_back.give_back(person=person, site_id=site_id, reason=reason, actor=actor, now=now)


@receiver(events.account_shut)
def end_what_was_theirs(
    *, person: Person, site_ids: list[int], actor: Person | None, now: datetime, **_: Any
) -> list[int]:
    end_calendar_links(person=person, now=now)
    why = {"reason": f"the account of {person.display_name} was shut", "actor": actor, "now": now}
    freed = [giving_back.give_back(person=person, site_id=site_id, **why) for site_id in site_ids]
    return [number for numbers in freed for number in numbers]


@receiver(events.inspection_recorded)
def answer_order(*, inspection: Inspection, now: datetime, **_: Any) -> None:
    """After the commit, since the order is locked before the record. An order left open is found by ``answer_owed``."""
    transaction.on_commit(lambda: finishing.answer_by_look(inspection_id=inspection.pk, now=now), robust=True)


@receiver(work_events.order_over)
def end_deferral(*, order: WorkOrder, actor: Person, now: datetime, **_: Any) -> None:
    deferral.end_for_order(order=order, actor=actor, now=now)


@receiver(work_events.hold_placed)
def tell_of_hold(*, hold: Hold, now: datetime, **_: Any) -> None:
    alerts.tell_of_hold(hold=hold, now=now, released=False)


@receiver(work_events.hold_released)
def tell_of_release(*, hold: Hold, now: datetime, **_: Any) -> None:
    alerts.tell_of_hold(hold=hold, now=now, released=True)


@receiver(due_events.dates_changed)
def tell_of_dates(*, site: Site, columns: dict[str, Any], today: date, now: datetime, **_: Any) -> None:
    alerts.tell_of_dates(site=site, columns=columns, today=today, now=now)


@receiver(due_events.asset_left_out)
def tell_of_left_out(*, site_id: int, now: datetime, **_: Any) -> None:
    alerts.tell_of_left_out(site_id=site_id, now=now)


@receiver(standing_asked)
def measure(*, now: datetime, **_: Any) -> Iterator[Measure]:
    return gauges.measures(now=now)
