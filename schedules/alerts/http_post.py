"""One POST over http or https: no redirects, no proxies, a deadline for all of it, only the answer's head read.

Whoever sets up a receiver chooses where this service knocks, so it knocks on the internet only, save where the settings
let receivers be inside. It connects to an address that was looked at, never to the name once more: a name that changes
in between gains nothing.
"""

from __future__ import annotations

import contextlib
import http.client
import socket
import ssl
import threading
import time
from dataclasses import dataclass
from urllib.parse import SplitResult, urlsplit

from django.conf import settings

from assets_app.patience import within
from schedules.alerts.address_rules import is_on_the_internet

TIMEOUT_S = 10  # to connect, and between two bytes
LOOK_UP_S = 5  # for a name; the resolver's own patience may be minutes
DEADLINE_S = 20  # for all of it, from the look-up to the answer, however slowly it drips
MOST_ADDRESSES = 4  # of one name that are tried
INSIDE = (
    "This address lies inside a network and not on the internet, so nothing is posted there. Where the receiver is "
    "your own, whoever runs the service can allow it (WEBHOOKS_INSIDE)."
)


class Trouble(Exception):
    """The message may not have arrived."""


class NotThere(Trouble):
    """Nothing was sent: the name is not known, or stands for an address where nothing may be posted."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


@dataclass(frozen=True)
class Answer:
    status: int
    retry_after: str = ""  # as it stands in the header


def is_allowed(url: str) -> bool:
    """http or https with a host and without a name and password; https only where the settings say so."""
    parts = _parts(url)
    if parts is None:
        return False
    needs_https = settings.WEBHOOKS_HTTPS_ONLY
    return parts.scheme == "https" or (parts.scheme == "http" and not needs_https)


def look_up(url: str) -> None:
    """Raises ``NotThere`` where nothing could be posted now. Where receivers may be inside, there is nothing to ask.
    Belongs outside a transaction: it may take ``LOOK_UP_S``."""
    parts = _parts(url)
    if parts is not None and not settings.WEBHOOKS_INSIDE:
        _addresses(parts.hostname or "", parts.port or http.client.HTTPS_PORT)


def post(url: str, body: bytes, headers: dict[str, str], *, deadline_s: float = DEADLINE_S) -> Answer:
    """What was answered. Raises ``Trouble`` where none was."""
    parts = _parts(url)
    if parts is None:
        raise Trouble("the address is not one of http or https")
    link = _link(parts, deadline_s)
    watch = threading.Timer(deadline_s, _cut, args=(link,))
    watch.daemon = True
    watch.start()
    try:
        link.connect()
        link.request("POST", f"{parts.path or '/'}{'?' + parts.query if parts.query else ''}", body, headers)
        answer = link.getresponse()
    except (OSError, http.client.HTTPException, ValueError) as error:
        if link.late.is_set():
            raise Trouble(f"no answer within {deadline_s:g} s") from error
        raise Trouble(_plain(f"{type(error).__name__}: {error}")) from error
    finally:
        watch.cancel()
        link.close()
    return Answer(answer.status, answer.getheader("Retry-After", ""))


def _plain(text: str) -> str:
    """What the other side answered is kept beside the message: without what no text may hold, such as NUL."""
    return "".join(letter if letter.isprintable() else " " for letter in text).strip()


def _parts(url: str) -> SplitResult | None:
    try:
        parts = urlsplit(url)
        port_is_one = parts.port is None or parts.port > 0
    except ValueError:
        return None
    is_plain = url.isascii() and url.isprintable() and " " not in url
    is_whole = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.username is None
    return parts if is_plain and is_whole and port_is_one else None


def _addresses(host: str, port: int) -> list[str]:
    """What the name stands for; one address inside a network spoils them all. Raises ``NotThere``."""
    try:
        found = within(LOOK_UP_S, lambda: socket.getaddrinfo(host, port, type=socket.SOCK_STREAM))
    except TimeoutError as error:
        raise NotThere("host_not_looked_up", f"No answer about the name {host} came. Try again in a moment.") from error
    except (OSError, UnicodeError) as error:
        raise NotThere("host_not_known", f"The name {host} is not known here. Is it spelled right?") from error
    addresses = list(dict.fromkeys(str(address[0]) for *_, address in found))
    if not settings.WEBHOOKS_INSIDE and not all(map(is_on_the_internet, addresses)):
        raise NotThere("url_inside_network", INSIDE)
    return addresses[:MOST_ADDRESSES]


def _reach(host: str, port: int, until: float) -> socket.socket:
    """A connection to the first address that answers."""
    trouble: OSError = OSError("no address")
    for address in _addresses(host, port):
        left = until - time.monotonic()
        if left <= 0:
            break
        try:
            held = socket.create_connection((address, port), min(TIMEOUT_S, left))
        except OSError as error:
            trouble = error
            continue
        held.settimeout(TIMEOUT_S)
        held.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return held
    raise trouble


class _Link(http.client.HTTPConnection):
    def __init__(self, host: str, port: int, deadline_s: float) -> None:
        super().__init__(host, port)
        self.until, self.late = time.monotonic() + deadline_s, threading.Event()

    def connect(self) -> None:
        self._hold(_reach(self.host, self.port, self.until))

    def _hold(self, held: socket.socket) -> None:
        """Hold it where ``_cut`` finds it; who was cut before there was anything to cut goes no further."""
        self.sock = held
        if self.late.is_set():
            raise TimeoutError


class _SafeLink(_Link):
    """The certificate must be the name's, whatever the address."""

    default_port = http.client.HTTPS_PORT

    def connect(self) -> None:
        super().connect()
        given = {"server_hostname": self.host, "do_handshake_on_connect": False}  # a slow handshake can be cut
        safe = ssl.create_default_context().wrap_socket(self.sock, **given)
        self._hold(safe)
        safe.do_handshake()


def _link(parts: SplitResult, deadline_s: float) -> _Link:
    kind = _SafeLink if parts.scheme == "https" else _Link
    return kind(parts.hostname or "", parts.port or kind.default_port, deadline_s)


def _cut(link: _Link) -> None:
    link.late.set()
    held = link.sock
    if held is not None:
        with contextlib.suppress(OSError):
            socket.socket.shutdown(held, socket.SHUT_RDWR)  # TLS would first take its state away from who is reading
