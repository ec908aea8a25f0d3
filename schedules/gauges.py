"""How the work stands, in figures: for whoever watches the service (``/metrics``, ``/health/ready/``)."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.db.models import Count, Min, Sum

from assets_app.doors import heartbeats
from assets_app.doors.metrics import Measure
from schedules.alerts import queries as alerts
from schedules.alerts.models import CountedLook, Delivery, Intent
from schedules.due.models import DueDate, NotComputed, StaleMark, Sweep, SweepPart


def measures(*, now: datetime) -> Iterator[Measure]:
    yield from _stale_marks(now)
    yield from _sweeps()
    what = "Assets whose recompute broke off; their dates stand as they were."
    yield Measure(name="assets_not_computed", what=what, values={"": NotComputed.objects.count()})
    yield from _alerts(now)
    yield Measure(name="due_rows", what="Due dates in the table.", values={"": DueDate.objects.count()})
    for kind in ("worker", "beat"):
        ages = heartbeats.ages_s(kind)
        what = f"Seconds since the last sign of life of each {kind}."
        yield Measure(name=f"{kind}_silent_seconds", what=what, values=ages, label="name")


def _stale_marks(now: datetime) -> Iterator[Measure]:
    found = StaleMark.objects.aggregate(count=Count("pk"), oldest=Min("marked_at"))
    age = max((now - found["oldest"]).total_seconds(), 0.0) if found["oldest"] else 0.0
    yield Measure(name="stale_marks", what="Changes whose due dates are owed.", values={"": found["count"]})
    yield Measure(name="stale_marks_oldest_seconds", what="Age of the oldest of them.", values={"": age})


def _sweeps() -> Iterator[Measure]:
    running = SweepPart.objects.filter(sweep__state=Sweep.State.RUNNING)
    owed = running.aggregate(all=Sum("programmes", default=0))["all"]
    done = running.exclude(done_at=None).aggregate(all=Sum("programmes", default=0))["all"]
    what = "Looks owed in the full recomputes that run now, and those done."
    yield Measure(name="sweep_programmes", what=what, values={"owed": owed, "done": done}, label="state")


def _alerts(now: datetime) -> Iterator[Measure]:
    """Sent ones are not counted: they only grow, and counting them would cost more each day."""
    open_states = [Delivery.State.OWED, Delivery.State.CLAIMED]
    counts = dict.fromkeys([*open_states, Delivery.State.FAILED], 0)
    rows = Delivery.objects.filter(state__in=list(counts)).values_list("state").annotate(Count("pk"))
    values = {str(state): float(count) for state, count in {**counts, **dict(rows)}.items()}
    yield Measure(name="deliveries", what="Alerts owed, being sent, given up.", values=values, label="state")
    what = "Alerts owed and given up, by channel."
    yield Measure(name="alerts_open", what=what, values=alerts.open_by_channel(), label="channel")
    oldest = Delivery.objects.filter(state__in=open_states).aggregate(at=Min("next_try_at"))["at"]
    late = max((now - oldest).total_seconds(), 0.0) if oldest else 0.0
    yield Measure(name="deliveries_late_seconds", what="How long the oldest is past its time.", values={"": late})
    unexpanded = Intent.objects.filter(expanded_at=None).count()
    yield Measure(name="intents_waiting", what="Alerts not yet given to people.", values={"": unexpanded})
    counted = CountedLook.objects.filter(intent=None).count()
    yield Measure(
        name="looks_counted_waiting", what="Looks of a flood whose count is not told yet.", values={"": counted}
    )
