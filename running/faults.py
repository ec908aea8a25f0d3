"""Break the running service again and again, then hold what it computed and told against the truth: ``make faults``.

PostgreSQL, Redis, two workers and two beats (one too many) run with production's settings and commands. A fleet is
loaded and computed from nothing while readings and looks are posted, workers are killed in the middle of transactions
and of mail, Redis is emptied and stopped, PostgreSQL is stopped and crashed, and the clock jumps over the end of
summer time.
When the service has come to rest, every due date must equal one computed afresh, and every alert must have been told
once.

    python -m running.faults [--kills 200] [--joints 20000] [--assets 200] [--seed N] [--out docs/faults.json]
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import random
import secrets
import signal
import sys
import tempfile
import threading
import time
from collections import Counter as Tally
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import psycopg

from running import compose, mail_sink, postgres, redis, supervisor
from running.processes import Child, NotReady, free_port, start, wait_until
from running.supervisor import Service, Supervisor

START = datetime(2026, 10, 24, 20, 30, tzinfo=UTC)  # London's clocks go back at 01:00 UTC the next morning
# Where the clock jumps to, in order: over London's and New York's end of summer time, then an hour back in between.
JUMPS = (
    datetime(2026, 10, 25, 0, 59, tzinfo=UTC),
    datetime(2026, 10, 25, 1, 1, tzinfo=UTC),
    datetime(2026, 10, 25, 0, 30, tzinfo=UTC),
    datetime(2026, 10, 25, 4, 5, tzinfo=UTC),
    datetime(2026, 11, 1, 5, 59, 30, tzinfo=UTC),
    datetime(2026, 11, 1, 6, 10, tzinfo=UTC),
)
CLAIMS_RUN_OUT = timedelta(minutes=11)  # longer than any claim of the service holds
BIN = Path(sys.executable).parent


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
    supervisor: Supervisor
    random: random.Random
    done: Tally[str] = field(default_factory=Tally)

    def kill_a_worker(self) -> None:
        """A SIGKILL into a worker, or into one process of its pool; by preference while it is at work."""
        at = self._wait_for_work(self.random.randrange(2), seconds=3.0)
        parents = [s.child.process.pid for s in self.supervisor.services if s.name.startswith("worker") and s.child]
        children = [pid for parent in parents for pid in _children(parent)]
        whole = self.random.random() < 0.2
        chosen = parents if whole or not children else children
        if not chosen:
            return
        try:
            os.kill(self.random.choice(chosen), signal.SIGKILL)
        except ProcessLookupError:
            return
        self.done["kills"] += 1
        self.done["kills of a whole worker" if chosen is parents else "kills of a pool process"] += 1
        self.done[f"kills during {at}"] += 1

    def _wait_for_work(self, wanted: int, *, seconds: float) -> str:
        """What the workers are at when it is time to kill: ``wanted`` (0 a transaction, 1 mail) if it comes in time."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            time.sleep(self.random.random() * 0.1)
            busy = _ask(self.database.url, _AT_WORK)
            if busy and busy[wanted]:
                return ("a transaction", "mail")[wanted]
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
        """Not while mail is under way: its claim would seem to have run out, and it would be sent again."""
        self.sink.close_for(lambda: self.clock.set(to))
        self.done["clock jumps"] += 1

    def most_repeats(self) -> int:
        """How many messages may have been cut off between being taken and being written down as sent: one each process
        that was killed, and each of the four that lost its database or, by its broker, its task."""
        servers = ("PostgreSQL crashed", "PostgreSQL restarted", "Redis stopped")
        return self.done["kills"] + self.done["kills of a whole worker"] + 4 * sum(self.done[each] for each in servers)


# Workers' sessions inside a transaction; messages being sent.
_AT_WORK = (
    "SELECT (SELECT count(*) FROM pg_stat_activity WHERE application_name LIKE 'worker%%' AND xact_start IS NOT NULL), "
    "(SELECT count(*) FROM schedules_delivery WHERE state = 'claimed')"
)


def _ask(url: str, sql: str) -> tuple[int, ...] | None:
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
    rest = [*["empty_redis"] * others, *["stop_redis"] * others, *["restart_database"] * others, *jumps]
    deeds = [*["kill_a_worker"] * kills, *rest]
    chance.shuffle(deeds)
    return deeds


# --- the service ------------------------------------------------------------------------------------------------------


