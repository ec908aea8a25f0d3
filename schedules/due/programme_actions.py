"""A programme made by the work itself: a look owed after work needs one, or nobody would ever see it."""

from __future__ import annotations

from datetime import datetime

from assets_app.record.actions import append
from assets_app.register.models import Joint
from schedules.due import actions
from schedules.due.models import Programme


def ensure_programme(*, joint_id: int, method: str, why: str, now: datetime) -> Programme:
    """The active programme of a joint and method; made, or woken, inside the deed that needs it.

    A new one has no interval of its own: only what is owed once, and what is computed, dates it.
    """
    joint = Joint.objects.select_related("asset").get(pk=joint_id)
    programme, fresh = Programme.objects.select_for_update().get_or_create(
        joint=joint, method=method, defaults={"asset_id": joint.asset_id, "source": why[:200]}
    )
    if not fresh and programme.active:
        return programme
    programme.active = True
    programme.save(update_fields=["active"])
    append(
        site_id=joint.asset.site_id,
        deed="programme.needed_by_work",
        actor=None,
        subject=programme,
        content={"method": method, "why": why, "made": fresh},
        now=now,
        asset_id=joint.asset_id,
        joint_id=joint.pk,
    )
    actions.mark_joints_stale(joint_ids=[joint_id], why="programme needed by work", now=now, rating_too=True)
    return programme
