"""One POST over http or https: no redirects, no proxies, a deadline for all of it, only the answer's status read."""

from __future__ import annotations

import contextlib
import http.client
import socket
import ssl
import threading
from urllib.parse import SplitResult, urlsplit

from django.conf import settings

TIMEOUT_S = 10  # to connect, and between two bytes
DEADLINE_S = 20  # for the whole answer, however slowly it drips


class Trouble(Exception):
    """The message may not have arrived."""


def is_allowed(url: str) -> bool:
    """http or https with a host and without a name and password; https only where the settings say so."""
    parts = _parts(url)
    if parts is None:
        return False
    needs_https = settings.WEBHOOKS_HTTPS_ONLY
    return parts.scheme == "https" or (parts.scheme == "http" and not needs_https)


def post(url: str, body: bytes, headers: dict[str, str], *, deadline_s: float = DEADLINE_S) -> int:
    """The status that was answered. Raises ``Trouble`` where none was."""
    parts = _parts(url)
    if parts is None:
        raise Trouble("the address is not one of http or https")
    link = _link(parts)
    late = threading.Event()
    watch = threading.Timer(deadline_s, _cut, args=(link, late))
    watch.daemon = True
    try:
        link.connect()
        watch.start()
        link.request("POST", f"{parts.path or '/'}{'?' + parts.query if parts.query else ''}", body, headers)
        status = link.getresponse().status
    except (OSError, http.client.HTTPException, ValueError) as error:
        if late.is_set():
            raise Trouble(f"no answer within {deadline_s:g} s") from error
        raise Trouble(f"{type(error).__name__}: {error}") from error
    finally:
        watch.cancel()
        link.close()
    return status


def _parts(url: str) -> SplitResult | None:
    try:
        parts = urlsplit(url)
        port_is_one = parts.port is None or parts.port > 0
    except ValueError:
        return None
    is_plain = url.isascii() and url.isprintable() and " " not in url
    is_whole = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.username is None
    return parts if is_plain and is_whole and port_is_one else None


def _link(parts: SplitResult) -> http.client.HTTPConnection:
    host = parts.hostname or ""
    if parts.scheme == "https":
        return http.client.HTTPSConnection(host, parts.port, timeout=TIMEOUT_S, context=ssl.create_default_context())
    return http.client.HTTPConnection(host, parts.port, timeout=TIMEOUT_S)


def _cut(link: http.client.HTTPConnection, late: threading.Event) -> None:
    late.set()
    held = link.sock
    if held is not None:
        with contextlib.suppress(OSError):
            held.shutdown(socket.SHUT_RDWR)
