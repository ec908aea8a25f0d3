"""What bounds a deferral of an order, and the risk as it stands: read afresh from the due floor."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import numpy as np

from assets_app.inspections.models import Finding
from assets_app.people.qualification_rules import add_months
from assets_app.refusals import NotFound
from schedules.deferral.rules import LONGEST_MONTHS, NEVER, Bound
from schedules.due import queries as due
from schedules.due.models import Programme
from schedules.due.working import WorkedOut
from schedules.work.models import WorkOrder


def explanations(order: WorkOrder, *, now: datetime) -> list[due.Explanation]:
    """Of the look that the order is, else of every look owed on its joint."""
    programmes = Programme.objects.filter(joint_id=order.joint_id, active=True)
    if order.method:
        programmes = programmes.filter(method=order.method)
    found = []
    for programme in programmes:
        try:
            found.append(due.explain(programme.pk, now=now))
        except NotFound:
            continue
    return found


def bounds_of(order: WorkOrder, explained: list[due.Explanation], today: date) -> list[Bound]:
    """Days that no deferral may pass: window closed, life used up, an engineer's assessment ended; a year where window
    and life are not known, for what nobody can compute is no reason to wait longer."""
    bounds = []
    for each in explained:
        if each.window_closes_on is not None:
            bounds.append(Bound(each.window_closes_on, f"the growth window of {each.method} closes then"))
        used_up = life_ends_on(each.worked)
        if used_up is not None:
            bounds.append(Bound(used_up, "the computed fatigue life is used up then"))
    for finding in Finding.objects.filter(joint_id=order.joint_id, state=Finding.State.ASSESSED):
        last = finding.assessments.first()
        if last is not None:
            bounds.append(Bound(last.ends_on, "an engineer's assessment lets a finding stand until then"))
    if not bounds and not any(_is_known(each) for each in explained):
        unknown = "neither the growth window nor the fatigue life of this joint is known"
        bounds.append(Bound(add_months(today, LONGEST_MONTHS), f"{unknown}, so it is {LONGEST_MONTHS} months at most"))
    return bounds


def _is_known(each: due.Explanation) -> bool:
    """Whether the window or the life is known: one that gives no day then ends beyond all that is forecast. Where a
    figure cannot be right, neither is."""
    worked = each.worked
    window = worked.rated.window_count is not None and each.window_opens_on is not None
    life = bool(worked.rated.damage_per_count) and worked.born_total is not None
    return worked.curve is not None and (window or life) and not worked.rated.impossible


def life_ends_on(worked: WorkedOut) -> date | None:
    """The day on which Miner damage reaches 1 by the early forecast, or until which an engineer lets it stand."""
    rated, curve, born = worked.rated, worked.curve, worked.born_total
    if not rated.damage_per_count or curve is None or born is None:
        return None
    found = int(curve.curve.day_of(np.array([born + 1.0 / rated.damage_per_count]), early=True)[0])
    used_up = date.fromordinal(found) if found < date.max.toordinal() else None
    excused = worked.day(worked.owed.damage_excused_until)
    return max(used_up, excused) if used_up and excused else used_up


def gravest_finding(order: WorkOrder) -> Finding | None:
    """An open finding on the joint whose severity cannot be put off."""
    rows = Finding.objects.filter(joint_id=order.joint_id, state__in=["open", "assessed"], severity__in=NEVER)
    return rows.order_by("severity", "found_on").first()


def risk_of(order: WorkOrder, explained: list[due.Explanation]) -> dict[str, Any]:
    """The risk as it stands, for the signature; an unknown figure is None, never 0.

    ``damage``: Miner sum today; ``window_used``: share of the growth window counted since the last look;
    ``unprotected``: no interval of this method protects the joint; ``missing``: figures that are not known.
    """
    damages = [each.worked.damage_now for each in explained if each.worked.damage_now is not None]
    shares = [share for each in explained if (share := window_used(each.worked)) is not None]
    severities = Finding.objects.filter(joint_id=order.joint_id, state__in=["open", "assessed"])
    return {
        "damage": max(damages, default=None),
        "window_used": max(shares, default=None),
        "unprotected": any(each.unprotected_here for each in explained),
        "unrated": not explained or any(each.unrated for each in explained),
        "missing": sorted({text for each in explained for text in each.missing}),
        "governing": explained[0].governing if order.method and explained else "",
        "severities": sorted(set(severities.values_list("severity", flat=True))),
    }


def window_used(worked: WorkedOut) -> float | None:
    """Counts since the last look over the growth window's counts; 1 is the window closed."""
    count, look, window = worked.count_now, worked.look_total, worked.rated.window_count
    if count is None or look is None or not window:
        return None
    return max(0.0, (count - look) / window)
