"""The peer of P2: the bench fleet's due dates one joint after the other, as a plain loop over the ORM works them out.

What the fleet's joints have is worked out (calendar, duty, damage, growth window), what they do not have is asked for
as it must be (findings, looks owed besides). Curves are drawn once a counter and the programmes fetched with all that
they point to, both in the loop's favour. The dates must be those of the engine: ``AssertionError`` else.
"""

from __future__ import annotations

import calendar
import time
from collections.abc import Sequence
from datetime import date, datetime

import django

django.setup()

from assets_app.inspections.models import Finding  # noqa: E402
from schedules.due.curves import AssetCurve, curves_of_assets  # noqa: E402
from schedules.due.models import DueDate, OwedLook, Programme  # noqa: E402
from schedules.duty.models import Reading  # noqa: E402

Days = dict[str, date | None]


def seconds(programmes: Sequence[Programme], *, today: date, now: datetime) -> float:
    """How long the loop takes over ``programmes``, which come with rating, joint and asset."""
    stand = DueDate.objects.filter(programme__in=[each.pk for each in programmes])
    before = dict(stand.values_list("programme_id", "due_on"))
    curves = curves_of_assets({each.asset_id for each in programmes}, today=today)
    began = time.perf_counter()
    for programme in programmes:
        _work(programme, curves[programme.asset_id], today=today, now=now)
    took = time.perf_counter() - began
    after = dict(stand.values_list("programme_id", "due_on"))
    assert after == before, "the plain loop and the engine disagree about a date"
    return took


def _work(programme: Programme, curve: AssetCurve, *, today: date, now: datetime) -> None:
    latest = Reading.objects.filter(counter_id=curve.counter_id).latest("read_at")
    days = _limits(programme, curve)
    if Finding.objects.filter(joint_id=programme.joint_id, state__in=["open", "assessed"]).exists():
        raise AssertionError("the bench's joints have no findings")
    if OwedLook.objects.filter(joint_id=programme.joint_id, satisfied_by=None, withdrawn_why="").exists():
        raise AssertionError("the bench's joints owe no other looks")
    due_on = min(day for day in days.values() if day)
    DueDate.objects.update_or_create(
        programme=programme,
        defaults={
            "joint_id": programme.joint_id,
            "asset_id": programme.asset_id,
            "site_id": programme.asset.site_id,
            "method": programme.method,
            "due_on": due_on,
            "governing": next(limit for limit, day in days.items() if day == due_on),
            "calendar_on": days["calendar"],
            "duty_on": days["duty"],
            "damage_on": days["damage"],
            "growth_window_on": days["growth window"],
            "count_now": latest.total,
            "reading_on": latest.read_on,
            "code_version": "plain loop",
            "computed_on": today,
            "changed_at": now,
        },
    )


def _limits(programme: Programme, curve: AssetCurve) -> Days:
    """Each limit's day, of a joint as old as its asset that was looked at once."""
    rating = programme.rating
    looked = curve.total_at_look(programme.last_look_on)
    first_look = rating.damage_share / rating.damage_per_count
    damage = 1.0 / rating.damage_per_count if looked >= first_look else first_look
    return {
        "calendar": _months_later(programme.last_look_on, programme.calendar_months),
        "duty": curve.day_of(looked + programme.duty_count),
        "damage": curve.day_of(damage),
        "growth window": curve.day_of(looked + rating.window_count / rating.looks),
    }


def _months_later(day: date, months: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