def _environment(database: str, broker: str, mail_port: int, folder: Path, seed: int) -> dict[str, str]:
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG", "TMPDIR") if name in os.environ}
    return {
        **kept,
        "DJANGO_SETTINGS_MODULE": "running.faults_settings",
        "DATABASE_URL": database,
        "REDIS_URL": broker,
        "SECRET_KEY": secrets.token_urlsafe(50),
        "ALLOWED_HOSTS": "localhost",
        "BASE_URL": "http://localhost",
        "EMAIL_URL": f"smtp://127.0.0.1:{mail_port}",
        "FAULTS_CLOCK": str(folder / "clock"),
        "MEDIA_ROOT": str(folder / "media"),
        "PYTHONHASHSEED": str(seed % 2**32),
    }


def _services(env: dict[str, str], folder: Path) -> list[Service]:
    """Two workers and two beats by production's commands; each is known to PostgreSQL by its name."""
    given = dict.fromkeys(
        ("SECRET_KEY", "POSTGRES_PASSWORD", "REDIS_PASSWORD", "ALLOWED_HOSTS", "BASE_URL", "EMAIL_URL"), "unused"
    )
    found = []
    for kind in ("worker", "beat"):
        program, *arguments = compose.part(kind, given).command
        for number in (1, 2):
            name = f"{kind}{number}"
            own = {"DATABASE_URL": f"{env['DATABASE_URL']}?application_name={name}"}
            own["BEAT_SCHEDULE_FILE"] = str(folder / f"schedule-{name}")
            command = [str(BIN / program), *arguments, *(["--hostname", f"{name}@%h"] if kind == "worker" else [])]
            found.append(Service(name, command, {**env, **own}))
    return found


@contextmanager
def _watched(keeper: Supervisor) -> Iterator[None]:
    """Restart what dies, sooner than in production, until the block is left."""
    supervisor.FIRST_WAIT_S, supervisor.LONGEST_WAIT_S = 0.3, 1.0
    watcher = threading.Thread(target=keeper.watch)
    watcher.start()
    try:
        yield
    finally:
        keeper.ending.set()
        watcher.join()
        keeper.stop()


def run(*, kills: int, joints: int, assets: int, seed: int, rest_s: float, pause_s: float) -> dict[str, Any]:
    """One whole run; the report."""
    print(f"seed {seed}: {kills} kills, {joints} joints on {assets} assets", flush=True)
    began = time.monotonic()
    chance = random.Random(seed)  # noqa: S311 (a run must be repeatable)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="sj-faults-")))
        # A crash must lose nothing that was committed, or the comparison would mean nothing.
        database = stack.enter_context(postgres.server(["-c", "synchronous_commit=on", "-c", "max_connections=60"]))
        broker = Broker(folder)
        broker.start()
        stack.callback(broker.stop)
        sink = stack.enter_context(mail_sink.serving(seed))
        clock = Clock(folder / "clock")
        env = _environment(database.url, broker.url, sink.port, folder, seed)
        os.environ.update(env)
        took = {"loading": _timed(lambda: _load(joints, assets, seed, clock))}
        keeper = Supervisor(folder)
        breaker = Breaker(database, broker, clock, sink, keeper, chance)
        try:
            with _watched(keeper):
                keeper.start(*_services(env, folder))
                wait_until(lambda: _at_work(database.url), what="the workers", seconds=60)
                poster = _poster(env, folder, seed, pause_s)
                stack.callback(poster.stop)
                wait_until(lambda: _posts(folder), what="the poster", seconds=60, child=poster)
                took["breaking"] = _timed(lambda: _break(breaker, plan(kills, chance), keeper))
                if not poster.alive():
                    raise NotReady(f"the poster ended early: {_last_line(folder / 'poster.log')}")
                poster.stop()
                took["coming to rest"] = _timed(lambda: _come_to_rest(clock, sink, rest_s))
                now = clock.now()
        except NotReady:
            _show_logs(keeper)
            raise
        found = _checked(database.url, sink, now)
        found["mail"]["at most so often taken again"] = breaker.most_repeats()
        posted = json.loads(_last_line(folder / "poster.log"))
    took["in all"] = time.monotonic() - began
    return {
        "what": {"seed": seed, "kills": kills, "joints": joints, "assets": assets},
        "done": dict(sorted(breaker.done.items())) | {"beats at once": 2, "mail refused for a while": sink.refused},
        "posted meanwhile": posted,
        "found": found,
        "passed": _passed(found),
        "seconds": {name: round(seconds, 1) for name, seconds in took.items()},
        "machine": {"cores": os.cpu_count(), "python": platform.python_version()},
    }


def _timed(work: Callable[[], Any]) -> float:
    began = time.monotonic()
    work()
    return time.monotonic() - began


def _load(joints: int, assets: int, seed: int, clock: Clock) -> None:
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0)
    from running import faults_fleet

    faults_fleet.load(joints=joints, assets=assets, seed=seed, now=clock.now())


def _at_work(url: str) -> bool:
    busy = _ask(url, _AT_WORK)
    return bool(busy and any(busy))


