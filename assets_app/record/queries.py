"""Reads of the record that page and API share. Everybody with a role at a site may read its record."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Max, Model, QuerySet

from assets_app.people.models import Person
from assets_app.people.queries import roles_at, sites_of
from assets_app.people.rules import may
from assets_app.record import verify
from assets_app.record.check_models import RecordCheck
from assets_app.record.models import RecordChain, RecordEntry
from assets_app.refusals import Conflict
from assets_app.register.models import Site
from assets_app.register.queries import one


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


def heads(person: Person) -> QuerySet[RecordChain]:
    """How far the chain of each of the person's sites has come."""
    return RecordChain.objects.filter(site__in=sites_of(person)).select_related("site").order_by("site__name")


def checks(person: Person) -> QuerySet[RecordCheck]:
    """Checks of the chains of the person's sites that somebody asked for, newest first."""
    return RecordCheck.objects.filter(site__in=sites_of(person)).select_related("site", "asked_by")


def chains_to_check(person: Person) -> list[dict[str, Any]]:
    """Each chain of the person's sites, its latest check that is over, and whether the person may have it checked."""
    found = list(heads(person))
    latest = {check.site_id: check for check in checks(person).filter(pk__in=_latest_ids(person))}
    return [
        {
            "chain": chain,
            "check": latest.get(chain.site_id),
            "may_check": may("record.check", roles_at(person, chain.site_id)),
        }
        for chain in found
    ]


def _latest_ids(person: Person) -> list[int]:
    rows = RecordCheck.objects.filter(site__in=sites_of(person), ended_at__isnull=False)
    return list(rows.order_by().values("site").annotate(last=Max("pk")).values_list("last", flat=True))


def export(person: Person, site_id: int) -> tuple[Site, Iterator[str]]:
    """A site and its whole chain as JSON lines, for the verifier; ``NotFound`` where the person has no role."""
    site = one(sites_of(person), site_id)
    return site, verify.export_lines(site)


def came_first(
    code: str,
    said: str,
    subject: type[Model],
    subject_id: int,
    *,
    deed: str = "",
    facts: Mapping[str, object] | None = None,
    **data: Any,
) -> Conflict:
    """The refusal of one who comes second: ``said``, then who did the latest deed on the subject, and when.

    By the site's clock. ``deed`` and ``facts`` name the deed that is meant, where not any will do. Where the record
    knows of none such, ``said`` alone.
    """
    kind = subject._meta.model_name
    rows = RecordEntry.objects.filter(subject_kind=kind, subject_id=subject_id).select_related("site")
    if deed:
        rows = rows.filter(deed=deed)
    rows = rows.order_by("-pk")
    last = next((row for row in rows if facts.items() <= row.facts.items()), None) if facts else rows.first()
    if last is None:
        return Conflict(code, said, **data)
    name, did = last.actor_name or "the rule table", words(last.deed)
    did = did.capitalize() if deed else f"Last: {did}"
    message = f"{said} {did} {by_and_when(name, last.at, last.site.time_zone)}."
    return Conflict(code, message, by=name, at=last.at.isoformat(), **data)


def by_and_when(name: str, at: datetime, time_zone: str) -> str:
    """``by Bram on 3 Jun 2026 at 10:00``, by the site's clock."""
    return f"by {name} on {at.astimezone(ZoneInfo(time_zone)):%-d %b %Y at %H:%M}"


def words(deed: str) -> str:
    """``order.step_done`` -> ``step done``."""
    return deed.rpartition(".")[2].replace("_", " ")
