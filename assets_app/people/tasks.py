"""Celery doors of people. Names are a wire format."""

from celery import shared_task
from django.db import OperationalError
from django.utils import timezone

from assets_app.people import mail_actions

RETRY = {"autoretry_for": (OperationalError,), "retry_backoff": True, "max_retries": 5, "ignore_result": True}


@shared_task(name="people.send_owed", **RETRY)
def send_owed() -> None:
    """Mails about accounts that could not be sent at once."""
    mail_actions.send_owed(now=timezone.now())
