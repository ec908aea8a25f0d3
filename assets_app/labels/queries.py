"""Reads of labels that pages and the API share."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from assets_app.labels.models import JointLabel
from assets_app.people.models import Person
from assets_app.people.queries import sites_of
from assets_app.refusals import Conflict, NotFound, Refused
from assets_app.register.models import Joint
from assets_app.register.queries import joints_in_sight


class Withdrawn(Refused):
    """The label was taken out of use. It does not say of which joint: it may have been stuck on the wrong one."""

    status = 410


def labels_in_sight(person: Person) -> QuerySet[JointLabel]:
    rows = JointLabel.objects.filter(joint__asset__site__in=sites_of(person))
    return rows.select_related("joint__asset__site", "issued_by", "withdrawn_by")


def label_by_token(person: Person, token: str) -> JointLabel:
    """The label that was scanned; ``NotFound`` where the person has no role, ``Withdrawn`` where it was taken away."""
    label = labels_in_sight(person).filter(token=token).first()
    if label is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    if label.withdrawn_at is not None:
        on = label.withdrawn_at.astimezone(ZoneInfo(label.joint.asset.site.time_zone))
        message = (
            f"This label was withdrawn on {on:%-d %b %Y} ({label.withdrawn_why}). "
            "Take it off, find the joint by its tag in the register, and print its new label."
        )
        raise Withdrawn("label_withdrawn", message)
    return label


def joints_to_label(person: Person, asset_id: int) -> QuerySet[Joint]:
    """The asset's joints that are in use, by tag."""
    return joints_in_sight(person).filter(asset_id=asset_id, active=True).order_by("tag", "pk")


def labels_of(person: Person, joint_ids: Sequence[int]) -> list[JointLabel]:
    """The label in use of each joint, in the order given; ``Conflict`` (``label_not_issued``) names those without."""
    rows = labels_in_sight(person).filter(joint_id__in=joint_ids, withdrawn_at=None)
    found = {label.joint_id: label for label in rows}
    seen = dict(joints_in_sight(person).filter(pk__in=joint_ids).values_list("pk", "tag"))
    if set(joint_ids) - set(seen):
        raise NotFound("not_found", "There is nothing here that you can see.")
    lacking = sorted(tag for pk, tag in seen.items() if pk not in found)
    if lacking:
        raise Conflict("label_not_issued", f"No label was issued yet for {', '.join(lacking)}.", field="joint")
    return [found[pk] for pk in dict.fromkeys(joint_ids)]
