"""The Celery app. Task names are a wire format: change none that has been released."""

import os

from celery import Celery
from celery.signals import worker_init

from config import heavy

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.embedded")

app = Celery("soundjoint")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(
    [
        "assets_app.register",
        "assets_app.inspections",
        "schedules.duty",
        "schedules.duty.recordings",
        "schedules.due",
        "schedules.work",
        "schedules.alerts",
        "schedules.reports",
    ],
    related_name="tasks",
)
worker_init.connect(heavy.load)  # before it forks, so that its children share it
