"""The recompute engine: what is owed, read in bulk; dates worked on arrays; only rows that changed, written in bulk.

Idempotent: run twice, late or beside itself it leaves the same rows. Time is an argument. Nothing is held outside the
database: a crash leaves the stale marks (or the sweep's part) standing, and the next run finds them.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np
from django.db import connection, transaction
from django.db.models import Count, Q, QuerySet
from numpy.typing import NDArray

from assets_app.register.models import Asset, Joint, Site
from schedules.due import left_out, open_reasons, ratings, store
from schedules.due.curves import AssetCurve, Curves, curves_of_assets
from schedules.due.events import dates_changed
from schedules.due.models import Policy, Programme, StaleMark
from schedules.due.rating_rules import DETAILED_METHODS
from schedules.due.rules import NO_DAY, Owed, born_totals, due_dates, totals_on
from schedules.due.store import Columns, Scope

log = logging.getLogger(__name__)

CODE_VERSION = "2026.11"
MARKS_AT_ONCE = 2000
LOOKS_AT_ONCE = 25_000  # programmes; a worker's memory follows it


@dataclass(frozen=True)
class Outcome:
    """What one recompute did."""

    programmes: int
    changed: int


def recompute_stale(*, now: datetime) -> Outcome:
    """Work off every stale mark there is, in batches, each in one transaction with the marks that it answers."""
    programmes = changed = 0
    while True:
        outcome = recompute_marked_batch(now=now)
        if outcome is None:
            return Outcome(programmes, changed)
        programmes, changed = programmes + outcome.programmes, changed + outcome.changed


def recompute_marked_batch(*, now: datetime) -> Outcome | None:
    """Work off one batch of stale marks; ``None`` where there is none.

    One that breaks off is done again one asset after the other, so that no asset stops another.
    """
    try:
        return _work_off(left_out.marks_to_try(now), now=now)
    except left_out.NOT_OF_AN_ASSET:
        raise
    except Exception:
        log.exception("a batch of stale marks broke off; its assets are tried one after the other")
        return _one_after_the_other(left_out.marks_to_try(now), now=now)


def _one_after_the_other(marks: QuerySet[StaleMark], *, now: datetime) -> Outcome:
    done: list[Outcome | None] = []

    def compute(asset_id: int) -> None:
        done.append(_work_off(marks.filter(asset_id=asset_id), now=now))

    asset_ids = dict.fromkeys(marks.values_list("asset_id", flat=True)[:MARKS_AT_ONCE])
    left_out.one_after_the_other(asset_ids, compute, now=now)
    return Outcome(sum(each.programmes for each in done if each), sum(each.changed for each in done if each))


@transaction.atomic
def _work_off(marks: QuerySet[StaleMark], *, now: datetime) -> Outcome | None:
    """Answer the first of the marks: they are locked, answered and removed together; one written meanwhile stays for
    the next batch. Marks that another worker holds are skipped (on SQLite there is only one writer at a time).
    """
    free = marks.select_for_update(of=("self",), skip_locked=connection.features.has_select_for_update_skip_locked)
    batch = _bounded(list(free[:MARKS_AT_ONCE]))
    if not batch:
        return None
    whole = {mark.asset_id for mark in batch if mark.joint_id is None}
    joints = {mark.joint_id for mark in batch if mark.joint_id is not None and mark.asset_id not in whole}
    rate_assets = {mark.asset_id for mark in batch if mark.rating_too and mark.joint_id is None}
    rate_joints = {mark.joint_id for mark in batch if mark.rating_too and mark.joint_id is not None}
    outcome = recompute(
        Scope(asset_ids=sorted(whole), joint_ids=sorted(joints)),
        now=now,
        rate=Q(asset_id__in=rate_assets) | Q(joint_id__in=rate_joints) if rate_assets or rate_joints else None,
    )
    StaleMark.objects.filter(pk__in=[mark.pk for mark in batch]).delete()
    return outcome


def _bounded(marks: list[StaleMark]) -> list[StaleMark]:
    """Of the marks, the oldest first, as many as ``LOOKS_AT_ONCE`` allows; one asset at least."""
    whole = {mark.asset_id for mark in marks if mark.joint_id is None}
    if len(whole) < 2:
        return marks
    rows = Programme.objects.filter(asset_id__in=whole).order_by().values_list("asset_id").annotate(Count("pk"))
    looks = dict(rows)
    held, taken = 0, set()
    for place, mark in enumerate(marks):
        if mark.joint_id is None and mark.asset_id not in taken:
            held += looks.get(mark.asset_id, 0)
            if taken and held > LOOKS_AT_ONCE:
                return marks[:place]
            taken.add(mark.asset_id)
    return marks


@transaction.atomic
def recompute(scope: Scope, *, now: datetime, rate: Q | None = None) -> Outcome:
    """Recompute the due dates in ``scope``; ``rate`` picks the programmes to be rated anew first.

    A programme that was never rated is rated in any case. Recomputes of one asset follow one another: otherwise a slow
    one, which read before a change, could write over what a quick one computed after it.
    """
    _hold(scope)
    store.expect_nearness()
    if rate is not None:
        _rate(rate, now=now)
    left_out.computed(asset_ids=scope.asset_ids, asset_range=scope.asset_range)
    read, dead = store.read_live_and_dead(scope)
    if (read["rating_version"] == 0).any():
        _rate(in_scope(scope) & Q(rating=None), now=now)
        read, dead = store.read_live_and_dead(scope)
    store.remove_due(dead)
    if not len(read["programme_id"]):
        return Outcome(0, 0)
    changed = 0
    for site in Site.objects.filter(pk__in=np.unique(read["site_id"]).tolist()):
        rows = np.flatnonzero(read["site_id"] == site.pk)
        changed += _recompute_site(site, {name: values[rows] for name, values in read.items()}, now=now)
    return Outcome(len(read["programme_id"]), changed)


def _rate(where: Q, *, now: datetime) -> None:
    """Rate what ``where`` picks, by the spectra that hold on each site's own day."""
    for site in Site.objects.filter(pk__in=Programme.objects.filter(where).values("asset__site_id")):
        ratings.refresh(where & Q(asset__site=site), now=now, today=site_day(site, now))


