"""Celery doors of the record. Names are a wire format."""

from celery import shared_task
from django.utils import timezone

from assets_app.dispatch import RETRY
from assets_app.record import check_actions


@shared_task(name="record.check_chains", **RETRY)
def check_chains() -> None:
    """Walk the chains that somebody asked to have checked, one after another; another worker may take some of them."""
    for check_id in list(check_actions.owed(timezone.now()).values_list("pk", flat=True)):
        check_actions.run_check(check_id=check_id, now=timezone.now())