def _poster(env: dict[str, str], folder: Path, seed: int, pause_s: float) -> Child:
    command = [sys.executable, "-m", "running.faults_fleet", str(seed), str(pause_s)]
    return start("poster", command, env=env, log=folder / "poster.log")


def _break(breaker: Breaker, deeds: list[str], keeper: Supervisor) -> None:
    jumps = iter(JUMPS if deeds.count("jump") == len(JUMPS) else (JUMPS[0], JUMPS[-1]))
    for number, deed in enumerate(deeds, start=1):
        if keeper.ending.is_set():
            raise SystemExit("Stopped.")
        if deed == "jump":
            breaker.jump(next(jumps))
        else:
            getattr(breaker, deed)()
        if number % 20 == 0:
            print(f"{number} of {len(deeds)}: {dict(breaker.done)}", flush=True)
        time.sleep(breaker.random.uniform(0, 0.5))


def _come_to_rest(clock: Clock, sink: mail_sink.MailSink, seconds: float) -> None:
    """Wait until nothing is owed; claims left behind by the killed run out, since the clock is set on now and then."""
    from django.db import DatabaseError, connections

    from running import faults_checks

    deadline, set_on = time.monotonic() + seconds, time.monotonic()
    owed: dict[str, int] = {}
    while time.monotonic() < deadline:
        try:
            owed = faults_checks.owed(clock.now())
        except DatabaseError:
            connections.close_all()
        if owed and not any(owed.values()):
            return
        if time.monotonic() - set_on > 4:  # a claim left behind holds for minutes, a refused mail waits as long
            sink.close_for(lambda: clock.set(clock.now() + CLAIMS_RUN_OUT))
            set_on = time.monotonic()
        time.sleep(0.5)
    raise NotReady(f"the service did not come to rest within {seconds:g} s: {owed}")


def _checked(url: str, sink: mail_sink.MailSink, now: datetime) -> dict[str, Any]:
    from running import faults_checks as checks

    kept = checks.tables()
    fresh = checks.computed_afresh(url, now=now)
    due, ratings = checks.differing(kept.due, fresh.due), checks.differing(kept.ratings, fresh.ratings)
    lost = checks.alerts_lost(now)
    return {
        "due dates": len(fresh.due),
        "due dates that differ": len(due),
        "ratings that differ": len(ratings),
        "alerts not written": len(lost),
        "alerts not given to all who hear of them": checks.not_given_to_people(),
        "mail": checks.mail(sink.received),
        "examples": [f"{kept.due.get(pk)} is not {fresh.due.get(pk)}" for pk in due[: checks.SHOWN]]
        + lost[: checks.SHOWN],
    }


def _passed(found: dict[str, Any]) -> bool:
    wrong = [
        found["due dates that differ"],
        found["ratings that differ"],
        found["alerts not written"],
        found["alerts not given to all who hear of them"],
        found["mail"]["lost"],
        found["mail"]["doubled"],
        found["mail"]["given_up"],
    ]
    mail = found["mail"]
    if mail["same_message_taken_again"] > mail["at most so often taken again"]:
        return False
    return found["due dates"] > 0 and found["mail"]["alerts"] > 0 and not any(wrong)


def _posts(folder: Path) -> bool:
    return '"read"' in _last_line(folder / "poster.log")


def _last_line(file: Path) -> str:
    lines = file.read_text(errors="replace").strip().splitlines()
    return lines[-1] if lines else ""


def _show_logs(keeper: Supervisor) -> None:
    for log in sorted(keeper.logs.glob("*.log")):
        print(
            f"--- {log.name}",
            *(line[:300] for line in log.read_text(errors="replace").splitlines()[-6:]),
            sep="\n",
            file=sys.stderr,
        )


def main(arguments: list[str]) -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--kills", type=int, default=200)
    asked.add_argument("--joints", type=int, default=20_000)
    asked.add_argument("--assets", type=int, default=200)
    asked.add_argument("--seed", type=int, default=int.from_bytes(secrets.token_bytes(4)))
    asked.add_argument("--rest", type=float, default=600, help="seconds within which it must come to rest")
    asked.add_argument("--pause", type=float, default=0.05, help="seconds between two things posted")
    asked.add_argument("--out", type=Path, help="where the report goes, as JSON; a page for people goes beside it")
    given = asked.parse_args(arguments)
    report = run(
        kills=given.kills,
        joints=given.joints,
        assets=given.assets,
        seed=given.seed,
        rest_s=given.rest,
        pause_s=given.pause,
    )
    text = json.dumps(report, indent=2)
    print(text, flush=True)
    if given.out:
        given.out.write_text(text + "\n")
    return 0 if report["passed"] else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
