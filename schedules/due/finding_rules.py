"""By which day an open finding asks for something. Pure."""

from __future__ import annotations

from datetime import date, timedelta

from schedules.due.models import Policy


def finding_day(
    *, severity: str, found_on: date, last_look_on: date | None, assessed_until: date | None, policy: Policy
) -> date | None:
    """The day; ``None`` for a finding that is only recorded.

    ``hold now`` and ``repair before use`` ask at once: the day it was found, or the day until which an engineer's
    signed assessment lets it stand. ``plan repair`` and ``watch`` give the office's lead times (common practice, no
    source): the first from the finding, the second from the last look by this method.
    """
    if assessed_until is not None:
        return assessed_until
    if severity == "record":
        return None
    if severity == "plan repair":
        return found_on + timedelta(days=policy.plan_repair_days)
    if severity == "watch":
        return max(found_on, last_look_on or found_on) + timedelta(days=policy.watch_days)
    return found_on  # hold now, repair before use, and any word that is not known
