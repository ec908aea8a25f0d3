"""One worker of a sweep, for the comparison of one with two; prints the most memory that it held, in MiB."""

import os
from datetime import UTC, datetime
from pathlib import Path

import django

if __name__ == "__main__":
    django.setup()
    from schedules.due import sweeps

    sweeps.work_off(worker=f"bench {os.getpid()}", now=datetime(2026, 6, 15, 9, tzinfo=UTC))
    # Not getrusage: that counts what the parent held when it forked.
    held = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
    print(int(held.split()[1]) // 1024)
