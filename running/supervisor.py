"""Keeps a handful of processes running: restarts one that died or fell silent, and stops them all in order."""

from __future__ import annotations

import json
import os
import signal
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

from running.processes import Child, NotReady, keep_log_small, start, wait_until

FIRST_WAIT_S = 1.0
LONGEST_WAIT_S = 30.0
SILENT_AFTER_S = 120.0  # without a sign of life it hangs; longer than any of its own waits for a server
ASK_EVERY_S = 15.0
STEADY_AFTER_S = 60.0  # a process that lived this long starts again without a wait
READY_WITHIN_S = 90.0
FIRST_TRIES = 3  # for one that must be ready: it may have been killed for want of memory; what is wrong stays wrong


@dataclass
class Service:
    """One process to keep; ``ready`` (if any) must say yes before the next one starts."""

    name: str
    command: Sequence[str]
    env: Mapping[str, str]
    ready: Callable[[], bool] | None = None
    silent_s: Callable[[], float | None] | None = None  # seconds since its sign of life; None: nobody can tell
    stop_signal: int = signal.SIGTERM
    child: Child | None = None
    started_at: float = 0.0
    wait_s: float = 0.0
    start_at: float = field(default=0.0)
    asked_at: float = field(default=0.0)


class Supervisor:
    """Starts services in the given order, restarts what dies, stops in reverse order."""

    def __init__(self, folder: Path) -> None:
        self.services: list[Service] = []
        self.folder = folder
        self.logs = folder / "logs"
        self.logs.mkdir(parents=True, exist_ok=True)
        self.ending = threading.Event()
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, self._end)

    def start(self, *services: Service) -> None:
        """Start these and wait for those that can be asked."""
        for service in services:
            if self.ending.is_set():
                return
            self.services.append(service)
            self._start(service)
            if service.ready:
                self._wait_until_ready(service, service.ready)

    def watch(self) -> None:
        """Until a signal ends it: start again what died, and what fell silent."""
        while not self.ending.wait(0.5):
            for service in self.services:
                self._end_silent(service)
                self._mend(service)

    def stop(self) -> None:
        for service in reversed(self.services):
            if service.child:
                service.child.stop()
        self._processes_file().unlink(missing_ok=True)

    def _wait_until_ready(self, service: Service, ready: Callable[[], bool]) -> None:
        """One that died before it was ready is started again, at most ``FIRST_TRIES`` starts in all."""
        what = f"{service.name} (see {self._log(service)})"
        for left in reversed(range(FIRST_TRIES)):
            try:
                wait_until(
                    lambda: self.ending.is_set() or ready(), what=what, seconds=READY_WITHIN_S, child=service.child
                )
                return
            except NotReady as error:
                if not left or (service.child and service.child.alive()):
                    raise
                print(f"{error}; starting it again in {FIRST_WAIT_S:g} s", flush=True)
            if service.child:
                service.child.clear_group()
            if self.ending.wait(FIRST_WAIT_S):
                return
            self._start(service)

    def _end(self, number: int, frame: FrameType | None) -> None:
        self.ending.set()

    def _end_silent(self, service: Service) -> None:
        """End a process that runs but has shown no sign of life for long; ``_mend`` starts it again."""
        now = time.monotonic()
        if service.silent_s is None or service.child is None or now - service.asked_at < ASK_EVERY_S:
            return
        service.asked_at = now
        age = service.silent_s()
        if age is None or min(age, now - service.started_at) < SILENT_AFTER_S:
            return
        print(f"{service.name} shows no sign of life any more; ending it", flush=True)
        service.child.stop()

    def _mend(self, service: Service) -> None:
        now = time.monotonic()
        if service.child and not service.child.alive():
            code = service.child.process.returncode
            service.child.clear_group()
            service.child = None
            steady = now - service.started_at > STEADY_AFTER_S
            service.wait_s = FIRST_WAIT_S if steady else min(LONGEST_WAIT_S, max(FIRST_WAIT_S, service.wait_s * 2))
            service.start_at = now + service.wait_s
            print(f"{service.name} ended (code {code}); starting it again in {service.wait_s:g} s", flush=True)
        if service.child is None and now >= service.start_at:
            self._start(service)

    def _start(self, service: Service) -> None:
        log = self._log(service)
        keep_log_small(log)
        service.child = start(service.name, service.command, env=service.env, log=log, stop_signal=service.stop_signal)
        service.started_at = time.monotonic()
        self._remember()

    def _log(self, service: Service) -> Path:
        return self.logs / f"{service.name}.log"

    def _processes_file(self) -> Path:
        return self.folder / "processes.json"

    def _remember(self) -> None:
        """Write down what runs, so that the next start can end what a SIGKILL left."""
        ids = [service.child.process.pid for service in self.services if service.child]
        self._processes_file().write_text(json.dumps({str(pid): born(pid) for pid in ids}))


def born(pid: int) -> str:
    """When a process started, in the kernel's ticks: tells it from a later one with the same id; '' when gone."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return ""
    return stat.rpartition(")")[2].split()[19]


def end_leftovers(folder: Path, *, seconds: float = 15) -> None:
    """End the processes that an earlier run, killed, left behind; only those that are certainly the same."""
    file = folder / "processes.json"
    try:
        known = json.loads(file.read_text())
    except (OSError, ValueError):
        return
    for pid, since in known.items():
        _end_if_same(int(pid), str(since), seconds)
    file.unlink(missing_ok=True)


def _end_if_same(pid: int, since: str, seconds: float) -> None:
    deadline = time.monotonic() + seconds
    while since and born(pid) == since and not _is_zombie(pid):
        number = signal.SIGTERM if time.monotonic() < deadline else signal.SIGKILL
        try:
            os.killpg(pid, number)
        except (ProcessLookupError, PermissionError):
            return
        time.sleep(0.2)


def _is_zombie(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True
