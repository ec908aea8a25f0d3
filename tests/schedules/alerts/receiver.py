"""A webhook receiver on loopback that can be down, slow, broken or well, and keeps what it took."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass
class Receiver:
    """``answers`` are used up one a message, then ``status`` stands. ``taken`` are the messages answered with 2xx."""

    url: str = ""
    status: int = 204
    answers: list[int] = field(default_factory=list)
    wait_s: float = 0.0
    retry_after: str = ""
    drips: bytes = b""  # what it answers instead, byte by byte
    seen: list[tuple[dict[str, str], bytes]] = field(default_factory=list)
    taken: list[tuple[dict[str, str], bytes]] = field(default_factory=list)

    def ids(self, *, of: str = "taken") -> list[str]:
        return [headers["webhook-id"] for headers, _ in getattr(self, of)]


@contextlib.contextmanager
def listening() -> Iterator[Receiver]:
    receiver = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            body = self.rfile.read(int(self.headers["Content-Length"]))
            message = ({name.lower(): value for name, value in self.headers.items()}, body)
            receiver.seen.append(message)
            time.sleep(receiver.wait_s)
            if receiver.drips:
                self._drip()
                return
            status = receiver.answers.pop(0) if receiver.answers else receiver.status
            if 200 <= status < 300:
                receiver.taken.append(message)
            self.send_response(status)
            if 300 <= status < 400:
                self.send_header("Location", receiver.url)
            if receiver.retry_after:
                self.send_header("Retry-After", receiver.retry_after)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def _drip(self):
            with contextlib.suppress(OSError):
                for byte in receiver.drips:
                    self.wfile.write(bytes([byte]))
                    time.sleep(0.02)

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    receiver.url = f"http://127.0.0.1:{server.server_port}/hook?from=pier"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def nobody_listens() -> str:
    """An address on loopback where nobody answers."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return f"http://127.0.0.1:{free.getsockname()[1]}/"
