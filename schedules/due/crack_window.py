"""How far a crack of known size has come in its growth window, and how long an assessment of it may run.

Registered with ``assets_app.inspections.hooks`` when the app starts; unknown stays ``None``, and unknown refuses.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from assets_app.inspections import queries as inspections
from assets_app.inspections.models import Finding
from engineering import crack_growth
from engineering.errors import InputError
from schedules.due.models import Programme
from schedules.due.rating_rules import SHALLOWEST
from schedules.due.window_inputs import ROUNDEST, growth_law
from schedules.due.working import WorkedOut, work_out


@dataclass(frozen=True)
class Window:
    """The joint's growth figures: those of the method that finds least, so that the window is the longest."""

    worked: WorkedOut
    critical_mm: float
    whole: float | None  # counts from what that method finds to critical; None where it finds nothing in time

    def counts_left(self, depth_mm: float) -> float:
        """Counts from a depth to critical; 0 where it is there already."""
        if depth_mm >= self.critical_mm:
            return 0.0
        facts = self.worked.facts
        ranges, counts = np.array(facts.bins, dtype=float).T
        return float(
            crack_growth.counts_between(
                [depth_mm],
                [self.critical_mm],
                ranges_mpa=[ranges],
                counts=[counts],
                law=growth_law(facts),
                wall_mm=facts.wall_mm or 0.0,
                attachment_mm=facts.attachment_mm or np.inf,
                aspect=SHALLOWEST,
                bending_share=facts.bending_share,
            )[0]
        )


def window_used(
    *, joint_id: int, kind: str, length_mm: float | None, depth_mm: float | None, now: datetime
) -> float | None:
    """Share of the growth window that a crack of this size has used, 0 to 1; ``None``: not known."""
    depth, window = depth_of(depth_mm, length_mm), window_of(joint_id, now=now)
    if depth is None or window is None:
        return None
    if not window.whole:
        return 1.0  # no method owed here would have found it in time
    try:
        return min(max(1.0 - window.counts_left(depth) / window.whole, 0.0), 1.0)
    except InputError:
        return None


def assessment_end(*, finding: Finding, now: datetime) -> date | None:
    """Last day to which an assessment of a crack may run: what is left from its last measured size to critical, divided
    by the looks owed, by the early forecast. ``None``: size, figures or counter not known, or nothing is left."""
    size = inspections.standing_sizes().filter(finding=finding).last()
    depth = depth_of(size.depth_mm, size.length_mm) if size else None
    window = window_of(finding.joint_id, now=now) if depth is not None else None
    if size is None or depth is None or window is None or window.worked.curve is None:
        return None
    try:
        left = window.counts_left(depth)
    except InputError:
        return None
    curve = window.worked.curve
    start = curve.total_noted(size.counter_total, size.measured_on)
    if left <= 0:
        return None
    day = curve.day_of(start + left / window.worked.rated.looks) or curve.horizon
    return day - timedelta(days=1)


def depth_of(depth_mm: float | None, length_mm: float | None) -> float | None:
    """Depth as measured, else half the length: a half round crack, the deepest that a length allows for."""
    if depth_mm:
        return depth_mm
    return 0.5 * length_mm * ROUNDEST if length_mm else None


def window_of(joint_id: int, *, now: datetime) -> Window | None:
    rows = Programme.objects.filter(joint_id=joint_id, active=True, joint__active=True).exclude(asset__status="retired")
    worked = [work_out(pk, now=now) for pk in rows.values_list("pk", flat=True)]
    known = [each for each in worked if each.rated.critical_mm]
    if not known:
        return None
    best = max(known, key=lambda each: each.rated.window_count or 0.0)
    return Window(worked=best, critical_mm=float(best.rated.critical_mm or 0.0), whole=best.rated.window_count)
