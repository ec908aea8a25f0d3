"""Reads of the record that page and API share. Everybody with a role at a site may read its record."""

from __future__ import annotations

from django.db.models import QuerySet

from assets_app.people.models import Person
from assets_app.people.queries import sites_of
from assets_app.record.models import RecordEntry


def entries(
    person: Person,
    *,
    asset_id: int | None = None,
    joint_id: int | None = None,
    actor_id: int | None = None,
    deed: str = "",
) -> QuerySet[RecordEntry]:
    """Entries of the person's sites, newest first. ``deed`` may be a whole deed or the part before the dot."""
    rows = RecordEntry.objects.filter(site__in=sites_of(person)).select_related("site", "asset", "joint")
    if asset_id:
        rows = rows.filter(asset_id=asset_id)
    if joint_id:
        rows = rows.filter(joint_id=joint_id)
    if actor_id:
        rows = rows.filter(actor_id=actor_id)
    if deed:
        rows = rows.filter(deed=deed) if "." in deed else rows.filter(deed__startswith=f"{deed}.")
    return rows.order_by("-pk")
