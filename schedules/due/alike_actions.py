"""A sweep: looks owed at the joints that are like one found bad."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction

from assets_app.people import queries as people
from assets_app.people.models import Person
from assets_app.record.actions import append
from assets_app.refusals import NotFound, Unprocessable
from assets_app.register.models import Joint
from schedules.due.actions import mark_joints_stale
from schedules.due.known import owed_methods
from schedules.due.models import Limit, OwedLook

MOST = 2000  # joints in one sweep


@transaction.atomic
def owe_sweep(
    *,
    joint_id: int,
    joint_ids: Sequence[int],
    due_on: date,
    why: str,
    actor: Person,
    now: datetime,
    method: str = "",
    source: str = "",
) -> list[OwedLook]:
    """Owe one look by ``due_on`` at each of ``joint_ids``, since ``joint_id`` was found bad. All of them, or none.

    A joint that owes a look of the sweep by then already is passed over. ``method`` empty: any that is owed there.
    Refusals: ``not_found``, ``role_lacks_right``, ``no_joints``, ``too_many_joints``, ``reason_missing``,
    ``day_passed``, ``method_not_owed`` (naming the joints).
    """
    bad = _visible([joint_id], actor)[0]
    people.require(actor, "sweep.owe", bad.asset.site_id)
    wanted = sorted(set(joint_ids) - {joint_id})
    _check(wanted, due_on=due_on, why=why, today=people.day_at(bad.asset.site, now))
    joints = _visible(wanted, actor)
    for site_id in sorted({joint.asset.site_id for joint in joints}):
        people.require(actor, "sweep.owe", site_id)
    _check_methods(joints, method)
    asked = OwedLook.objects.filter(
        joint__in=wanted, limit=Limit.SWEEP, method=method, due_on__lte=due_on, satisfied_by=None, withdrawn_why=""
    )
    owing = set(asked.values_list("joint_id", flat=True))
    made = [
        OwedLook(
            joint=joint,
            method=method,
            limit=Limit.SWEEP,
            due_on=due_on,
            why=why.strip(),
            source=source,
            owed_since=people.day_at(joint.asset.site, now),
        )
        for joint in joints
        if joint.pk not in owing
    ]
    OwedLook.objects.bulk_create(made)
    for owed in made:
        _write_down(owed, bad, actor, now)
    mark_joints_stale(joint_ids=[owed.joint_id for owed in made], why="sweep", now=now)
    return made


def _visible(joint_ids: Sequence[int], actor: Person) -> list[Joint]:
    """The joints, by asset and tag; one that is not in the register or not in sight refuses all."""
    sites = people.site_ids_of(actor)
    rows = Joint.objects.filter(pk__in=joint_ids, asset__site_id__in=sites).select_related("asset__site")
    found = list(rows.order_by("asset__tag", "tag", "pk"))
    if len(found) < len(joint_ids):
        raise NotFound("not_found", "There is nothing here that you can see.")
    return found


def _check(wanted: Sequence[int], *, due_on: date, why: str, today: date) -> None:
    if not wanted:
        raise Unprocessable("no_joints", "Choose the joints that must be looked at.", field="joints")
    if len(wanted) > MOST:
        raise Unprocessable("too_many_joints", f"At most {MOST} joints at once: send the rest after.", field="joints")
    if not why.strip():
        raise Unprocessable("reason_missing", "Say what was found bad, and where.", field="why")
    if due_on < today:
        raise Unprocessable("day_passed", "This day has passed: choose today or a later one.", field="due_on")


def _check_methods(joints: Sequence[Joint], method: str) -> None:
    """A day hangs on a look that is owed; where none is, it would bind nothing, in silence."""
    owed = owed_methods([joint.pk for joint in joints])
    without = [joint for joint in joints if not (method in owed.get(joint.pk, ()) if method else owed.get(joint.pk))]
    if not without:
        return
    names = ", ".join(f"{joint.asset.tag} / {joint.tag}" for joint in without[:5])
    more = f" and {len(without) - 5} more" if len(without) > 5 else ""
    message = f"No {method or 'look'} is owed at {names}{more}: first say there what is owed, or leave them out."
    raise Unprocessable("method_not_owed", message, field="joints", joints=[joint.pk for joint in without])


def _write_down(owed: OwedLook, bad: Joint, actor: Person, now: datetime) -> None:
    append(
        site_id=owed.joint.asset.site_id,
        deed="sweep.owed",
        actor=actor,
        subject=owed,
        content={
            "due_on": owed.due_on,
            "method": owed.method,
            "why": owed.why,
            "source": owed.source,
            "like": f"{bad.asset.tag} / {bad.tag}",
        },
        now=now,
        asset_id=owed.joint.asset_id,
        joint_id=owed.joint_id,
    )
