"""The refusals of whoever posts second: which reading stands in the way, who posted it and when, and who could help.

Plain readings leave no entry in the record; each row keeps who posted it.
"""

from __future__ import annotations

from typing import Any

from assets_app.people.rules import who_could
from assets_app.record.queries import by_and_when
from assets_app.refusals import Conflict
from schedules.duty.meter import Shown, figure
from schedules.duty.models import Counter, Reading

COULD_WITHDRAW = f"{who_could('counter.change').capitalize()} could."


def differs(counter: Counter, same: Shown) -> Conflict:
    """Another figure stands for the very same moment."""
    posted, data = _posted(counter, same)
    message = (
        f"There is a reading of {figure(same.value)} for this very moment{posted}. If it is wrong, withdraw it first. "
        f"{COULD_WITHDRAW}"
    )
    return Conflict("reading_differs", message, field="value", stored_value=same.value, **data)


def readings_after(counter: Counter, after: Shown) -> Conflict:
    """The meter cannot have been exchanged before a reading that was judged on the other one."""
    posted, data = _posted(counter, after)
    message = (
        f"There is a later reading, of {after.day}{posted}, judged on the other meter. Withdraw it first, then "
        f"enter it again. {COULD_WITHDRAW}"
    )
    return Conflict("readings_after_exchange", message, field="at", later_day=after.day, **data)


def _posted(counter: Counter, shown: Shown) -> tuple[str, dict[str, Any]]:
    """In words and as facts; nothing for a reading that only stands in what is sent now."""
    row = Reading.objects.filter(counter=counter, read_at=shown.at).select_related("posted_by").first()
    if row is None:
        return "", {}
    name = row.posted_by.display_name if row.posted_by else "the service"
    said = f", posted {by_and_when(name, row.posted_at, counter.asset.site.time_zone)}"
    return said, {"by": name, "at": row.posted_at.isoformat(), "reading": row.pk}
