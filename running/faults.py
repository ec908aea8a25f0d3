"""Break the running service again and again, then hold what it computed and told against the truth: ``make faults``.

PostgreSQL, Redis, two workers and two beats (one too many) run with production's settings and commands. A fleet is
loaded and computed from nothing while readings and looks are posted, workers are killed in the middle of transactions,
of mail and of webhooks, Redis is emptied and stopped, PostgreSQL is stopped and crashed, the webhook receiver is down
now and then, and the clock jumps over the end of summer time and its beginning. When the service has come to rest,
every due date must equal one computed afresh, and every alert must have been told once.

    python -m running.faults [--kills 200] [--joints 20000] [--assets 200] [--seed N] [--out docs/faults.json]
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import random
import secrets
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from running import compose, faults_page, mail_sink, postgres, supervisor, webhook_sink
from running.faults_breaker import CLAIMS_RUN_OUT, JUMPS, Breaker, Broker, Clock, ask, plan
from running.processes import Child, NotReady, start, wait_until
from running.supervisor import Service, Supervisor

BIN = Path(sys.executable).parent


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
        "WEBHOOKS_HTTPS_ONLY": "false",
        "WEBHOOKS_INSIDE": "true",  # the receiver is on loopback
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
        hooks = stack.enter_context(webhook_sink.serving(seed))
        clock = Clock(folder / "clock")
        env = _environment(database.url, broker.url, sink.port, folder, seed)
        os.environ.update(env)
        took = {"loading": _timed(lambda: _load(joints, assets, seed, clock, hooks.url))}
        keeper = Supervisor(folder)
        breaker = Breaker(database, broker, clock, sink, hooks, keeper, chance)
        try:
            with _watched(keeper):
                poster = _poster(env, folder, seed, pause_s)
                stack.callback(poster.stop)
                wait_until(lambda: _posts(folder), what="the poster", seconds=120, child=poster)
                keeper.start(*_services(env, folder))
                wait_until(lambda: _workers_live(database.url), what="the workers", seconds=120)
                took["breaking"] = _timed(lambda: _break(breaker, plan(kills, chance), keeper))
                if not poster.alive():
                    raise NotReady(f"the poster ended early: {_last_line(folder / 'poster.log')}")
                poster.stop()
                took["coming to rest"] = _timed(lambda: _come_to_rest(breaker, rest_s))
                now = clock.now()
        except NotReady:
            _show_logs(keeper)
            raise
        found = _checked(database.url, sink, hooks, now)
        found["at most so many messages taken again"] = breaker.most_repeats()
        posted = json.loads(_last_line(folder / "poster.log"))
    took["in all"] = time.monotonic() - began
    return {
        "what": {"seed": seed, "kills": kills, "joints": joints, "assets": assets},
        "done": dict(sorted(breaker.done.items()))
        | {"beats at once": 2, "mail refused for a while": sink.refused, "webhook posts refused": hooks.refused},
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


def _load(joints: int, assets: int, seed: int, clock: Clock, hook_url: str) -> None:
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0)
    from running import faults_fleet

    faults_fleet.load(joints=joints, assets=assets, seed=seed, now=clock.now(), hook_url=hook_url)


def _workers_live(url: str) -> bool:
    return ask(url, "SELECT count(*) FROM assets_app_heartbeat WHERE kind = 'worker'") == (2,)


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


def _come_to_rest(breaker: Breaker, seconds: float) -> None:
    """Wait until nothing is owed; claims left behind by the killed run out, since the clock is set on now and then.
    What was given up (a post that failed after a jump of months) is owed again, as its keeper would ask for."""
    from django.db import DatabaseError, connections

    from running import faults_checks

    deadline, set_on = time.monotonic() + seconds, time.monotonic()
    owed: dict[str, int] = {}
    while time.monotonic() < deadline:
        try:
            breaker.done["webhook posts owed again"] += faults_checks.owe_again(breaker.clock.now())
            owed = faults_checks.owed(breaker.clock.now())
        except DatabaseError:
            connections.close_all()
        if owed and not any(owed.values()):
            return
        if time.monotonic() - set_on > 4:  # a claim left behind holds for minutes, a refused mail waits as long
            breaker.set_clock(breaker.clock.now() + CLAIMS_RUN_OUT)
            set_on = time.monotonic()
        time.sleep(0.5)
    raise NotReady(f"the service did not come to rest within {seconds:g} s: {owed}")


def _checked(url: str, sink: mail_sink.MailSink, hooks: webhook_sink.WebhookSink, now: datetime) -> dict[str, Any]:
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
        "webhooks": checks.webhooks(hooks.received),
        "examples": [f"{kept.due.get(pk)} is not {fresh.due.get(pk)}" for pk in due[: checks.SHOWN]]
        + lost[: checks.SHOWN],
    }


def _passed(found: dict[str, Any]) -> bool:
    wrong = [
        found["due dates that differ"],
        found["ratings that differ"],
        found["alerts not written"],
        found["alerts not given to all who hear of them"],
        *(found["mail"][name] for name in ("lost", "doubled", "given_up")),
        *(found["webhooks"][name] for name in ("not_owed", "lost", "doubled", "wrongly_signed", "given_up")),
    ]
    ways = (found["mail"], found["webhooks"])
    if sum(way["same_message_taken_again"] for way in ways) > found["at most so many messages taken again"]:
        return False
    return found["due dates"] > 0 and all(way["alerts"] for way in ways) and not any(wrong)


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
        given.out.with_suffix(".md").write_text(faults_page.page(report))
    return 0 if report["passed"] else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
