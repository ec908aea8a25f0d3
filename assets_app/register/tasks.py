"""Celery doors of the register. Names are a wire format."""

from celery import shared_task
from django.utils import timezone

from assets_app.dispatch import RETRY
from assets_app.register import importer


@shared_task(name="register.work_off_imports", **RETRY)
def work_off_imports() -> None:
    """Work off the imports that wait or whose run died, one after another; another worker may take some of them."""
    now = timezone.now()
    for import_id in list(importer.owed(now).values_list("pk", flat=True)):
        importer.run_import(import_id=import_id, now=timezone.now())