def _hold(scope: Scope) -> None:
    """Lock the assets until commit, in order, against other recomputes; what is posted meanwhile is not kept waiting.

    On SQLite a transaction is the only writer anyway.
    """
    if scope.asset_range:
        of_site = {"site_id": scope.site_id} if scope.site_id else {}
        where = Q(pk__range=scope.asset_range, **of_site)
    else:
        where = Q(pk__in=list(scope.asset_ids)) | Q(pk__in=_assets_of(scope.joint_ids))
    assets = Asset.objects.select_for_update(no_key=True).filter(where)
    list(assets.order_by("pk").values_list("pk", flat=True))


def _assets_of(joint_ids: Sequence[int]) -> set[int]:
    return set(Joint.objects.filter(pk__in=list(joint_ids)).order_by().values_list("asset_id", flat=True))


def site_day(site: Site, now: datetime) -> date:
    """Today on the site's clock."""
    return now.astimezone(ZoneInfo(site.time_zone)).date()


def _recompute_site(site: Site, read: Columns, *, now: datetime) -> int:
    today = site_day(site, now)
    policy = ratings.policies_of_sites().get(site.pk) or Policy()
    asset_ids = np.unique(read["asset_id"])
    curves = curves_of_assets(asset_ids.tolist(), today=today)
    order = [curves[pk] for pk in asset_ids.tolist() if pk in curves]
    owed = gather(read, curves, policy, today=today)
    due = due_dates(owed, [each.curve for each in order])
    columns = {name: read[name] for name in store.KEY_COLUMNS} | store.due_columns(due)
    columns["unprotected"] = _unprotected_joints(read)
    rows = np.flatnonzero(store.changed_rows(columns, read))
    if not len(rows):
        return 0
    columns |= _figures(read, owed, order, today)
    fresh = {name: columns[name][rows] for name in store.WRITTEN}
    store.write_due(fresh, code_version=CODE_VERSION, computed_on=today, changed_at=now)
    dates_changed.send(sender=__name__, site=site, columns=fresh, today=today, now=now)
    return len(rows)


