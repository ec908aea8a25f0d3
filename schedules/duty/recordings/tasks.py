"""Celery doors of recordings. Names are a wire format."""

from celery import shared_task
from django.utils import timezone

from assets_app.dispatch import RETRY
from schedules.duty.recordings import running


@shared_task(name="duty.work_off_recordings", **RETRY)
def work_off_recordings() -> None:
    """Count the recordings that wait or whose run died, one after another; another worker may take some of them."""
    for recording_id in list(running.owed(timezone.now()).values_list("pk", flat=True)):
        running.run_recording(recording_id=recording_id, now=timezone.now())
