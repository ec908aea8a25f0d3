"""Celery doors of people. Names are a wire format."""

from celery import shared_task
from django.utils import timezone

from assets_app.dispatch import RETRY
from assets_app.people import mail_actions


@shared_task(name="people.send_owed", **RETRY)
def send_owed() -> None:
    """Mails about accounts that could not be sent at once."""
    mail_actions.send_owed(now=timezone.now())
