"""One worker of a sweep, for the comparison of one with two."""

import os
from datetime import UTC, datetime

import django

if __name__ == "__main__":
    django.setup()
    from schedules.due import sweeps

    sweeps.work_off(worker=f"bench {os.getpid()}", now=datetime(2026, 6, 15, 9, tzinfo=UTC))
