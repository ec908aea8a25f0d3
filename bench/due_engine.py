"""P1 to P4 and P9: the due engine on a real PostgreSQL, started here, beside the least that the same work can cost."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import Any

from running import postgres

JOINTS = int(os.environ.get("BENCH_JOINTS", "1000000"))
PARTS = os.environ.get("BENCH_PARTS", "").split()  # some of `due_fleet.PARTS`, to measure these again; none: all

# A server of 24 GiB that holds the fleet in memory; the engine and what it is compared with run on the same.
MEMORY = {"shared_buffers": "4GB", "effective_cache_size": "12GB", "work_mem": "32MB", "maintenance_work_mem": "512MB"}
SERVER = [part for name, value in (MEMORY | {"max_wal_size": "8GB"}).items() for part in ("-c", f"{name}={value}")]


def measure() -> list[dict[str, Any]]:
    """All ratios of the engine; BENCH_JOINTS sets the size of the largest fleet, BENCH_PARTS chooses."""
    with postgres.running(SERVER) as url:
        environment = os.environ | {"DATABASE_URL": url, "DJANGO_SETTINGS_MODULE": "config.settings.test"}
        done = subprocess.run(
            [sys.executable, "-m", "bench.due_fleet", str(JOINTS), *PARTS],
            env=environment,
            check=True,
            stdout=subprocess.PIPE,
            text=True,
        )
    rows: list[dict[str, Any]] = json.loads(done.stdout.splitlines()[-1])
    return rows


if __name__ == "__main__":
    print(json.dumps(measure(), indent=1))
