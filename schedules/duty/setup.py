"""Writes of what forecasts and ratings rest on: counters, seasons, stress spectra. Each leaves a record entry."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction

from assets_app.people import queries as people
from assets_app.people.models import Person
from assets_app.record import actions as record
from assets_app.record.queries import came_first
from assets_app.refusals import Conflict, NotFound, Unprocessable
from assets_app.register.models import Asset, Joint
from schedules.duty import events
from schedules.duty.actions import refresh_forecasts
from schedules.duty.models import Counter, Season, StressSpectrum
from schedules.duty.open_days import Span, check_span

MOST_BINS = 1000


def add_counter(
    *,
    asset_id: int,
    name: str,
    unit: str,
    actor: Person,
    now: datetime,
    is_primary: bool = True,
    rolls_over_at: float | None = None,
    expected_every_days: int = 14,
) -> Counter:
    """Give an asset a counter. Its first reading counts from a meter at 0."""
    with transaction.atomic():
        asset = _asset(asset_id, actor, "counter.change")
        _check_counter(name, unit, rolls_over_at, expected_every_days)
        _check_free(asset, name.strip(), is_primary)
        counter = Counter.objects.create(
            asset=asset,
            name=name.strip(),
            unit=unit,
            is_primary=is_primary,
            rolls_over_at=rolls_over_at,
            expected_every_days=expected_every_days,
        )
        _counter_changed(counter, "counter.added", {}, actor=actor, now=now)
        return counter


def change_counter(
    *,
    counter_id: int,
    actor: Person,
    now: datetime,
    rolls_over_at: float | None,
    expected_every_days: int,
) -> Counter:
    """Change where a meter rolls over and how long it may go unread.

    Unit and part played stay: due dates rest on them.
    """
    with transaction.atomic():
        found = Counter.objects.filter(pk=counter_id).first()
        if found is None:
            raise NotFound("not_found", "There is nothing here that you can see.")
        _asset(found.asset_id, actor, "counter.change")
        counter = Counter.objects.select_for_update().get(pk=counter_id)
        _check_counter(counter.name, counter.unit, rolls_over_at, expected_every_days)
        was = _counter_content(counter)
        counter.rolls_over_at, counter.expected_every_days = rolls_over_at, expected_every_days
        counter.save(update_fields=["rolls_over_at", "expected_every_days"])
        _counter_changed(counter, "counter.changed", {"was": was}, actor=actor, now=now)
        return counter


def add_season(*, site_id: int, asset_id: int | None, name: str, span: Span, actor: Person, now: datetime) -> Season:
    """Add a season to an asset, or to every asset of the site that has none of its own."""
    with transaction.atomic():
        people.require(actor, "season.change", site_id)
        if asset_id is not None and not Asset.objects.filter(pk=asset_id, site_id=site_id).exists():
            raise NotFound("not_found", "There is no such asset at this site.", field="asset")
        season = Season(site_id=site_id, asset_id=asset_id, name=name.strip(), **check_span(span)._asdict())
        season.save()
        _season_changed(season, "season.added", _season_content(season), actor=actor, now=now)
        return season


def change_season(*, season_id: int, name: str, span: Span, actor: Person, now: datetime) -> Season:
    """Change a season's days; forecasts and due dates of the assets it governs follow."""
    with transaction.atomic():
        season = _season(season_id, actor)
        was = _season_content(season)
        season.name = name.strip()
        for field, value in check_span(span)._asdict().items():
            setattr(season, field, value)
        season.save()
        _season_changed(season, "season.changed", {**_season_content(season), "was": was}, actor=actor, now=now)
        return season


def remove_season(*, season_id: int, actor: Person, now: datetime) -> None:
    """Remove a season. Where none is left, the asset counts as open every day."""
    with transaction.atomic():
        season = _season(season_id, actor)
        content, pk = _season_content(season), season.pk
        season.delete()
        season.pk = pk
        _season_changed(season, "season.removed", content, actor=actor, now=now)


