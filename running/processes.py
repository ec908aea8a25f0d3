"""Child processes: each in a group of its own, ended with its parent, stopped by its own id."""

from __future__ import annotations

import ctypes
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LOG_LIMIT_BYTES = 10 * 1024 * 1024
PR_SET_PDEATHSIG = 1


class NotReady(RuntimeError):
    """A process did not answer in time, or ended before it did."""


@dataclass
class Child:
    """A process that we started, the only one that we may stop."""

    name: str
    process: subprocess.Popen[bytes]
    stop_signal: int = signal.SIGTERM

    def alive(self) -> bool:
        return self.process.poll() is None

    def stop(self, *, seconds: float = 20) -> None:
        """Ask it to end; end it and what is left of its group if it has not after ``seconds``."""
        if self.alive():
            self.process.send_signal(self.stop_signal)
            try:
                self.process.wait(seconds)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        self.clear_group()

    def clear_group(self) -> None:
        """End what a dead process left behind in its group (a pool's workers, for example)."""
        try:
            os.killpg(self.process.pid, signal.SIGKILL)
        except (ProcessLookupError, PermissionError):
            return


def start(
    name: str,
    command: Sequence[str],
    *,
    env: Mapping[str, str] | None = None,
    log: Path | None = None,
    uid: int | None = None,
    stop_signal: int = signal.SIGTERM,
) -> Child:
    """Start ``command`` in a new group; when this process dies, even by SIGKILL, the child is sent ``stop_signal``."""
    with (log or Path(os.devnull)).open("ab") as output:
        process = subprocess.Popen(
            list(command),
            env=dict(os.environ if env is None else env),
            cwd=ROOT if uid is None else "/",
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            preexec_fn=lambda: _end_with_parent(stop_signal),
            user=uid,
            group=uid,
            extra_groups=None if uid is None else [],
        )
    return Child(name, process, stop_signal)


def _end_with_parent(stop_signal: int) -> None:
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, stop_signal)


def free_port() -> int:
    """A port that nothing listens on just now, on loopback."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def port_is_free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True


def wait_until(ready: Callable[[], bool], *, what: str, seconds: float = 30, child: Child | None = None) -> None:
    """Return as soon as ``ready()``; raise NotReady when ``child`` ended or ``seconds`` went by."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if child and not child.alive():
            raise NotReady(f"{what} ended with code {child.process.returncode} before it was ready")
        if ready():
            return
        time.sleep(0.05)
    raise NotReady(f"{what} did not answer within {seconds:g} s")


def keep_log_small(log: Path) -> None:
    """Set an overgrown log aside, so that one old and one new remain."""
    if log.exists() and log.stat().st_size > LOG_LIMIT_BYTES:
        log.replace(log.with_suffix(".old"))
