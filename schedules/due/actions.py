"""Writes of the due floor: marking what is owed a recompute."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import connection, transaction

from assets_app.register.models import Asset, Joint
from schedules.due.models import StaleMark


def mark_joints_stale(*, joint_ids: Iterable[int], why: str, now: datetime, rating_too: bool = False) -> None:
    """Mark joints as owed a recompute, in the caller's transaction; work starts after commit."""
    rows = Joint.objects.filter(pk__in=list(joint_ids)).values_list("pk", "asset_id")
    marks = [
        StaleMark(asset_id=asset_id, joint_id=joint_id, rating_too=rating_too, why=why, marked_at=now)
        for joint_id, asset_id in rows
    ]
    _write(marks)


def mark_assets_stale(*, asset_ids: Iterable[int], why: str, now: datetime, rating_too: bool = False) -> None:
    """Mark all joints of some assets by one row an asset."""
    _write([StaleMark(asset_id=pk, rating_too=rating_too, why=why, marked_at=now) for pk in asset_ids])


def mark_site_stale(*, site_id: int, why: str, now: datetime) -> None:
    """Mark every asset of a site, ratings too."""
    pks = Asset.objects.filter(site_id=site_id).values_list("pk", flat=True)
    mark_assets_stale(asset_ids=pks, why=why, now=now, rating_too=True)


def _write(marks: list[StaleMark]) -> None:
    if not connection.in_atomic_block:
        raise RuntimeError("a stale mark belongs in the transaction of the change that causes it")
    if marks:
        StaleMark.objects.bulk_create(marks)
        transaction.on_commit(_start_work)


def _start_work() -> None:
    from schedules.due.tasks import recompute_stale

    recompute_stale.delay()
