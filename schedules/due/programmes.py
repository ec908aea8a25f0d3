"""Programmes given in bulk, by a register import."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from assets_app.inspections.models import Inspection
from assets_app.register.models import Joint
from schedules.due.actions import mark_assets_stale
from schedules.due.models import Programme
from schedules.due.rating_rules import worse_conditions

BATCH = 2000
FEW = 5000  # joints asked for by id; beyond it by their assets
WRITTEN = ["calendar_months", "duty_count", "last_look_on", "last_look_total", "last_look_conditions", "source"]


def take_programmes(*, rows: list[dict[str, Any]], now: datetime, check_only: bool) -> dict[str, int]:
    """Make or change what is owed, inside the import's transaction; counts of new, changed and unchanged.

    ``rows``: see ``assets_app.events.programmes_given``. What a row does not say stays as it is. A look recorded since
    is never set back to an older one; where the file knows a later look, the counter's total then is not known. A
    programme that was switched off stays off. ``check_only`` counts and writes nothing.
    """
    held = _held(rows)
    looks = _looks_so_far([row["joint_id"] for row in rows if (row["joint_id"], row["method"]) not in held])
    new: list[Programme] = []
    changed: list[Programme] = []
    for row in rows:
        programme = held.get((row["joint_id"], row["method"]))
        if programme is None:
            new.append(_made(row, looks.get((row["joint_id"], row["method"]))))
        elif _settle(programme, row):
            changed.append(programme)
    counts = {"new": len(new), "changed": len(changed), "unchanged": len(rows) - len(new) - len(changed)}
    if not check_only and (new or changed):
        _write(new, changed)
        asset_ids = sorted({programme.asset_id for programme in (*new, *changed)})
        mark_assets_stale(asset_ids=asset_ids, why="programmes imported", now=now, rating_too=True)
    return counts


def _held(rows: list[dict[str, Any]]) -> dict[tuple[int, str], Programme]:
    joint_ids = {row["joint_id"] for row in rows}
    if len(joint_ids) <= FEW:
        found = Programme.objects.filter(joint_id__in=joint_ids)
    else:
        sites = Joint.objects.filter(pk=rows[0]["joint_id"]).values("asset__site_id")
        found = Programme.objects.filter(asset__site_id__in=sites)
    return {(programme.joint_id, programme.method): programme for programme in found}


def _looks_so_far(joint_ids: list[int]) -> dict[tuple[int, str], Inspection]:
    """The last look by each method that was recorded before anybody owed one."""
    rows = Inspection.objects.exclude(result=Inspection.Result.INCOMPLETE).order_by("inspected_on", "pk")
    found: dict[tuple[int, str], Inspection] = {}
    for start in range(0, len(joint_ids), BATCH):
        for look in rows.filter(joint_id__in=joint_ids[start : start + BATCH]):
            found[(look.joint_id, look.method)] = look
    return found


def _made(row: dict[str, Any], look: Inspection | None) -> Programme:
    programme = _as_given(row)
    if look and (programme.last_look_on is None or look.inspected_on >= programme.last_look_on):
        programme.last_look_on = look.inspected_on
        programme.last_look_total = look.counter_total
        programme.last_look_conditions = worse_conditions("", look.conditions)
    return programme


def _as_given(row: dict[str, Any]) -> Programme:
    return Programme(
        joint_id=row["joint_id"],
        asset_id=row["asset_id"],
        method=row["method"],
        calendar_months=row["calendar_months"],
        duty_count=row["duty_count"],
        last_look_on=row["last_look_on"],
        source=row["source"] or row["fallback"][:200],
    )


def _settle(programme: Programme, row: dict[str, Any]) -> bool:
    """Put on what the row says; whether that changed anything."""
    changed = False
    for name in ("calendar_months", "duty_count", "source"):
        if row[name] and getattr(programme, name) != row[name]:
            setattr(programme, name, row[name])
            changed = True
    last = row["last_look_on"]
    if last and (programme.last_look_on is None or last > programme.last_look_on):
        programme.last_look_on, programme.last_look_total, programme.last_look_conditions = last, None, ""
        changed = True
    return changed


def _write(new: list[Programme], changed: list[Programme]) -> None:
    Programme.objects.bulk_create(new, batch_size=BATCH)
    if changed:
        Programme.objects.bulk_create(
            changed, batch_size=BATCH, update_conflicts=True, unique_fields=["joint", "method"], update_fields=WRITTEN
        )
