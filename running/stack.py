"""Production's processes on this machine: the commands of docker-compose.yml, without an engine.

PostgreSQL, Redis, two workers, one beat and the web, with the production settings; only the redirect to https is off,
since nothing here speaks TLS. The database is new each time and gone afterwards; it is filled with the demo.
"""

from __future__ import annotations

import os
import secrets
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path

from running import compose, postgres, redis
from running.health import web_answers
from running.heartbeats import age_of
from running.processes import ROOT, NotReady, free_port, port_is_free
from running.supervisor import Service, Supervisor
from schedules.demo.people import sign_in_lines

BIN = Path(sys.executable).parent
PYTHON_SERVICES = ("web", "worker", "beat")


class Stack:
    """Everything that docker-compose.yml names, started in its order; use it as a context."""

    def __init__(self, port: int, folder: Path) -> None:
        self.port = port
        self.folder = folder
        self.given = _secrets(port)
        self.servers = ExitStack()
        self.supervisor = Supervisor(folder)
        self.places: dict[str, str] = {}

    def __enter__(self) -> Stack:
        try:
            self._start_servers()
            self._one_shot("migrate")
        except BaseException:
            self.servers.close()
            raise
        return self

    def __exit__(self, *error: object) -> None:
        self.supervisor.stop()
        self.servers.close()

    def start(self) -> None:
        """Beat, the workers and the web, each by exactly its command."""
        for name in ("beat", "worker"):
            self.supervisor.start(*self._services(name))
        self.manage("collectstatic", "--noinput", "--verbosity=0")  # only the web asks for these; the others come up
        self.supervisor.start(*self._services("web"))

    def manage(self, *arguments: str) -> None:
        """Run a management command as the web would see the world."""
        command = [sys.executable, "manage.py", *arguments]
        subprocess.run(command, env=self.env("web"), cwd=ROOT, check=True)

    def env(self, name: str) -> dict[str, str]:
        """The service's environment, with this machine's places put in for those of the containers."""
        return {**_own_environment(), **compose.part(name, self.given).env, **self.places}

    def _start_servers(self) -> None:
        database = compose.part("postgres", self.given)
        broker = compose.part("redis", self.given)
        self.places = {
            "DATABASE_URL": self.servers.enter_context(
                postgres.running(database.command[1:], password=database.env["POSTGRES_PASSWORD"])
            ),
            "REDIS_URL": self.servers.enter_context(
                redis.running(broker.command[1:], password=self.given["REDIS_PASSWORD"])
            ),
            "MEDIA_ROOT": str(self.folder / "media"),
            "STATIC_ROOT": str(self.folder / "static"),
            "BEAT_SCHEDULE_FILE": str(self.folder / "beat-schedule"),
            "GUNICORN_CMD_ARGS": f"--bind=127.0.0.1:{self.port}",
            "SECURE_SSL_REDIRECT": "off",
            "PROMETHEUS_MULTIPROC_DIR": str(self.folder / "metrics"),
        }

    def _one_shot(self, name: str) -> None:
        part = compose.part(name, self.given)
        subprocess.run([_ours(part.command[0]), *part.command[1:]], env=self.env(name), cwd=ROOT, check=True)

    def _services(self, name: str) -> list[Service]:
        part = compose.part(name, self.given)
        command = [_ours(part.command[0]), *part.command[1:]]
        ready = (lambda: web_answers(self.port)) if name == "web" else None
        url = self.places["DATABASE_URL"]
        if part.replicas == 1:
            silent = age_of(url, name) if name == "beat" else None
            return [Service(name, command, self.env(name), ready, silent)]
        # Containers have a host name each; here the workers tell themselves apart by a number.
        names = [f"{name}{number}" for number in range(1, part.replicas + 1)]
        return [
            Service(
                each,
                [*command, "--hostname", f"{each}@%h"],
                self.env(name),
                ready,
                age_of(url, f"{each}@{socket.gethostname()}"),
            )
            for each in names
        ]


def _secrets(port: int) -> dict[str, str]:
    """What a person would write into .env, made anew for each run."""
    return {
        "SECRET_KEY": secrets.token_urlsafe(50),
        "POSTGRES_PASSWORD": secrets.token_hex(16),
        "REDIS_PASSWORD": secrets.token_hex(16),
        "ALLOWED_HOSTS": "localhost,127.0.0.1",
        "BASE_URL": f"http://localhost:{port}",
        "EMAIL_URL": "consolemail://",
    }


def _own_environment() -> Mapping[str, str]:
    kept = ("PATH", "HOME", "LANG", "LC_ALL", "TMPDIR", "TZ")
    return {name: os.environ[name] for name in kept if name in os.environ}


def _ours(program: str) -> str:
    """The program of this virtual environment."""
    return sys.executable if program == "python" else str(BIN / program)


def main() -> int:
    began = time.monotonic()
    port = int(os.environ.get("PORT") or free_port())
    if not port_is_free(port):
        raise SystemExit(f"Port {port} is taken by another program. Choose another: PORT={port + 1} make stack")
    with tempfile.TemporaryDirectory(prefix="sj-stack-") as folder:
        try:
            with Stack(port, Path(folder)) as stack:
                stack.manage("load_demo")
                stack.start()
                print(f"\nThe stack answers at http://localhost:{port}/ after {time.monotonic() - began:.0f} s.")
                print(*sign_in_lines(), sep="\n")
                print(f"Logs: {stack.supervisor.logs}. Ctrl-C stops it; its data goes with it.", flush=True)
                stack.supervisor.watch()
        except NotReady as error:
            print(f"The stack could not start: {error}", file=sys.stderr)
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
