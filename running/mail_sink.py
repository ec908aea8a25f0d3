"""A mail server on loopback that keeps what it is sent, takes its time, and refuses some of it."""

from __future__ import annotations

import email
import email.policy
import random
import socketserver
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from email.message import EmailMessage


@dataclass(frozen=True)
class Received:
    """One message that was taken: its Message-ID, to whom, and its text."""

    message_id: str
    to: str
    text: str


class MailSink(socketserver.ThreadingTCPServer):
    """Speaks as much SMTP (RFC 5321) as a sender of plain messages needs."""

    allow_reuse_address = True
    daemon_threads = True

    def __init__(self, seed: int, *, slow_s: float, refuse: float) -> None:
        super().__init__(("127.0.0.1", 0), _Talk)
        self.random = random.Random(seed)  # noqa: S311 (which message is refused is no secret)
        self.slow_s = slow_s
        self.refuse = refuse
        self.received: list[Received] = []
        self.refused = 0
        self.closed = False
        self.talking = 0
        self.lock = threading.Lock()

    @property
    def port(self) -> int:
        return int(self.server_address[1])

    def close_for(self, work: Callable[[], None]) -> None:
        """Do ``work`` while no message is under way: whoever knocks meanwhile is turned away."""
        self.closed = True
        while self.talking:
            time.sleep(0.05)
        time.sleep(0.5)  # for the last sender to write down that it was sent
        work()
        self.closed = False

    def handle_error(self, request: object, client_address: object) -> None:
        """A sender that was killed in the middle of a message is what this is for."""

    def takes(self, data: bytes, to: str) -> bool:
        """Keep the message, or refuse it; the sender learns of it only after a while."""
        with self.lock:
            if self.random.random() < self.refuse:
                self.refused += 1
                return False
            message = email.message_from_bytes(data, policy=email.policy.default)
            assert isinstance(message, EmailMessage)
            self.received.append(Received(str(message["Message-ID"]), to, str(message.get_content())))
        time.sleep(self.slow_s)
        return True


class _Talk(socketserver.StreamRequestHandler):
    server: MailSink

    def handle(self) -> None:
        with self.server.lock:
            self.server.talking += 1
        try:
            self._talk()
        finally:
            with self.server.lock:
                self.server.talking -= 1

    def _talk(self) -> None:
        if self.server.closed:
            self._say("421 closed for a while")
            return
        self._say("220 sink")
        to = ""
        while line := self.rfile.readline():
            word = line.decode("ascii", "replace").strip()
            verb = word.upper()[:4]
            if verb == "RCPT":
                to = word.partition("<")[2].rpartition(">")[0]
            if verb == "DATA":
                self._say("354 go on")
                self._say("250 kept" if self.server.takes(self._message(), to) else "451 not now")
            elif verb == "QUIT":
                self._say("221 bye")
                return
            else:
                self._say("250 ok")

    def _message(self) -> bytes:
        lines = []
        while (line := self.rfile.readline()) != b".\r\n":
            if not line:
                raise ConnectionError("the sender went away in the middle of a message")
            lines.append(line[1:] if line.startswith(b"..") else line)
        return b"".join(lines)

    def _say(self, words: str) -> None:
        self.wfile.write(words.encode() + b"\r\n")


@contextmanager
def serving(seed: int, *, slow_s: float = 0.1, refuse: float = 0.05) -> Iterator[MailSink]:
    """A sink that answers on ``port`` until the block is left."""
    with MailSink(seed, slow_s=slow_s, refuse=refuse) as sink:
        threading.Thread(target=sink.serve_forever, daemon=True).start()
        yield sink
        sink.shutdown()
