"""Labels are issued, once a joint, and withdrawn by the next one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from assets_app.labels.models import JointLabel
from assets_app.people.models import Person
from assets_app.people.queries import require
from assets_app.record import actions as record
from assets_app.refusals import NotFound, Unprocessable
from assets_app.register.models import Joint

MOST = 500  # joints on one request


def issue_labels(*, joint_ids: Sequence[int], actor: Person, now: datetime) -> list[JointLabel]:
    """The label of each joint, in the order given; a joint that has none yet gets one. Printing again writes nothing.

    Refused: ``no_joint``, ``too_many_labels``, who may not issue where a new one is needed.
    """
    wanted = list(dict.fromkeys(joint_ids))
    if not wanted:
        raise Unprocessable("no_joint", "Choose at least one joint.", field="joints")
    if len(wanted) > MOST:
        raise Unprocessable("too_many_labels", f"Print at most {MOST} labels at a time.", field="joints")
    joints = {joint.pk: joint for joint in Joint.objects.select_related("asset__site").filter(pk__in=wanted)}
    if len(joints) < len(wanted):
        raise _unseen()
    for site_id in {joint.asset.site_id for joint in joints.values()}:
        require(actor, "read", site_id)
    with transaction.atomic():
        live = _live(wanted, lock=True)
        for pk in wanted:
            if pk not in live:
                require(actor, "label.issue", joints[pk].asset.site_id)
                live[pk] = _issue(joints[pk], actor, now)
    return [live[pk] for pk in wanted]


def reissue_label(*, joint_id: int, reason: str, actor: Person, now: datetime) -> JointLabel:
    """A new label for a joint: what is stuck on the steel opens nothing from now on. Refused: ``reason_needed``."""
    joint = Joint.objects.select_related("asset__site").filter(pk=joint_id).first()
    if joint is None:
        raise _unseen()
    require(actor, "label.withdraw", joint.asset.site_id)
    if not reason.strip():
        raise Unprocessable("reason_needed", "Say why: lost, copied, or on the wrong joint.", field="reason")
    with transaction.atomic():
        Joint.objects.select_for_update().get(pk=joint.pk)
        for old in JointLabel.objects.select_for_update().filter(joint=joint, withdrawn_at=None):
            old.withdrawn_by, old.withdrawn_at, old.withdrawn_why = actor, now, reason.strip()[:200]
            old.save()
            _write_down("label.withdrawn", old, joint, actor, now, reason=old.withdrawn_why)
        return _issue(joint, actor, now)


def _live(joint_ids: Sequence[int], *, lock: bool = False) -> dict[int, JointLabel]:
    if lock:  # two who print at once must not issue two
        list(Joint.objects.select_for_update().filter(pk__in=joint_ids).order_by("pk").values_list("pk"))
    rows = JointLabel.objects.filter(joint_id__in=joint_ids, withdrawn_at=None)
    return {label.joint_id: label for label in rows.select_related("joint__asset__site")}


def _issue(joint: Joint, actor: Person, now: datetime) -> JointLabel:
    label = JointLabel.objects.create(joint=joint, issued_by=actor, issued_at=now)
    _write_down("label.issued", label, joint, actor, now)
    return label


def _write_down(deed: str, label: JointLabel, joint: Joint, actor: Person, now: datetime, **facts: str) -> None:
    """The entry names the label by its number: the address itself stays out of the record."""
    record.append(
        site_id=joint.asset.site_id,
        deed=deed,
        actor=actor,
        subject=label,
        content={"tag": joint.tag, **facts},
        now=now,
        asset_id=joint.asset_id,
        joint_id=joint.pk,
    )


def _unseen() -> NotFound:
    return NotFound("not_found", "There is nothing here that you can see.")
