"""Reads of recordings that page and API share."""

from __future__ import annotations

from django.db.models import QuerySet

from assets_app.people.models import Person
from assets_app.people.queries import sites_of
from assets_app.refusals import NotFound
from assets_app.register.models import Asset
from schedules.duty.models import StressSpectrum
from schedules.duty.recordings.actions import source_begins
from schedules.duty.recordings.models import Recording

LONG = ("before", "after", "screening", "histogram")  # what a list does not need


def recordings_in_sight(person: Person) -> QuerySet[Recording]:
    return Recording.objects.filter(asset__site__in=sites_of(person)).select_related("asset__site", "started_by")


def recording_in_sight(person: Person, recording_id: int) -> Recording:
    """The recording, or ``NotFound`` where the person has no role."""
    recording = recordings_in_sight(person).filter(pk=recording_id).first()
    if recording is None:
        raise NotFound("not_found", "There is no recording here that you can see.")
    return recording


def asset_in_sight(person: Person, asset_id: int) -> Asset:
    """The asset, or ``NotFound`` where the person has no role."""
    asset = Asset.objects.filter(site__in=sites_of(person), pk=asset_id).select_related("site").first()
    if asset is None:
        raise NotFound("not_found", "There is no asset here that you can see.")
    return asset


def counted_in(asset: Asset) -> str:
    """What one count of the asset's duty is: ``operating cycles``, ``hours``; empty where it has no counter."""
    counter = asset.counters.filter(is_primary=True).first()
    return counter.get_unit_display() if counter else ""


def used_on(recording: Recording) -> QuerySet[StressSpectrum]:
    """Spectra that came from the recording."""
    return (
        StressSpectrum.objects.filter(
            joint__asset_id=recording.asset_id, source__startswith=f"{source_begins(recording)} "
        )
        .select_related("joint")
        .order_by("joint__tag", "-valid_from")
    )
