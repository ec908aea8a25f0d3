"""Celery doors of reports. Names are a wire format."""

from celery import shared_task
from django.utils import timezone

from assets_app.dispatch import RETRY
from schedules.reports import written_actions


@shared_task(name="reports.write", **RETRY)
def write_reports() -> None:
    """Write the reports that wait or whose run died, one after another; another worker may take some of them."""
    for report_id in list(written_actions.owed(timezone.now()).values_list("pk", flat=True)):
        written_actions.write_report(report_id=report_id, now=timezone.now())


@shared_task(name="reports.forget_old_files", **RETRY)
def forget_old_files() -> None:
    """Delete the files of written reports whose time is over."""
    written_actions.forget_old_files(now=timezone.now())
