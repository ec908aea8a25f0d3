"""The whole service on this machine with nothing installed: SQLite, a private Redis, one worker with beat, the web.

Everything lives under .run/ in the work tree (or the folder RUN_FOLDER); delete it and the demo starts anew.
SMALL=1 loads fewer assets and joints, for a quick try.
"""

from __future__ import annotations

import fcntl
import os
import secrets
import socket
import sqlite3
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import TextIO

from running import redis
from running.health import web_answers
from running.heartbeats import age_of
from running.processes import ROOT, NotReady, port_is_free
from running.supervisor import Service, Supervisor, end_leftovers
from schedules.demo.people import sign_in_lines

RUN = Path(os.environ.get("RUN_FOLDER") or ROOT / ".run").resolve()
DATABASE = RUN / "soundjoint.sqlite3"
BIN = Path(sys.executable).parent


class Refused(SystemExit):
    """What stops the demo, in one sentence."""


def main() -> int:
    began = time.monotonic()
    port = _port()
    RUN.mkdir(mode=0o700, exist_ok=True)
    lock = _only_one()
    end_leftovers(RUN)
    if not port_is_free(port):
        raise Refused(f"Port {port} is taken by another program. Choose another: PORT={port + 1} make demo")
    socket = redis.socket_in(RUN)
    socket.unlink(missing_ok=True)
    env = _environment(port, socket)
    supervisor = Supervisor(RUN)
    try:
        supervisor.start(_redis(env, socket))
        _prepare(env)
        supervisor.start(_worker(env), _web(env, port))
        if not supervisor.ending.is_set():
            _greet(port, time.monotonic() - began)
            supervisor.watch()
    except NotReady as error:
        print(f"The demo could not start: {error}", file=sys.stderr)
        return 1
    finally:
        print("Stopping.", flush=True)
        supervisor.stop()
        lock.close()
    return 0


def _port() -> int:
    given = os.environ.get("PORT", "8000")
    if not given.isdigit() or not 1 <= int(given) <= 65535:
        raise Refused(f"PORT must be a number from 1 to 65535, not {given!r}.")
    return int(given)


def _only_one() -> TextIO:
    """The lock goes with the process, however it ends."""
    lock = (RUN / "demo.lock").open("a")
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise Refused("The demo is running already from this folder. Stop it with Ctrl-C there first.") from None
    return lock


def _environment(port: int, socket: Path) -> dict[str, str]:
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "config.settings.embedded",
        "DATABASE_URL": f"sqlite:///{DATABASE}",
        "REDIS_URL": f"redis+socket://{socket}",
        "SECRET_KEY": _secret_key(),
        "BASE_URL": f"http://localhost:{port}",
        "ALLOWED_HOSTS": "localhost,127.0.0.1",
        "MEDIA_ROOT": str(RUN / "media"),
        "STATIC_ROOT": str(RUN / "static"),
        "EMAIL_FILE_PATH": str(RUN / "mail"),
        "BEAT_SCHEDULE_FILE": str(RUN / "beat-schedule"),
        "PROMETHEUS_MULTIPROC_DIR": str(RUN / "metrics"),
        "WEBHOOKS_INSIDE": "true",  # so that one can be tried on this machine
    }


def _secret_key() -> str:
    """Made once, so that people stay signed in over a restart."""
    file = RUN / "secret-key"
    if not file.exists():
        file.touch(mode=0o600)
        file.write_text(secrets.token_urlsafe(50))
    return file.read_text()


def _prepare(env: dict[str, str]) -> None:
    """Tables, demo data if the database is new; static files meanwhile."""
    with ThreadPoolExecutor(max_workers=1) as beside:
        static = beside.submit(_manage, "collectstatic", "--noinput", "--verbosity=0", env=env)
        if DATABASE.exists():
            _manage("migrate", "--noinput", "--verbosity=0", env=env)
        else:
            _make_database(env)
        static.result()


def _make_database(env: dict[str, str]) -> None:
    """Built under another name and renamed when whole: a start that was broken off leaves no half demo behind."""
    draft = DATABASE.with_name("draft.sqlite3")
    for leftover in RUN.glob("draft.sqlite3*"):
        leftover.unlink()
    print(
        "Making Larkmoor: two sites, their joints and five years of use. The first start takes a minute or two.",
        flush=True,
    )
    at_draft = {**env, "DATABASE_URL": f"sqlite:///{draft}"}
    _manage("migrate", "--noinput", "--verbosity=0", env=at_draft)
    _manage("load_demo", *(["--small"] if os.environ.get("SMALL") else []), env=at_draft)
    with closing(sqlite3.connect(draft)) as connection:  # so that no write-ahead log is left behind by the new name
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    draft.replace(DATABASE)


def _manage(*arguments: str, env: dict[str, str]) -> None:
    done = subprocess.run([sys.executable, str(ROOT / "manage.py"), *arguments], env=env, cwd=ROOT, check=False)
    if done.returncode:
        raise Refused(f"`manage.py {' '.join(arguments)}` failed; its message stands above.")


def _redis(env: dict[str, str], socket: Path) -> Service:
    command = redis.command_on_socket(RUN, socket)
    return Service("redis", command, env, lambda: redis.answers(unix_socket_path=str(socket)))


def _worker(env: dict[str, str]) -> Service:
    """One worker with beat inside.

    It forks one child (prefork) instead of using threads: time limits hold only there, a crash inside a native library
    takes the child and not the worker, and SQLite has one writer anyway.
    """
    command = [str(BIN / "celery"), "-A", "config.celery", "worker", "--beat"]
    command += ["--pool=prefork", "--concurrency=1", "--without-gossip", "--without-mingle", "--loglevel=INFO"]
    return Service("worker", command, env, silent_s=age_of(env["DATABASE_URL"], f"celery@{socket.gethostname()}"))


def _web(env: dict[str, str], port: int) -> Service:
    command = [str(BIN / "gunicorn"), "config.wsgi", f"--bind=127.0.0.1:{port}", "--worker-class=gthread"]
    command += ["--workers=2", "--threads=4", "--no-control-socket"]
    return Service("web", command, env, lambda: web_answers(port))


def _greet(port: int, seconds: float) -> None:
    print(f"\nSoundjoint answers at http://localhost:{port}/ after {seconds:.0f} s. Ctrl-C stops it.\n", flush=True)
    print(*sign_in_lines(), sep="\n")
    print(f"\nData, logs, and the mail it would send: {os.path.relpath(RUN)}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
