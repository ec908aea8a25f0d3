"""P1 to P4 and P9: the due engine on a real PostgreSQL, started here, beside the least that the same work can cost."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import Any

from running import postgres

JOINTS = int(os.environ.get("BENCH_JOINTS", "1000000"))


def measure() -> list[dict[str, Any]]:
    """All ratios of the engine; BENCH_JOINTS sets the size of the largest fleet."""
    with postgres.running(
        ["-c", "shared_buffers=1GB", "-c", "max_wal_size=8GB", "-c", "maintenance_work_mem=256MB"]
    ) as url:
        environment = os.environ | {"DATABASE_URL": url, "DJANGO_SETTINGS_MODULE": "config.settings.test"}
        done = subprocess.run(
            [sys.executable, "-m", "bench.due_fleet", str(JOINTS)],
            env=environment,
            check=True,
            stdout=subprocess.PIPE,
            text=True,
        )
    rows: list[dict[str, Any]] = json.loads(done.stdout.splitlines()[-1])
    return rows


if __name__ == "__main__":
    print(json.dumps(measure(), indent=1))
