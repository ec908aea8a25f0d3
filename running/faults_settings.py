"""Settings of ``make faults``: production's, with a clock that can be set and a beat that does not keep one waiting.

The service asks ``django.utils.timezone.now`` for the time in its doors only; here that answers with the machine's
time plus the seconds written in the file ``FAULTS_CLOCK``. Nothing in the service knows of it.
"""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

from django.utils import timezone

from config.settings.production import *
from config.settings.production import CELERY_BEAT_SCHEDULE

_clock = Path(os.environ["FAULTS_CLOCK"])


def _shifted_now() -> datetime:
    return datetime.now(UTC) + timedelta(seconds=float(_clock.read_text()))


timezone.now = _shifted_now

SOONER = {"due.sweep_if_owed": 3.0, "due.work_off_sweep": 3.0, "alerts.raise_owed": 4.0, "alerts.deliver_owed": 2.0}
SOONER["alerts.post_owed"] = 2.0
CELERY_BEAT_SCHEDULE = {
    name: {**entry, "schedule": SOONER.get(str(entry["task"]), entry["schedule"])}
    for name, entry in CELERY_BEAT_SCHEDULE.items()
}
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_TIMEOUT = 10
