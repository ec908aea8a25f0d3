"""Reads of the record that page and API share. Everybody with a role at a site may read its record."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Model, QuerySet

from assets_app.people.models import Person
from assets_app.people.queries import sites_of
from assets_app.record.models import RecordEntry
from assets_app.refusals import Conflict


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


def came_first(code: str, said: str, subject: type[Model], subject_id: int, **data: Any) -> Conflict:
    """The refusal of one who comes second: ``said``, then who did the latest deed on the subject, and when.

    By the site's clock. Where the record knows of no deed on it, ``said`` alone.
    """
    kind = subject._meta.model_name
    rows = RecordEntry.objects.filter(subject_kind=kind, subject_id=subject_id).select_related("site")
    last = rows.order_by("-pk").first()
    if last is None:
        return Conflict(code, said, **data)
    name, local = last.actor_name or "the rule table", last.at.astimezone(ZoneInfo(last.site.time_zone))
    message = f"{said} Last: {words(last.deed)} by {name} on {local:%-d %b %Y at %H:%M}."
    return Conflict(code, message, by=name, at=last.at.isoformat(), **data)


def words(deed: str) -> str:
    """``order.step_done`` -> ``step done``."""
    return deed.rpartition(".")[2].replace("_", " ")
