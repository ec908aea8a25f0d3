"""What is owed on each joint, and on which day it was last looked at: so that the due dates spread as in life."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random

from schedules.demo.duty import Duty
from schedules.demo.places import chance
from schedules.demo.steel import MAKER, Built
from schedules.due.models import Programme

OVERDUE_SHARE = 0.025
THESE_DAYS_SHARE = 0.03
FRESH_DAYS = 90
GOOD = ("MT", "ET")  # made on ground steel
DUTY_SHARE = 0.06  # looks that the maker asks for by count as well


@dataclass
class Owed:
    """One look owed, with the days on which it was made."""

    built: Built
    programme: Programme
    days: list[date]


def create_programmes(built: Sequence[Built], duties: dict[str, Duty]) -> list[Programme]:
    rows = []
    for each in built:
        duty = duties[each.data.tag]
        for method, months in each.methods.items():
            dice = chance("programme", each.data.tag, each.joint.tag, method)
            by_count = method != "VT" and dice.random() < DUTY_SHARE
            yearly = duty.now / len(duty.totals) * 365.25
            rows.append(
                Programme(
                    joint=each.joint,
                    asset=each.joint.asset,
                    method=method,
                    calendar_months=months,
                    duty_count=float(f"{yearly * months / 12 * 1.1:.2g}") if by_count else None,
                    source=f"{MAKER}, chapter {dice.choice((4, 6, 7))}, rev {dice.choice('BCD')}"
                    if method in ("VT", "BC")
                    else f"Larkmoor inspection plan {dice.randint(3, 9)}",
                    conditions="good" if method in GOOD else "normal",
                )
            )
    return Programme.objects.bulk_create(rows)


def plan_looks(built: Sequence[Built], duties: dict[str, Duty], *, today: date) -> list[Owed]:
    """For each look owed, when it was last made and, for some, the time before."""
    by_joint = {each.joint.pk: each for each in built}
    rows = Programme.objects.select_related("rating").order_by("pk")
    return [_plan(by_joint[row.joint_id], row, duties[by_joint[row.joint_id].data.tag], today) for row in rows]


def _plan(each: Built, row: Programme, duty: Duty, today: date) -> Owed:
    dice = chance("looks", each.data.tag, each.joint.tag, row.method)
    used = _used(dice)
    calendar = today - timedelta(days=round(used * (row.calendar_months or 48) * 30.44))
    last = max(calendar, _by_count(each, row, duty, used, today))
    born = date.fromordinal(duty.first_day)
    if last <= born + timedelta(days=20):
        return Owed(each, row, [])  # not looked at since it was commissioned, and not owed yet
    days = [_working_day(last, today)]
    before = last - timedelta(days=round((row.calendar_months or 48) * 30.44 * dice.uniform(0.85, 1.0)))
    fresh = last > today - timedelta(days=FRESH_DAYS)  # what was due then must be on file, or it would seem unseen
    if before > max(born + timedelta(days=60), today - timedelta(days=5 * 365)) and (fresh or dice.random() < 0.1):
        days.insert(0, _working_day(before, today))
    return Owed(each, row, days)


def _used(dice: Random) -> float:
    """Share of the time allowed that has gone by: over 1 is overdue; some are due in these days."""
    roll = dice.random()
    if roll < OVERDUE_SHARE:
        return dice.uniform(1.01, 1.12)
    if roll < OVERDUE_SHARE + THESE_DAYS_SHARE:
        return dice.uniform(0.975, 0.999)
    return dice.betavariate(2.0, 1.3) * 0.975


def _by_count(each: Built, row: Programme, duty: Duty, used: float, today: date) -> date:
    """The day on which a look leaves that share of every limit by count used; none gives the first day."""
    rating = row.rating
    allowed = [rating.window_count / rating.looks] if rating.window_count else []
    allowed += [row.duty_count] if row.duty_count else []
    days = [duty.day_of(max(0.0, duty.now - used * count / 1.12)) for count in allowed]
    answers_damage = row.method in GOOD or not each.detailed
    if answers_damage and rating.damage_per_count:
        first_look = (rating.damage_share or 0.3) / rating.damage_per_count
        if first_look < duty.now:  # one look since that share was reached
            days.append(duty.day_of(first_look + max(0.1, 1 - used) * (duty.now - first_look)))
    return max(days, default=date.min)


def _working_day(day: date, today: date) -> date:
    """Looks are made on weekdays, and before today."""
    day = min(day, today - timedelta(days=2))
    return day - timedelta(days=max(0, day.weekday() - 4))
