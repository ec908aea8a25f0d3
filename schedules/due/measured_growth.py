"""The growth of a crack from its own measured sizes: fitted after the look, kept beside it, read by the engine.

A fit takes about half a second, so it is made by a task; a crack whose sizes are newer than its fit is owed one.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Count, F, Max, Q, QuerySet

from assets_app.inspections import queries as inspections
from assets_app.inspections.models import Finding, FindingSize
from engineering import acceptance, growth_fit
from engineering.errors import InputError
from schedules.due import actions, left_out
from schedules.due.crack_window import Window, depth_of, window_of
from schedules.due.curves import AssetCurve
from schedules.due.models import CrackGrowth

CRACKS = tuple(number for number, kind in acceptance.KINDS.items() if kind.is_crack)
BAND_POINTS = 24
OUTDATED = datetime(1970, 1, 1, tzinfo=UTC)  # a fit of then is owed again
log = logging.getLogger(__name__)


def owed_fits() -> QuerySet[Finding]:
    """Open cracks measured at least twice whose fit is missing, or older than their last size, its correction or the
    joint's rating, which says what size is critical and how many looks are owed."""
    open_cracks = Finding.objects.filter(kind__in=CRACKS, state__in=["open", "assessed"])
    measured = open_cracks.annotate(
        count=Count("sizes", filter=Q(sizes__inspection__corrections=None), distinct=True),
        corrected_at=Max("sizes__inspection__corrections__recorded_at"),
        rated_at=Max("joint__programmes__rating__computed_at"),
    )
    up_to_date = Q(growth__sizes=F("count"), growth__fitted_at__gt=OUTDATED) & (
        Q(corrected_at=None) | Q(growth__fitted_at__gte=F("corrected_at"))
    )
    up_to_date &= Q(rated_at=None) | Q(growth__fitted_at__gte=F("rated_at"))
    return measured.filter(Q(count__gte=2) | Q(growth__isnull=False)).exclude(up_to_date).order_by("pk")


def outdate(*, asset_ids: Sequence[int], since: date) -> None:
    """Owe those cracks of some assets a fit that were measured on ``since`` or later: the count of that day is another
    now."""
    measured = Finding.objects.filter(joint__asset_id__in=asset_ids, sizes__measured_on__gte=since)
    CrackGrowth.objects.filter(finding__in=measured).update(fitted_at=OUTDATED)


def fit_owed(*, now: datetime) -> int:
    """Fit every crack that is owed a fit; returns how many. One that cannot be fitted keeps the reason.

    One that breaks off keeps its last fit, stops no other, and is tried again the next time.
    """
    done = 0
    for finding in owed_fits().select_related("joint"):
        try:
            fit_one(finding=finding, now=now)
            done += 1
        except left_out.NOT_OF_AN_ASSET:
            raise
        except Exception:
            log.exception("the growth of finding %s could not be fitted", finding.pk)
    return done


def fit_one(*, finding: Finding, now: datetime) -> CrackGrowth:
    """Fit one crack and mark its joint as owed a recompute, in one transaction."""
    sizes = inspections.sizes(finding)
    fields = _fitted(finding, sizes, now=now)
    with transaction.atomic():
        row, _ = CrackGrowth.objects.update_or_create(
            finding=finding, defaults={**_nothing(), **fields, "sizes": len(sizes), "fitted_at": now}
        )
        actions.mark_joints_stale(joint_ids=[finding.joint_id], why="growth fitted", now=now)
    return row


def _nothing() -> dict[str, Any]:
    names = ("last_total", "critical_mm", "early_total", "middle_total", "late_total", "due_total")
    return dict.fromkeys(names, None) | {"band": [], "problem": ""}


def _fitted(finding: Finding, sizes: list[FindingSize], *, now: datetime) -> dict[str, Any]:
    window = window_of(finding.joint_id, now=now)
    if window is None or window.worked.curve is None:
        return {"problem": "critical size or counter not known: the growth cannot be set against anything"}
    points = [found for size in sizes if (found := point(size, window.worked.curve)) is not None]
    if len({total for total, _ in points}) < 2:
        return {"problem": "sizes at two different counts are needed"}
    totals, depths = (list(column) for column in zip(*points, strict=True))
    try:
        fit = growth_fit.fit(totals, depths)
        early, middle, late = fit.cycles_to(window.critical_mm)
    except InputError as error:
        return {"problem": f"{error.argument}: {error.reason}"[:240]}
    return _against(window, fit, max(totals), early, middle, late)


def _against(
    window: Window, fit: growth_fit.Fit, last: float, early: float, middle: float, late: float
) -> dict[str, Any]:
    """The fit set against the critical size: what is left to the early edge, divided by the looks owed."""
    left = max(early - last, 0.0)
    reach = last + 1.2 * (middle - last) if np.isfinite(middle) and middle > last else last * 1.1 + 1.0
    first = min(fit.readings.middle - fit.readings.span / 2, last)
    band = []
    for total in np.linspace(max(first, 0.0), reach, BAND_POINTS):
        low, mid, high = fit.size_at(float(total))
        if np.isfinite(mid):  # an upper edge without a figure: one crack in ten has run away by then
            upper = round(high, 3) if np.isfinite(high) else None
            band.append([round(float(total), 1), round(low, 3), round(mid, 3), upper])
    return {
        "last_total": last,
        "critical_mm": window.critical_mm,
        "early_total": _finite(early),
        "middle_total": _finite(middle),
        "late_total": _finite(late),
        "due_total": _finite(last + left / window.worked.rated.looks),
        "band": band,
    }


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def point(size: FindingSize, curve: AssetCurve) -> tuple[float, float] | None:
    """(counter total, depth in mm) of one measurement; ``None`` without a size."""
    depth = depth_of(size.depth_mm, size.length_mm)
    if depth is None:
        return None
    return curve.total_noted(size.counter_total, size.measured_on), depth


def words_of(joint_id: int) -> str:
    """The sentence for the limit, of the crack that asks first."""
    row = (
        CrackGrowth.objects.filter(Q(finding__joint_id=joint_id), finding__state__in=["open", "assessed"])
        .exclude(due_total=None)
        .order_by("due_total")
        .first()
    )
    if row is None:
        return ""
    return (
        f"a crack measured {row.sizes} times, found {row.finding.found_on:%-d %B %Y}, reaches the critical "
        f"{row.critical_mm:.2g} mm at the early edge of its fitted growth; what is left is divided by the looks owed"
    )
