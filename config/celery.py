"""The Celery app. Task names are a wire format: change none that has been released."""

import os

from celery import Celery
from celery.signals import worker_init

from config import heavy

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.embedded")

app = Celery("soundjoint")
app.config_from_object("django.conf:settings", namespace="CELERY")
ROOMS = [  # every folder with a tasks.py: a worker drops a task that it never heard of
    "assets_app.people",
    "assets_app.record",
    "assets_app.register",
    "assets_app.inspections",
    "schedules.duty.recordings",
    "schedules.due",
    "schedules.work",
    "schedules.alerts",
    "schedules.reports",
]
app.autodiscover_tasks(ROOMS, related_name="tasks")
worker_init.connect(heavy.load)  # before it forks, so that its children share it
