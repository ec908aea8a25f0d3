"""The full recompute: cut into ranges of assets, each claimed by one worker, done in one transaction, resumable.

A part that was claimed but never finished (its worker was killed) is free again after ``CLAIM_HOLDS``.
"""

from __future__ import annotations

import logging
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models import Case, Count, Exists, F, OuterRef, Q, QuerySet, Value, When
from django.db.models.functions import TruncDate

from assets_app.register.models import Asset, Joint, Site
from schedules.due import actions, engine, left_out, ratings
from schedules.due.models import Programme, Sweep, SweepPart
from schedules.due.store import Scope
from schedules.duty import few

log = logging.getLogger(__name__)

PART_SIZE = engine.LOOKS_AT_ONCE
SHOWN = 20
CLAIM_HOLDS = timedelta(minutes=10)


def start_owed(*, now: datetime) -> list[Sweep]:
    """The night's sweeps: one a site, once a day of the site's own clock. Whatever was rated by an older edition of the
    methods is rated anew."""
    started = []
    for site in Site.objects.all():
        try:
            sweep = _start_nightly(site, now=now)
        except left_out.NOT_OF_AN_ASSET:
            raise
        except Exception:  # no other site waits for this one, which is tried again with the next beat
            log.exception("the night's recompute of site %s could not be laid out", site.slug)
            continue
        started += [sweep] if sweep else []
    return started


def _start_nightly(site: Site, *, now: datetime) -> Sweep | None:
    day = engine.site_day(site, now)
    if Sweep.objects.filter(site=site, for_day=day, nightly=True).exists():
        return None
    few.refit(asset_ids=Asset.objects.filter(site=site).values("pk"), now=now)
    return start(site=site, for_day=day, now=now, nightly=True, ratings_too=ratings.are_of_older_edition(site))


def start(
    *, site: Site, for_day: date, now: datetime, nightly: bool = False, ratings_too: bool = False
) -> Sweep | None:
    """Lay out a sweep and its parts; ``None`` where another process has just laid out the same nightly one."""
    try:
        with transaction.atomic():
            sweep = Sweep.objects.create(
                site=site, for_day=for_day, nightly=nightly, started_at=now, ratings_too=ratings_too
            )
            if nightly:
                _mark_new_spectra(site, for_day, now=now)
            parts = _parts(site)
            SweepPart.objects.bulk_create(SweepPart(sweep=sweep, **part) for part in parts)
            sweep.programmes_total = sum(part["programmes"] for part in parts)
            sweep.save(update_fields=["programmes_total"])
    except IntegrityError:
        return None
    _end_those_done(now=now)
    return sweep


def work_off(*, worker: str, now: datetime, most: int = 1000) -> int:
    """Claim and do parts until none is free; returns how many were done."""
    done = 0
    while done < most and (part := _claim(worker=worker, now=now)):
        _do(part, now=now)
        done += 1
    _end_those_done(now=now)
    return done


def progress(sweep: Sweep) -> dict[str, int]:
    """How far a sweep is: parts and programmes done and in all, rows changed."""
    parts = list(sweep.parts.values_list("programmes", "changed", "done_at"))
    return {
        "parts": len(parts),
        "parts_done": sum(done is not None for _, _, done in parts),
        "programmes": sweep.programmes_total,
        "programmes_done": sum(count for count, _, done in parts if done),
        "changed": sum(changed for _, changed, _ in parts),
    }


def newest(sites: QuerySet[Site]) -> list[tuple[Sweep, dict[str, int]]]:
    """The newest sweeps of some sites, each with how far it is."""
    rows = Sweep.objects.filter(site__in=sites).select_related("site")[:SHOWN]
    return [(row, progress(row)) for row in rows]


