"""A mail server on loopback that can hang from the start, or take a mail and lose its answer."""

from __future__ import annotations

import contextlib
import socketserver
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field


@dataclass
class MailServer:
    """``taken`` are the mails whose last line came; the answer to the first ``lost`` of them is never sent."""

    port: int = 0
    hangs: bool = False
    lost: int = 0
    greeted: int = 0
    taken: list[str] = field(default_factory=list)


@contextlib.contextmanager
def serving() -> Iterator[MailServer]:
    server = MailServer()

    class Handler(socketserver.StreamRequestHandler):
        def handle(self):
            server.greeted += 1
            if server.hangs:
                self.rfile.read()  # until the other side leaves
                return
            self._say("220 here")
            while line := self.rfile.readline().decode().strip().upper():
                if line == "DATA":
                    self._say("354 go on")
                    if not self._took_mail():
                        return
                self._say("221 bye" if line == "QUIT" else "250 well")

        def _took_mail(self) -> bool:
            server.taken.append("".join(iter(lambda: self.rfile.readline().decode(), ".\r\n")))
            if len(server.taken) > server.lost:
                return True
            self.rfile.read()
            return False

        def _say(self, words: str) -> None:
            with contextlib.suppress(OSError):
                self.wfile.write(f"{words}\r\n".encode())

    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler) as listener:
        listener.daemon_threads, listener.block_on_close = True, False
        server.port = listener.server_address[1]
        thread = threading.Thread(target=listener.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        try:
            yield server
        finally:
            listener.shutdown()
            thread.join()
