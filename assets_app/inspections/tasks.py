"""Celery doors of inspections. Names are a wire format."""

from celery import shared_task
from django.utils import timezone

from assets_app.dispatch import RETRY
from assets_app.inspections import actions


@shared_task(name="inspections.lapse_assessments", **RETRY)
def lapse_assessments() -> None:
    """Findings whose assessment has ended are open again."""
    actions.lapse_assessments(now=timezone.now())


@shared_task(name="inspections.sweep_evidence", **RETRY)
def sweep_evidence() -> None:
    """Remove photo files that a crash left without a row."""
    actions.sweep_evidence(now=timezone.now())
