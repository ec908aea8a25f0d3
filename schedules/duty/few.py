"""Counters read once or twice: their rate rests on the day of commissioning too, which may be put right later."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db.models import Count, QuerySet

from schedules.duty.actions import refit_in_batches
from schedules.duty.models import Counter
from schedules.duty.rules import FEW_READINGS


def refit(*, asset_ids: Iterable[int] | QuerySet[Any, Any], now: datetime) -> int:
    """Fit those counters of some assets again; a changed one marks its asset. Outside the change that causes it, since
    counters are locked before the record; what a crash leaves undone the night does."""
    read = Counter.objects.filter(asset__in=asset_ids).annotate(times=Count("readings"))
    few = read.filter(times__gt=0, times__lt=FEW_READINGS).order_by("pk").values_list("pk", flat=True)
    return refit_in_batches(counter_ids=list(few), now=now)