def gather(read: Columns, curves: Curves, policy: Policy, *, today: date) -> Owed:
    """The columns read, with what is open on the joints, as input of ``rules.due_dates``."""
    numbers = {
        asset_id: index
        for index, asset_id in enumerate(pk for pk in np.unique(read["asset_id"]).tolist() if pk in curves)
    }
    counter = open_reasons.lookup(read["asset_id"], numbers, -1).astype(np.int32)
    looks = open_reasons.owed_looks(read)
    detailed = np.isin(read["method"].astype(str), sorted(DETAILED_METHODS))
    has_detailed = _any_of_joint(read["joint_id"], detailed)
    counts = [looks[name] for name in looks if name.endswith("_total")]
    growth = open_reasons.measured_growth_totals(read)
    counts += [read[name] for name in ("duty_count", "damage_per_count", "window_count")]
    by_count = ~np.isnan([*counts, growth]).all(axis=0)
    return Owed(
        commissioned=read["commissioned"],
        installed=read["installed"],
        last_look=read["last_look"],
        last_look_total=read["last_look_total"],
        calendar_months=read["calendar_months"].astype(np.int32),
        duty_count=read["duty_count"],
        damage_per_count=read["damage_per_count"],
        damage_share=read["damage_share"],
        damage_applies=detailed | ~has_detailed,
        damage_excused_until=open_reasons.excused_until(read),
        window_count=read["window_count"],
        looks=read["looks"].astype(np.int32),
        rating_missing=read["rating_missing"],
        needs_counter=by_count,
        counter=counter,
        finding=open_reasons.finding_days(read, policy),
        measured_growth_total=growth,
        impossible=read["rating_impossible"] | (by_count & np.isin(read["asset_id"], sorted(curves.broken))),
        today=today.toordinal(),
        **looks,
    )


def _figures(read: Columns, owed: Owed, order: list[AssetCurve], today: date) -> Columns:
    """What the dates were computed from, to stand beside them: total and damage today, reading, versions."""
    day = np.full(len(owed.counter), today.toordinal(), dtype=np.int32)
    curves = [each.curve for each in order]
    count = totals_on(day, owed.counter, curves)
    born = born_totals(owed, curves)
    known = owed.counter >= 0
    reading = np.array([*(each.reading_on.toordinal() for each in order), NO_DAY], dtype=np.int32)
    version = np.array([*(each.forecast_version for each in order), 0], dtype=np.int64)
    return {
        "count_now": np.where(known, count, np.nan),
        "damage_now": np.where(known, (count - born) * owed.damage_per_count, np.nan),
        "reading_on": reading[owed.counter],
        "forecast_version": version[owed.counter],
        "rating_version": read["rating_version"],
    }


def _unprotected_joints(read: Columns) -> NDArray[np.bool_]:
    """A joint is unprotected where some method was rated, and none of them finds a crack before it is critical."""
    protects = _any_of_joint(read["joint_id"], ~np.isnan(read["window_count"]))
    return _any_of_joint(read["joint_id"], read["rating_unprotected"]) & ~protects


def _any_of_joint(joint: NDArray[np.int64], flag: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether ``flag`` holds for any programme of the same joint."""
    _, place = np.unique(joint, return_inverse=True)
    return np.bincount(place, weights=flag, minlength=len(joint))[place] > 0


def in_scope(scope: Scope) -> Q:
    if scope.asset_range:
        of_site = Q(asset__site_id=scope.site_id) if scope.site_id else Q()
        return Q(asset_id__gte=scope.asset_range[0], asset_id__lte=scope.asset_range[1]) & of_site
    return Q(asset_id__in=list(scope.asset_ids)) | Q(joint_id__in=list(scope.joint_ids))
