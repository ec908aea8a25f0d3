"""What stands in the database after a load, in figures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import date

from assets_app.inspections.models import Finding, Inspection
from assets_app.record.models import RecordEntry
from assets_app.register.models import Asset, Joint
from schedules.alerts.models import Intent
from schedules.deferral.models import Deferral
from schedules.due.models import DueDate, Rating
from schedules.duty.models import Reading
from schedules.work.models import Hold, WorkOrder

EDGES = ((0, "overdue"), (7, "within a week"), (30, "within a month"), (91, "within 3 months"), (365, "within a year"))


def lines(today: date) -> Iterator[str]:
    """One line a subject."""
    yield f"{Asset.objects.count()} assets, {Joint.objects.count()} joints, {Reading.objects.count()} readings"
    yield f"{Inspection.objects.count()} inspections, {RecordEntry.objects.count()} record entries"
    due = list(DueDate.objects.values_list("due_on", "governing", "unrated", "unprotected", "damage_now"))
    yield "due: " + _counted(Counter(_band(row[0], today) for row in due))
    yield "governing: " + _counted(Counter(row[1] or "nothing" for row in due))
    yield f"unrated {sum(row[2] for row in due)} of {len(due)} looks owed; unprotected {sum(row[3] for row in due)}"
    damages = sorted(row[4] for row in due if row[4] is not None)
    if damages:
        yield f"damage {damages[0]:.3f} to {damages[-1]:.2f}, in the middle {damages[len(damages) // 2]:.2f}"
    windows = Rating.objects.exclude(window_count=None).count()
    yield f"growth windows known of {windows} looks owed"
    yield "open findings: " + _counted(
        Counter(Finding.objects.filter(closed_on=None).values_list("severity", flat=True))
    )
    yield "orders: " + _counted(Counter(WorkOrder.objects.values_list("state", flat=True)))
    yield "deferrals: " + _counted(Counter(Deferral.objects.values_list("state", flat=True)))
    yield f"holds standing {Hold.objects.filter(released_at=None).count()}; alerts {Intent.objects.count()}"


def _band(day: date | None, today: date) -> str:
    if day is None:
        return "no date"
    days = (day - today).days
    return next((words for edge, words in EDGES if days < edge or (edge and days == edge)), "later")


def _counted(counts: Counter[str]) -> str:
    return ", ".join(f"{words} {count}" for words, count in counts.most_common())
