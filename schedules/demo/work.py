"""Orders, waits, deferrals and holds of Larkmoor."""

from __future__ import annotations

from datetime import timedelta

from schedules.alerts.models import Delivery
from schedules.demo.stage import Stage

OLD_DAYS = 10


def write_into(stage: Stage) -> None:
    """None yet."""


def see_old_alerts(stage: Stage) -> None:
    """Alerts of long ago have been read and mailed long since."""
    old = Delivery.objects.filter(intent__created_at__lt=stage.now - timedelta(days=OLD_DAYS))
    old.update(seen_at=stage.now, state=Delivery.State.SENT, sent_at=stage.now)
