"""Run a command with a real PostgreSQL and Redis: ``python -m running.with_servers -- pytest tests``.

The command finds them in DATABASE_URL and REDIS_URL. Servers already named there are used as they are.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from contextlib import ExitStack
from types import FrameType

from running import postgres, redis


def main(arguments: list[str]) -> int:
    command = arguments[1:] if arguments[:1] == ["--"] else arguments
    if not command:
        print(__doc__, file=sys.stderr)
        return 2
    signal.signal(signal.SIGTERM, _leave)
    with ExitStack() as servers:
        if not os.environ.get("DATABASE_URL"):
            os.environ["DATABASE_URL"] = servers.enter_context(postgres.running())
        if not os.environ.get("REDIS_URL"):
            os.environ["REDIS_URL"] = servers.enter_context(redis.running())
        return subprocess.run(command, check=False).returncode


def _leave(number: int, frame: FrameType | None) -> None:
    """End by SystemExit, so that the servers are stopped on the way out."""
    raise SystemExit(128 + number)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
