"""What ``make faults`` breaks, and how: workers, Redis, PostgreSQL and the clock, by chance but repeatably."""

from __future__ import annotations

import os
import random
import secrets
import signal
import time
from collections import Counter as Tally
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import psycopg

from running import mail_sink, postgres, redis, webhook_sink
from running.processes import Child, free_port, start, wait_until
from running.supervisor import Supervisor

START = datetime(2026, 10, 24, 20, 30, tzinfo=UTC)  # London's clocks go back at 01:00 UTC the next morning
# Where the clock jumps to, in order: over London's and New York's end of summer time, once half an hour back in
# between; then a winter on, over the hour that New York and London leave out when summer time begins.
JUMPS = (
    datetime(2026, 10, 25, 0, 59, tzinfo=UTC),
    datetime(2026, 10, 25, 1, 1, tzinfo=UTC),
    datetime(2026, 10, 25, 0, 30, tzinfo=UTC),
    datetime(2026, 10, 25, 4, 5, tzinfo=UTC),
    datetime(2026, 11, 1, 5, 59, 30, tzinfo=UTC),
    datetime(2026, 11, 1, 6, 10, tzinfo=UTC),
    datetime(2027, 3, 14, 6, 59, 30, tzinfo=UTC),
    datetime(2027, 3, 14, 7, 10, tzinfo=UTC),
    datetime(2027, 3, 28, 0, 59, 30, tzinfo=UTC),
    datetime(2027, 3, 28, 1, 10, tzinfo=UTC),
)
CLAIMS_RUN_OUT = timedelta(minutes=11)  # longer than any claim of the service holds


