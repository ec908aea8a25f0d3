"""Whether the web process answers: ``python -m running.health [port]``, for the demo, the stack and docker-compose."""

from __future__ import annotations

import http.client
import os
import sys

PAGE = "/sign-in/"


def web_answers(port: int) -> bool:
    """True when the sign-in page comes back whole, asked for as the proxy in front would ask."""
    name = os.environ.get("ALLOWED_HOSTS", "localhost").split(",")[0].strip().lstrip(".") or "localhost"
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", PAGE, headers={"Host": name, "X-Forwarded-Proto": "https"})
        return connection.getresponse().status == http.HTTPStatus.OK
    except OSError:
        return False
    finally:
        connection.close()


if __name__ == "__main__":
    sys.exit(0 if web_answers(int(sys.argv[1]) if len(sys.argv) > 1 else 8000) else 1)
