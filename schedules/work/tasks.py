"""Celery doors of the work floor. Names are a wire format."""

from celery import shared_task
from django.db import OperationalError
from django.utils import timezone

from schedules.work import finishing


@shared_task(
    name="work.answer_owed",
    autoretry_for=(OperationalError,),
    retry_backoff=True,
    max_retries=5,
    ignore_result=True,
)
def answer_owed() -> None:
    """Answer open orders whose look stands already."""
    finishing.answer_owed(now=timezone.now())
