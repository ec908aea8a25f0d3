"""Celery doors of the work floor. Names are a wire format."""

from celery import shared_task
from django.utils import timezone

from assets_app.dispatch import RETRY
from schedules.work import finishing


@shared_task(name="work.answer_owed", **RETRY)
def answer_owed() -> None:
    """Answer open orders whose look stands already."""
    finishing.answer_owed(now=timezone.now())