def add_spectrum(
    *,
    joint_id: int,
    bins: Sequence[Sequence[float]],
    status: str,
    source: str,
    valid_from: date,
    actor: Person,
    now: datetime,
    kind: str = "direct",
    peak_stress_mpa: float | None = None,
    bending_share: float = 0.0,
) -> StressSpectrum:
    """State which stress ranges (MPa) one count of the primary counter puts into a joint, and how often each.

    The newest that is valid governs; older ones stay as its history. A wrong one is answered by another of a later day.
    """
    with transaction.atomic():
        joint = Joint.objects.select_related("asset").filter(pk=joint_id).first()
        if joint is None:
            raise NotFound("not_found", "There is nothing here that you can see.")
        people.require(actor, "spectrum.change", joint.asset.site_id)
        Joint.objects.select_for_update().get(pk=joint_id)
        _check_spectrum(bins, status, source, kind, peak_stress_mpa, bending_share)
        same = joint.spectra.filter(valid_from=valid_from).first()
        if same is not None:
            said = f"A spectrum of {joint} is valid from that day already. Give this one another day."
            given = {"field": "valid_from", "spectrum": same.pk}
            raise came_first("spectrum_exists", said, StressSpectrum, same.pk, deed="spectrum.added", **given)
        spectrum = StressSpectrum.objects.create(
            joint=joint,
            kind=kind,
            bins=[[float(stress_range), float(count)] for stress_range, count in bins],
            peak_stress_mpa=peak_stress_mpa,
            bending_share=bending_share,
            status=status,
            source=source.strip(),
            valid_from=valid_from,
            created_by=actor,
        )
        content = {
            name: getattr(spectrum, name)
            for name in ("kind", "bins", "peak_stress_mpa", "bending_share", "status", "source", "valid_from")
        }
        record.append(
            site_id=joint.asset.site_id,
            deed="spectrum.added",
            actor=actor,
            subject=spectrum,
            content=content,
            now=now,
            asset_id=joint.asset_id,
            joint_id=joint.pk,
        )
        events.spectrum_changed.send(
            sender=StressSpectrum, joint_ids=[joint.pk], why="stress spectrum changed", now=now
        )
        return spectrum


def _asset(asset_id: int, actor: Person, deed: str) -> Asset:
    asset = Asset.objects.filter(pk=asset_id).first()
    if asset is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    people.require(actor, deed, asset.site_id)
    return Asset.objects.select_for_update().get(pk=asset_id)


def _season(season_id: int, actor: Person) -> Season:
    found = Season.objects.filter(pk=season_id).first()
    if found is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    people.require(actor, "season.change", found.site_id)
    return Season.objects.select_for_update().get(pk=season_id)


def _check_free(asset: Asset, name: str, is_primary: bool) -> None:
    same = asset.counters.filter(name=name).first()
    if same is not None:
        said = f"{asset} has a counter {name!r} already. Post readings to that one, or give this one another name."
        raise _counter_came_first("counter_exists", said, same, field="name")
    driving = asset.counters.filter(is_primary=True).first() if is_primary else None
    if driving is not None:
        said = f"{driving.name} drives the due dates of {asset} already. Add this one without driving them."
        raise _counter_came_first("primary_counter_exists", said, driving, field="is_primary")


def _counter_came_first(code: str, said: str, counter: Counter, *, field: str) -> Conflict:
    return came_first(code, said, Counter, counter.pk, deed="counter.added", field=field, counter=counter.pk)


def _check_counter(name: str, unit: str, rolls_over_at: float | None, expected_every_days: int) -> None:
    if not name.strip():
        raise Unprocessable("name_missing", "Give the counter a name.", field="name")
    if unit not in Counter.Unit.values:
        raise Unprocessable("unit_unknown", f"The unit is one of {', '.join(Counter.Unit.values)}.", field="unit")
    if rolls_over_at is not None and not (math.isfinite(rolls_over_at) and rolls_over_at >= 1):
        raise Unprocessable("rollover_out_of_range", "A meter rolls over at 1 or more.", field="rolls_over_at")
    if not 1 <= expected_every_days <= 3660:
        raise Unprocessable(
            "silence_out_of_range", "A counter is read at least every ten years.", field="expected_every_days"
        )