def _mark_new_spectra(site: Site, day: date, *, now: datetime) -> None:
    """A stress spectrum given ahead begins to hold by itself; nobody does a deed that day."""
    rated_on = TruncDate("programmes__rating__computed_at", tzinfo=ZoneInfo(site.time_zone))
    joints = Joint.objects.filter(asset__site=site).annotate(rated_on=rated_on)
    begun = joints.filter(spectra__valid_from__lte=day, spectra__valid_from__gt=F("rated_on"))
    joint_ids = list(begun.values_list("pk", flat=True).distinct())
    actions.mark_joints_stale(joint_ids=joint_ids, why="a spectrum given ahead holds now", now=now, rating_too=True)


def _parts(site: Site) -> list[dict[str, int]]:
    """Ranges of whole assets with about ``PART_SIZE`` programmes each."""
    live = Programme.objects.filter(asset__site=site, active=True)
    per_asset = live.values_list("asset_id").annotate(Count("pk")).order_by("asset_id")
    parts: list[dict[str, int]] = []
    for asset_id, count in per_asset:
        if not parts or parts[-1]["programmes"] + count > PART_SIZE:
            parts.append({"first_asset": asset_id, "last_asset": asset_id, "programmes": 0})
        parts[-1]["last_asset"] = asset_id
        parts[-1]["programmes"] += count
    return parts


def _claim(*, worker: str, now: datetime) -> SweepPart | None:
    """One free part, claimed by a conditional update: whoever changes the row has it."""
    free = Q(claimed_at=None) | Q(claimed_at__lt=now - CLAIM_HOLDS)
    for part in SweepPart.objects.filter(free, done_at=None, sweep__state=Sweep.State.RUNNING).order_by("pk")[:50]:
        if SweepPart.objects.filter(free, pk=part.pk, done_at=None).update(claimed_at=now, claimed_by=worker):
            return part
    return None


def _do(part: SweepPart, *, now: datetime) -> None:
    sweep = Sweep.objects.get(pk=part.sweep_id)
    try:
        with transaction.atomic():
            changed = _recompute(sweep, (part.first_asset, part.last_asset), now=now)
            _done(part, now=now, changed=changed)
    except left_out.NOT_OF_AN_ASSET:
        raise
    except Exception:
        log.exception("part %s of a recompute broke off; its assets are tried one after the other", part.pk)
        _one_after_the_other(part, sweep, now=now)


def _one_after_the_other(part: SweepPart, sweep: Sweep, *, now: datetime) -> None:
    changed: list[int] = []

    def compute(asset_id: int) -> None:
        changed.append(_recompute(sweep, (asset_id, asset_id), now=now))

    assets = Asset.objects.filter(site_id=sweep.site_id, pk__range=(part.first_asset, part.last_asset)).order_by("pk")
    broken = left_out.one_after_the_other(
        assets.values_list("pk", flat=True), compute, now=now, rating_too=sweep.ratings_too
    )
    _done(part, now=now, changed=sum(changed), left_out=broken)


def _recompute(sweep: Sweep, asset_range: tuple[int, int], *, now: datetime) -> int:
    scope = Scope(asset_range=asset_range, site_id=sweep.site_id)
    return engine.recompute(scope, now=now, rate=engine.in_scope(scope) if sweep.ratings_too else None).changed


def _done(part: SweepPart, *, now: datetime, **outcome: int) -> None:
    SweepPart.objects.filter(pk=part.pk).update(done_at=now, **outcome)


def _end_those_done(*, now: datetime) -> None:
    """Sweeps of which no part is open have ended. Asked outside the transaction of a part: two workers at the last two
    parts do not see each other's before they commit, and each would leave the end to the other."""
    still_open = SweepPart.objects.filter(sweep=OuterRef("pk"), done_at=None)
    done = Sweep.objects.filter(~Exists(still_open), state=Sweep.State.RUNNING)
    broke_off = Exists(SweepPart.objects.filter(sweep=OuterRef("pk"), left_out__gt=0))
    state = Case(When(broke_off, then=Value(Sweep.State.FAILED)), default=Value(Sweep.State.DONE))
    done.update(state=state, ended_at=now)
