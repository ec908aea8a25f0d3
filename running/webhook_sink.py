"""A webhook receiver on loopback that keeps what it is sent, is slow, refuses some, and can be down for a while."""

from __future__ import annotations

import base64
import hashlib
import hmac
import random
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass(frozen=True)
class Posted:
    """One message that was taken: where to, under which id, and what it was signed with."""

    path: str
    message_id: str
    timestamp: str
    signature: str
    body: bytes

    def is_signed_with(self, secret: str) -> bool:
        """Standard Webhooks, worked out here once more: HMAC-SHA256 over id, time and body."""
        key = base64.b64decode(secret.removeprefix("whsec_"))
        signed = f"{self.message_id}.{self.timestamp}.".encode() + self.body
        right = "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
        return any(hmac.compare_digest(right, each) for each in self.signature.split())


class WebhookSink:
    """Listens on one port while it is up; nobody does while it is down."""

    def __init__(self, seed: int, *, slow_s: float, refuse: float) -> None:
        self.random = random.Random(seed)  # noqa: S311 (which message is refused is no secret)
        self.slow_s = slow_s
        self.refuse = refuse
        self.received: list[Posted] = []
        self.refused = 0
        self.closed = False
        self.talking = 0
        self.port = 0
        self.lock = threading.Lock()
        self._server: ThreadingHTTPServer | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/"

    def up(self) -> None:
        server = ThreadingHTTPServer(("127.0.0.1", self.port), self._handler())
        server.daemon_threads = True
        self.port = server.server_port
        threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True).start()
        self._server = server

    def down(self) -> None:
        if self._server:
            self._server.shutdown()
            self._server.server_close()
            self._server = None

    def close_for(self, work: Callable[[], None]) -> None:
        """Do ``work`` while no message is under way: whoever knocks meanwhile is turned away."""
        self.closed = True
        while self.talking:
            time.sleep(0.05)
        time.sleep(0.5)  # for the last sender to write down that it was taken
        work()
        self.closed = False

    def takes(self, message: Posted) -> int:
        """Keep the message, or refuse it; the sender learns of it only after a while. The status to answer."""
        with self.lock:
            if self.closed or self.random.random() < self.refuse:
                self.refused += not self.closed
                return 503
            self.received.append(message)
        time.sleep(self.slow_s)
        return 204

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        sink = self

        class Talk(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                with sink.lock:
                    sink.talking += 1
                try:
                    self._answer()
                finally:
                    with sink.lock:
                        sink.talking -= 1

            def _answer(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                message, at, signature = (
                    self.headers[f"webhook-{name}"] or "" for name in ("id", "timestamp", "signature")
                )
                status = sink.takes(Posted(self.path, message, at, signature, body))
                try:
                    self.send_response(status)
                    self.send_header("Content-Length", "0")
                    self.end_headers()
                except OSError:
                    """A sender that was killed before it heard the answer is what this is for."""

            def log_message(self, *_: object) -> None:
                """Quiet: the report counts."""

        return Talk


@contextmanager
def serving(seed: int, *, slow_s: float = 0.05, refuse: float = 0.01) -> Iterator[WebhookSink]:
    """A receiver that answers at ``url`` until the block is left."""
    sink = WebhookSink(seed, slow_s=slow_s, refuse=refuse)
    sink.up()
    try:
        yield sink
    finally:
        sink.down()