def _check_spectrum(
    bins: Sequence[Sequence[float]],
    status: str,
    source: str,
    kind: str,
    peak_stress_mpa: float | None,
    bending_share: float,
) -> None:
    if not 1 <= len(bins) <= MOST_BINS:
        raise Unprocessable("bins_missing", f"Give 1 to {MOST_BINS} pairs of range and count.", field="bins")
    for number, pair in enumerate(bins, start=1):
        if len(pair) != 2 or not all(math.isfinite(figure) and figure > 0 for figure in pair):
            raise Unprocessable(
                "bin_not_positive", f"Pair {number}: range (MPa) and count must both be above 0.", field="bins"
            )
    if kind not in ("direct", "shear"):
        raise Unprocessable("kind_unknown", "The stress is direct or shear.", field="kind")
    if status not in StressSpectrum.Status.values:
        raise Unprocessable("status_unknown", "Say whether it is measured, calculated or assumed.", field="status")
    if not source.strip():
        raise Unprocessable("source_missing", "Say who measured or calculated it, in which document.", field="source")
    if peak_stress_mpa is not None and not (math.isfinite(peak_stress_mpa) and peak_stress_mpa >= 0):
        raise Unprocessable("peak_out_of_range", "The greatest tension is 0 MPa or more.", field="peak_stress_mpa")
    if not 0 <= bending_share <= 1:
        raise Unprocessable("share_out_of_range", "The share of bending lies between 0 and 1.", field="bending_share")


def _counter_content(counter: Counter) -> dict[str, Any]:
    fields = ("name", "unit", "is_primary", "rolls_over_at", "expected_every_days")
    return {name: getattr(counter, name) for name in fields}


def _counter_changed(counter: Counter, deed: str, extra: dict[str, Any], *, actor: Person, now: datetime) -> None:
    record.append(
        site_id=counter.asset.site_id,
        deed=deed,
        actor=actor,
        subject=counter,
        content={**_counter_content(counter), **extra},
        now=now,
        asset_id=counter.asset_id,
    )
    refresh_forecasts(counter_ids=[counter.pk], now=now)
    if counter.is_primary:
        why = f"counter {counter.name} {deed.partition('.')[2]}"
        events.duty_changed.send(sender=Counter, asset_ids=[counter.asset_id], why=why, now=now)


def _season_content(season: Season) -> dict[str, Any]:
    fields = ("name", "opens_month", "opens_day", "closes_month", "closes_day", "weekdays")
    return {name: getattr(season, name) for name in fields}


def _season_changed(season: Season, deed: str, content: dict[str, Any], *, actor: Person, now: datetime) -> None:
    """Record it, refit the forecasts it governs, and tell the floors above."""
    record.append(
        site_id=season.site_id,
        deed=deed,
        actor=actor,
        subject=season,
        content=content,
        now=now,
        asset_id=season.asset_id,
    )
    counters = Counter.objects.filter(asset__site_id=season.site_id)
    if season.asset_id is not None:
        counters = counters.filter(asset_id=season.asset_id)
    else:
        own = Season.objects.filter(site_id=season.site_id).exclude(asset=None).values("asset_id")
        counters = counters.exclude(asset_id__in=own)
    found = list(counters.values_list("pk", "asset_id"))
    refresh_forecasts(counter_ids=[pk for pk, _ in found], now=now)
    assets = sorted({asset_id for _, asset_id in found})
    if assets:
        why = f"season {season.name} {deed.partition('.')[2]}"
        events.duty_changed.send(sender=Season, asset_ids=assets, why=why, now=now)
