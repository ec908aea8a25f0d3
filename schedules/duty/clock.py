"""Local times as people write them, on a site's clock that jumps twice a year. Pure."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from assets_app.refusals import Unprocessable


class Told(NamedTuple):
    at: datetime  # aware
    note: str  # what was decided for a time that came twice; empty otherwise


def on_site_clock(local: datetime, zone: ZoneInfo, *, field: str = "read_at") -> Told:
    """``local`` as a moment. A time with an offset is taken as it stands.

    A time that came twice (clocks going back) is taken as the first, and ``note`` says so. A time that never was
    (clocks going forward) is refused as ``time_skipped``.
    """
    if local.tzinfo is not None:
        return Told(local, "")
    first, second = local.replace(tzinfo=zone, fold=0), local.replace(tzinfo=zone, fold=1)
    if first.utcoffset() == second.utcoffset():
        return Told(first, "")
    if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != local:
        raise Unprocessable(
            "time_skipped", f"{local:%-d %B %Y %H:%M} never was: the clocks went forward. Check the time.", field=field
        )
    offset = f"{second:%z}"
    return Told(
        first,
        f"{local:%H:%M} came twice on {local:%-d %B %Y}, when the clocks went back; taken as the first. "
        f"For the second write {local:%Y-%m-%dT%H:%M}{offset[:3]}:{offset[3:5]}.",
    )


def parse_time(text: str, zone: ZoneInfo, *, field: str = "read_at") -> Told:
    """A time such as ``2026-06-15 09:30``, with seconds or an offset if wanted; a day alone is refused."""
    text = text.strip()
    try:
        local = datetime.fromisoformat(text)
    except ValueError as error:
        raise Unprocessable(
            "time_unreadable",
            f"{text!r} is no time. Write year-month-day hours:minutes: 2026-06-15 09:30.",
            field=field,
        ) from error
    if len(text) <= 10:
        raise Unprocessable("time_missing", f"{text!r} has no time of day. Write {text} 09:30.", field=field)
    return on_site_clock(local, zone, field=field)
