"""Each person's own clock for emails, read once for many."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from schedules.alerts import times
from schedules.alerts.models import AlertSettings
from schedules.alerts.times import Times


class Clocks:
    """Everybody's settings, or one person's; who has none is told at once, day and night."""

    def __init__(self, *, of: int | None = None) -> None:
        rows = AlertSettings.objects.all() if of is None else AlertSettings.objects.filter(person_id=of)
        self._settings = {row.person_id: row for row in rows}

    def next_allowed(self, person_id: int, site_zone: str, at: datetime) -> datetime:
        settings = self._settings.get(person_id)
        return times.next_allowed(at, as_times(settings, site_zone)) if settings else at

    def after_quiet(self, person_id: int, site_zone: str, at: datetime) -> datetime:
        settings = self._settings.get(person_id)
        return times.after_quiet(at, as_times(settings, site_zone)) if settings else at


def as_times(settings: AlertSettings, site_zone: str) -> Times:
    daily = settings.digest == AlertSettings.Digest.DAILY
    return Times(
        zone=ZoneInfo(settings.time_zone or site_zone),
        quiet_from=settings.quiet_from,
        quiet_until=settings.quiet_until,
        digest_hour=settings.digest_hour if daily else None,
    )