class Clock:
    """The service's clock: the machine's, shifted."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.set(START)

    def set(self, to: datetime) -> None:
        fresh = self.file.with_suffix(".new")
        fresh.write_text(str((to - datetime.now(UTC)).total_seconds()))
        fresh.replace(self.file)

    def now(self) -> datetime:
        return datetime.now(UTC) + timedelta(seconds=float(self.file.read_text()))


@dataclass
class Broker:
    """A Redis that can be stopped and started again on its port, with or without what it held."""

    folder: Path
    port: int = field(default_factory=free_port)
    password: str = field(default_factory=lambda: secrets.token_hex(16))
    child: Child | None = None

    @property
    def url(self) -> str:
        return f"redis://:{self.password}@127.0.0.1:{self.port}/0"

    def start(self) -> None:
        place = ["--bind", "127.0.0.1", "--port", str(self.port), "--dir", str(self.folder)]
        command = [redis.server(), *place, "--requirepass", self.password, *redis.KEEP]
        self.child = start("redis", command, log=self.folder / "redis.log")
        where = {"host": "127.0.0.1", "port": self.port, "password": self.password}
        wait_until(lambda: redis.answers(**where), what="Redis", child=self.child)

    def stop(self, how: int = signal.SIGTERM) -> None:
        if self.child:
            self.child.stop_signal = how
            self.child.stop()

    def empty(self) -> None:
        import redis as client

        one = client.Redis(host="127.0.0.1", port=self.port, password=self.password)
        one.flushall()
        one.close()


@dataclass
class Breaker:
    """Does one bad thing after the other to the service, by chance but repeatably, and writes down what it did."""

    database: postgres.Server
    broker: Broker
    clock: Clock
    sink: mail_sink.MailSink
    hooks: webhook_sink.WebhookSink
    supervisor: Supervisor
    random: random.Random
    done: Tally[str] = field(default_factory=Tally)

    def kill_a_worker(self) -> None:
        """A SIGKILL into a worker, or into one process of its pool; by preference while it is at work."""
        wait_until(lambda: bool(self._pool()), what="the workers' pools", seconds=120)
        at = self._wait_for_work(self.random.randrange(len(WORK)), seconds=3.0)
        chosen = self._pool()
        if not chosen or self.random.random() < 0.2:
            chosen = self._workers()
        try:
            victim = self.random.choice(chosen)
            whole = victim in self._workers()
            os.kill(victim, signal.SIGKILL)
        except (IndexError, ProcessLookupError):  # gone already
            return
        self.done["kills"] += 1
        self.done["kills of a whole worker" if whole else "kills of a pool process"] += 1
        self.done[f"kills during {at}"] += 1

    def _workers(self) -> list[int]:
        return [s.child.process.pid for s in self.supervisor.services if s.name.startswith("worker") and s.child]

    def _pool(self) -> list[int]:
        return [pid for worker in self._workers() for pid in _children(worker)]

    def _wait_for_work(self, wanted: int, *, seconds: float) -> str:
        """What the workers are at when it is time to kill: the ``wanted`` of ``WORK`` if it comes in time."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            time.sleep(self.random.random() * 0.1)
            busy = ask(self.database.url, AT_WORK)
            if busy and busy[wanted]:
                return WORK[wanted]
        return "neither"

    def empty_redis(self) -> None:
        self.broker.empty()
        self.done["Redis emptied"] += 1

    def stop_redis(self) -> None:
        """Stopped in order or killed; half the time it comes back with nothing."""
        self.broker.stop(self.random.choice([signal.SIGTERM, signal.SIGKILL]))
        time.sleep(self.random.uniform(0.5, 2))
        if self.random.random() < 0.5:
            for file in self.broker.folder.glob("appendonly*"):
                file.unlink()
        self.broker.start()
        self.done["Redis stopped"] += 1

    def restart_database(self) -> None:
        crash = self.random.random() < 0.5
        self.database.stop(signal.SIGQUIT if crash else signal.SIGINT)
        time.sleep(self.random.uniform(0.2, 1))
        self.database.start()
        self.done["PostgreSQL crashed" if crash else "PostgreSQL restarted"] += 1

    def jump(self, to: datetime) -> None:
        self.set_clock(to)
        self.done["clock jumps"] += 1

    def set_clock(self, to: datetime) -> None:
        """Not while a message is under way: its claim would seem to have run out, and it would be sent again."""
        self.sink.close_for(lambda: self.hooks.close_for(lambda: self.clock.set(to)))

    def stop_receiver(self) -> None:
        """Nobody listens where the webhooks go."""
        self.hooks.down()
        time.sleep(self.random.uniform(0.5, 4))
        self.hooks.up()
        self.done["webhook receiver down"] += 1

    def most_repeats(self) -> int:
        """How many messages may have been cut off between being taken and being written down as sent: one each process
        that was killed, and each of the four that lost its database or, by its broker, its task."""
        servers = ("PostgreSQL crashed", "PostgreSQL restarted", "Redis stopped")
        return self.done["kills"] + self.done["kills of a whole worker"] + 4 * sum(self.done[each] for each in servers)


WORK = ("a transaction", "mail", "a webhook")
# Workers' sessions inside a transaction; emails being sent; endpoints being served.
AT_WORK = (
    "SELECT (SELECT count(*) FROM pg_stat_activity WHERE application_name LIKE 'worker%%' AND xact_start IS NOT NULL), "
    "(SELECT count(*) FROM schedules_delivery WHERE state = 'claimed'), "
    "(SELECT count(*) FROM schedules_webhookendpoint WHERE claim <> '')"
)


def ask(url: str, sql: str) -> tuple[int, ...] | None:
    try:
        with psycopg.connect(url, connect_timeout=2) as connection:
            return connection.execute(sql).fetchone()
    except psycopg.Error:
        return None


def _children(pid: int) -> list[int]:
    try:
        return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


def plan(kills: int, chance: random.Random) -> list[str]:
    """What happens in which order: the kills, and among them the rest in proportion, each at least once."""
    others = max(1, kills // 20)
    jumps = ["jump"] * (len(JUMPS) if kills >= 20 else 2)
    servers = ("empty_redis", "stop_redis", "restart_database", "stop_receiver")
    rest = [*(deed for deed in servers for _ in range(others)), *jumps]
    deeds = [*["kill_a_worker"] * kills, *rest]
    chance.shuffle(deeds)
    return deeds
