"""Celery doors of duty."""

from celery import shared_task


@shared_task(name="duty.refit_all", ignore_result=True)
def refit_all() -> None:
    """Fit every counter again; a changed forecast marks its asset stale. Repeating it changes nothing."""
    from django.utils import timezone

    from schedules.duty.actions import refit_in_batches
    from schedules.duty.models import Counter

    refit_in_batches(counter_ids=list(Counter.objects.order_by("pk").values_list("pk", flat=True)), now=timezone.now())
