"""What stands open on the joints at hand: findings, looks owed once, assessments; put onto the engine's arrays."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

import numpy as np
from django.db.models import Min, Q, QuerySet
from numpy.typing import NDArray

from assets_app.inspections.models import Assessment, Finding
from schedules.due.finding_rules import finding_day
from schedules.due.models import CrackGrowth, OwedLook, Policy
from schedules.due.rules import NO_DAY, Days
from schedules.due.store import Columns


def finding_days(read: Columns, policy: Policy) -> Days:
    """Earliest day by which a finding on the joint asks for something; it falls on the method that found it, else on
    the joint's first programme."""
    rows = Finding.objects.filter(_of(read), state__in=["open", "assessed"])
    values = list(rows.values_list("pk", "joint_id", "severity", "state", "found_on", "inspection__method"))
    ends = _assessed_until(rows)
    days = np.full(len(read["joint_id"]), NO_DAY, dtype=np.int32)
    places = rows_of_joints(read, (row[1] for row in values))
    for pk, joint_id, severity, state, found_on, method in values:
        here = places.get(joint_id)
        if not here:
            continue
        place = next((row for row in here if read["method"][row] == method), here[0])
        last = read["last_look"][place]
        day = finding_day(
            severity=severity,
            found_on=found_on,
            last_look_on=None if last == NO_DAY else date.fromordinal(int(last)),
            assessed_until=ends.get(pk) if state == "assessed" else None,
            policy=policy,
        )
        if day is not None:
            days[place] = min(int(days[place]), day.toordinal())
    return days


def measured_growth_totals(read: Columns) -> NDArray[np.float64]:
    """Counter total by which a measured crack asks for the next look; on the method that found it, else the first."""
    totals = np.full(len(read["joint_id"]), np.nan)
    rows = list(
        CrackGrowth.objects.filter(
            finding__joint__asset_id__in=np.unique(read["asset_id"]).tolist(),
            finding__state__in=["open", "assessed"],
            due_total__isnull=False,
        ).values_list("finding__joint_id", "finding__inspection__method", "due_total")
    )
    places = rows_of_joints(read, (row[0] for row in rows))
    for joint_id, method, total in rows:
        here = places.get(joint_id)
        if here:
            place = next((row for row in here if read["method"][row] == method), here[0])
            totals[place] = np.fmin(totals[place], total)
    return totals


def owed_looks(read: Columns) -> dict[str, NDArray]:
    """Open looks owed once, the earliest day and count by limit."""
    size = len(read["joint_id"])
    found: dict[str, NDArray] = {}
    for limit in ("after_work", "fixed", "sweep", "load_change"):
        found[limit] = np.full(size, NO_DAY, dtype=np.int32)
        found[f"{limit}_total"] = np.full(size, np.nan)
    rows = list(
        OwedLook.objects.filter(_of(read), satisfied_by=None, withdrawn_why="")
        .values_list("joint_id", "method", "limit")
        .annotate(day=Min("due_on"), total=Min("due_total"))
    )
    places = rows_of_joints(read, (row[0] for row in rows))
    for joint_id, method, limit, day, total in rows:
        name = limit.replace(" ", "_")
        here = places.get(joint_id, [])
        # A look by a method that is owed here no longer still binds: it falls on the first that is.
        for place in [row for row in here if method in ("", read["method"][row])] or here[:1]:
            if day is not None:
                found[name][place] = min(int(found[name][place]), day.toordinal())
            if total is not None:
                found[f"{name}_total"][place] = np.fmin(found[f"{name}_total"][place], total)
    return found


def excused_until(read: Columns) -> Days:
    """Day until which an engineer lets a used-up life stand (an assessment of the joint, not of a finding)."""
    rows = Assessment.objects.filter(_of(read), finding=None).order_by("signed_at", "pk")
    until = {joint_id: ends_on.toordinal() for joint_id, ends_on in rows.values_list("joint_id", "ends_on")}
    return lookup(read["joint_id"], until, int(NO_DAY)).astype(np.int32)


def rows_of_joints(read: Columns, joint_ids: Iterable[int]) -> dict[int, list[int]]:
    """Joint -> its rows, for a few joints among many."""
    wanted = np.array(sorted(set(joint_ids)), dtype=np.int64)
    rows: dict[int, list[int]] = defaultdict(list)
    for place in np.flatnonzero(np.isin(read["joint_id"], wanted)).tolist():
        rows[int(read["joint_id"][place])].append(place)
    return rows


def lookup(keys: NDArray[np.int64], values: dict[int, int], default: int) -> NDArray[np.int64]:
    """``values`` by key for a whole column."""
    if not values:
        return np.full(len(keys), default, dtype=np.int64)
    unique, place = np.unique(keys, return_inverse=True)
    return np.array([values.get(key, default) for key in unique.tolist()], dtype=np.int64)[place]


def _assessed_until(rows: QuerySet[Finding]) -> dict[int, date]:
    signed = Assessment.objects.filter(finding__in=rows.filter(state="assessed")).order_by("signed_at", "pk")
    return dict(signed.values_list("finding_id", "ends_on"))


def _of(read: Columns) -> Q:
    """By asset, since assets are few where joints are many."""
    return Q(joint__asset_id__in=np.unique(read["asset_id"]).tolist())
