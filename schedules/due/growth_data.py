"""The facts behind the drawing of a crack's growth: its sizes, its fit, and the counter's curve that gives the days."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime

import numpy as np

from assets_app.inspections import queries as inspections
from assets_app.inspections.models import Finding
from assets_app.people.queries import day_at
from schedules.due.curves import AssetCurve, curves_of_assets
from schedules.due.growth_drawing import BandPoint, Growth, Mark, Measured
from schedules.due.life_line import Band
from schedules.due.measured_growth import CRACKS, point
from schedules.due.models import CrackGrowth
from schedules.due.rules import NO_DAY

HALF_LENGTH = "Where no depth was measured, half the length stands for it: the deepest that a length allows for"
FITTED = (
    "The band is fitted to the sizes alone, each with its scatter; it holds while the loads stay as they were. An 80 % "
    "band: one crack in five lies outside"
)


def growth_of(finding: Finding, *, now: datetime) -> Growth:
    """What the drawing of one finding takes. Whatever is not known is said as the problem."""
    asset = finding.joint.asset
    today = day_at(asset.site, now)
    if finding.kind not in CRACKS:
        return Growth(problem="growth is followed for cracks only")
    curve = curves_of_assets([asset.pk], today=today).get(asset.pk)
    if curve is None:
        return Growth(problem="the asset has no counter that can be forecast, so sizes cannot be set against use")
    sizes = inspections.sizes(finding)
    measured = [Measured(size.measured_on, *found) for size in sizes if (found := point(size, curve)) is not None]
    fit = CrackGrowth.objects.filter(finding=finding).first()
    notes = [HALF_LENGTH] if any(not size.depth_mm and size.length_mm for size in sizes) else []
    known = {"unit": curve.unit, "measured": measured, "left_out": len(sizes) - len(measured)}
    known["today"] = Mark("today", curve.total_on(today), today)
    if fit is None or fit.problem:
        why = fit.problem if fit else _not_fitted(finding, measured)
        return Growth(**known, problem=why, notes=notes, dates=_dates(curve, _span(measured, [])))
    band = _band(fit)
    reaches = _reaches(fit, curve)
    marks = [mark.total for mark in (*reaches, known["today"]) if mark is not None]
    if not finding.is_open:
        notes.append("The finding is no longer open: its growth is kept to be looked at and asks for nothing")
    return Growth(
        **known,
        band=band,
        critical_mm=fit.critical_mm,
        reaches=reaches,
        due=_mark("due", fit.due_total, curve) if finding.is_open else None,
        dates=_dates(curve, _span(measured, band, marks)),
        notes=[*notes, FITTED],
    )


def _not_fitted(finding: Finding, measured: Sequence[Measured]) -> str:
    if len({each.total for each in measured}) < 2:
        return "sizes at two different counts are needed; measure it again at the next look"
    if not finding.is_open:
        return "it was closed before its growth was fitted"
    return "the fit of the newest size has not been made yet; it follows within minutes"


def _reaches(fit: CrackGrowth, curve: AssetCurve) -> list[Mark]:
    edges = (("early", fit.early_total), ("middle", fit.middle_total), ("late", fit.late_total))
    return [mark for name, total in edges if (mark := _mark(name, total, curve)) is not None]


def _mark(name: str, total: float | None, curve: AssetCurve) -> Mark | None:
    return None if total is None else Mark(name, total, curve.day_of(total))


def _band(fit: CrackGrowth) -> list[BandPoint]:
    """The stored band; an upper edge without a figure is infinite."""
    return [BandPoint(total, low, mid, math.inf if high is None else high) for total, low, mid, high in fit.band]


def _span(measured: Sequence[Measured], band: Sequence[BandPoint], marks: Sequence[float] = ()) -> tuple[float, float]:
    totals = [*(each.total for each in (*measured, *band)), *marks]
    return (min(totals), max(totals)) if totals else (0.0, 0.0)


def _dates(curve: AssetCurve, span: tuple[float, float]) -> list[tuple[date, float]]:
    """First days of months from the day before the span to the day after it, with their totals by the early curve."""
    days = curve.curve.day_of(np.array(span), early=True).astype(int)
    last = min(int(days[1]), curve.curve.first_day + len(curve.curve.early) - 1)
    first, found = date.fromordinal(int(days[0])) if days[0] < NO_DAY else date.max, []
    year, month = first.year, first.month
    while (day := date(year, month, 1)).toordinal() <= last and len(found) < 600:
        place = day.toordinal() - curve.curve.first_day
        if place >= 0:
            found.append((day, float(curve.curve.early[place])))
        year, month = (year, month + 1) if month < 12 else (year + 1, 1)
    return found


def open_growths(joint_id: int) -> list[CrackGrowth]:
    """Fits of a joint's open cracks, the one that asks first at the head; those without a date after it."""
    rows = CrackGrowth.objects.filter(finding__joint_id=joint_id, finding__state__in=inspections.OPEN)
    return sorted(
        rows.select_related("finding__joint__asset__site"),
        key=lambda row: (row.due_total is None, row.due_total or 0.0, row.pk),
    )


def band_over_days(joint_id: int, curve: AssetCurve | None) -> list[Band]:
    """The band of the crack that asks first, over days by the early forecast; empty where there is none."""
    row = next((row for row in open_growths(joint_id) if row.band), None)
    if row is None or curve is None:
        return []
    points = _band(row)
    days = curve.curve.day_of(np.array([each.total for each in points]), early=True)
    by_day = {int(day): each for day, each in zip(days, points, strict=True) if day < NO_DAY}
    return [Band(date.fromordinal(day), each.low, each.middle, each.high) for day, each in sorted(by_day.items())]
