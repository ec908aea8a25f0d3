"""When an email may reach a person: quiet hours and the daily digest, on that person's clock. Pure; the time is given.

A clock that is set forward may skip the end of the quiet hours: they then end by the old offset, at most an hour late.
A clock that is set back lives an hour twice: what is quiet in it is quiet both times.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

# The day before: what began yesterday may end today. Two days ahead: a skipped end.
_NEAR_DAYS = (-1, 0, 1, 2)


@dataclass(frozen=True)
class Times:
    """One person's wishes. ``quiet_from`` to ``quiet_until`` on ``zone``'s wall clock, over midnight where it must."""

    zone: ZoneInfo
    quiet_from: time | None = None
    quiet_until: time | None = None
    digest_hour: int | None = None  # None: at once


def is_quiet(at: datetime, times: Times) -> bool:
    """Whether the wall clock stands within the quiet hours; their end is no longer quiet."""
    if times.quiet_from is None or times.quiet_until is None:
        return False
    return _within(at.astimezone(times.zone).time(), times.quiet_from, times.quiet_until)


def within_quiet(hour: int, quiet_from: time, quiet_until: time) -> bool:
    """Whether a full hour of the wall clock lies within quiet hours."""
    return _within(time(hour), quiet_from, quiet_until)


def after_quiet(at: datetime, times: Times) -> datetime:
    """``at`` itself, or the next end of the quiet hours."""
    if not is_quiet(at, times) or times.quiet_until is None:
        return at
    return min(end for end in _instants(at, times.quiet_until, times.zone) if end > at and not is_quiet(end, times))


def next_allowed(at: datetime, times: Times) -> datetime:
    """When something that is told at ``at`` may be sent: with the next digest, else at the end of the quiet hours."""
    if times.digest_hour is None:
        return after_quiet(at, times)
    digest = min(one for one in _instants(at, time(times.digest_hour), times.zone, folds=(0,)) if one >= at)
    return after_quiet(digest, times)


def _within(clock: time, begins: time, ends: time) -> bool:
    if begins <= ends:
        return begins <= clock < ends
    return clock >= begins or clock < ends


def _instants(at: datetime, clock: time, zone: ZoneInfo, *, folds: tuple[int, ...] = (0, 1)) -> list[datetime]:
    """The instants near ``at`` at which the wall clock shows ``clock``: twice on a day whose clock is set back."""
    today = at.astimezone(zone).date()
    return [
        datetime.combine(today + timedelta(days=days), clock.replace(fold=fold), zone).astimezone(UTC)
        for days in _NEAR_DAYS
        for fold in folds
    ]
