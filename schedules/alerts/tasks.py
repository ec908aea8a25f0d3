"""Celery doors of the alerts. Names are a wire format."""

from celery import shared_task
from django.utils import timezone

from assets_app.dispatch import RETRY
from schedules.alerts import actions, deliver, posting


@shared_task(name="alerts.raise_owed", **RETRY)
def raise_owed() -> None:
    """Look for what the passing of days brings."""
    actions.raise_owed(now=timezone.now())


@shared_task(name="alerts.deliver_owed", **RETRY)
def deliver_owed() -> None:
    """Send what is owed."""
    deliver.deliver_owed(now=timezone.now())


@shared_task(name="alerts.post_owed", **RETRY)
def post_owed() -> None:
    """Post what is owed to webhooks. Apart from the emails, so that a slow receiver keeps none of them waiting."""
    posting.post_owed(now=timezone.now())
