"""What schedules does when assets_app tells of a change: in the same transaction, synchronously."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.dispatch import receiver

from assets_app import events
from assets_app.inspections.models import Finding, Inspection
from schedules.due import actions as due
from schedules.duty import events as duty_events


@receiver(events.joints_changed)
def mark_joints_stale(*, joint_ids: list[int], why: str, now: datetime, **_: Any) -> None:
    due.mark_joints_stale(joint_ids=joint_ids, why=why, now=now, rating_too=True)


@receiver(events.register_imported)
def mark_site_stale(*, site_id: int, why: str, now: datetime, **_: Any) -> None:
    due.mark_site_stale(site_id=site_id, why=why, now=now)


@receiver(duty_events.duty_changed)
def mark_assets_stale(*, asset_ids: list[int], why: str, now: datetime, **_: Any) -> None:
    due.mark_assets_stale(asset_ids=asset_ids, why=why, now=now)


@receiver(duty_events.spectrum_changed)
def mark_ratings_stale(*, joint_ids: list[int], why: str, now: datetime, **_: Any) -> None:
    due.mark_joints_stale(joint_ids=joint_ids, why=why, now=now, rating_too=True)


@receiver(events.inspection_recorded)
def note_look(*, inspection: Inspection, now: datetime, **_: Any) -> None:
    due.note_look(inspection=inspection, now=now)


@receiver(events.finding_changed)
def mark_finding_stale(*, finding: Finding, now: datetime, **_: Any) -> None:
    due.mark_joints_stale(joint_ids=[finding.joint_id], why="finding changed", now=now)
