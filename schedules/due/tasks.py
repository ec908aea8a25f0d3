"""Celery doors of the due engine."""

from celery import shared_task


@shared_task(name="due.recompute_stale", ignore_result=True)
def recompute_stale() -> None:
    """Recompute what is marked stale, until nothing is."""
    from django.utils import timezone

    from schedules.due.engine import recompute_stale as run

    run(now=timezone.now())
