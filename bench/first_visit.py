"""P8: the first visit to the page at the steel: bytes over the wire and time until it can be used, on a slow phone.

The service runs as for one office (SQLite, gunicorn, static files packed once), with the small demo. Chromium slows its
processor 4 times and the network by the DevTools protocol. *Slow 4G* is 150 ms and 1.6 Mbit/s down, 0.75 up, as
Lighthouse's mobile profile names it (from memory); beside it stands the harsher reading of the same profile that
Chromium's own tools apply to each request (562.5 ms, 1.44 Mbit/s). The protocol delays each request and not the opening
of the connection. *Usable* is when my orders stand on the page and answer to a touch (the mark that the page sets); the
device's disk has them some milliseconds later.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import urllib.request
from pathlib import Path
from typing import Any, NamedTuple

from playwright.sync_api import Browser, sync_playwright

from running.processes import ROOT, free_port, wait_until
from running.processes import start as start_child
from schedules.demo.people import PASSWORD

WHO = "bram"
CPU_SLOWER = 4
VISITS = 5
MOST_KB, MOST_S = 100.0, 1.5
FLAGS = ["--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-gpu"]


class Network(NamedTuple):
    """Milliseconds a request, bytes a second down and up."""

    latency: float
    down: float
    up: float


SLOW_4G = Network(150, 1638.4 * 1024 / 8, 750 * 1024 / 8)
PER_REQUEST = Network(562.5, 1638.4 * 0.9 * 1024 / 8, 750 * 0.9 * 1024 / 8)


class Visit(NamedTuple):
    usable_s: float
    wire_bytes: int  # until usable, as the browser counts them: packed, with their headers
    requests: int


def measure() -> list[dict[str, Any]]:
    with tempfile.TemporaryDirectory(prefix="sj-first-visit-") as folder:
        env = _environment(Path(folder))
        for command in (["migrate", "--noinput"], ["load_demo", "--small"], ["collectstatic", "--noinput"]):
            subprocess.run(
                [sys.executable, "manage.py", *command, "--verbosity=0"]
                if command[0] != "load_demo"
                else [sys.executable, "manage.py", *command],
                cwd=ROOT,
                env=env,
                check=True,
                stdout=subprocess.DEVNULL,
            )
        port = free_port()
        command = [sys.executable, "-m", "gunicorn", "config.wsgi", f"--bind=127.0.0.1:{port}"]
        command += ["--worker-class=gthread", "--workers=2", "--threads=4", "--no-control-socket"]
        child = start_child("web", command, env=env, log=Path(folder) / "web.log")
        try:
            wait_until(lambda: _answers(port), what="the service", seconds=60, child=child)
            return _rows(*_visit_all(f"http://localhost:{port}"))
        finally:
            child.stop()


def _environment(folder: Path) -> dict[str, str]:
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "config.settings.embedded",
        "DATABASE_URL": f"sqlite:///{folder / 'bench.sqlite3'}",
        "STATIC_ROOT": str(folder / "static"),
        "MEDIA_ROOT": str(folder / "media"),
        "EMAIL_FILE_PATH": str(folder / "mail"),
        "LOG_LEVEL": "WARNING",
    }


def _answers(port: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/health/live/", timeout=2):
            return True
    except OSError:
        return False


def _visit_all(url: str) -> tuple[list[Visit], list[Visit], int]:
    """Visits on both networks, each in a browser that was never here, and how many orders stood on the page."""
    path = shutil.which("chromium") or shutil.which("google-chrome")
    flags = [*FLAGS, "--no-sandbox"] if os.geteuid() == 0 else FLAGS
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=flags)
        cookies, orders = _sign_in(browser, url)
        slow = [_visit(browser, url, cookies, SLOW_4G) for _ in range(VISITS)]
        harsh = [_visit(browser, url, cookies, PER_REQUEST) for _ in range(VISITS)]
        browser.close()
    return slow, harsh, orders


def _sign_in(browser: Browser, url: str) -> tuple[Any, int]:
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{url}/sign-in/")
    page.get_by_label("Username").fill(WHO)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda at: "sign-in" not in at)
    bundle = page.request.get(f"{url}/api/v1/steel/bundle/").json()  # warms the service, not the browser
    cookies = [each for each in context.cookies() if each["name"] == "sessionid"]
    context.close()
    return cookies, len(bundle["orders"])


def _visit(browser: Browser, url: str, cookies: Any, network: Network) -> Visit:
    context = browser.new_context(viewport={"width": 390, "height": 844}, is_mobile=True, has_touch=True)
    context.add_cookies(cookies)
    page = context.new_page()
    wire = context.new_cdp_session(page)
    came: list[int] = []
    wire.on("Network.loadingFinished", lambda event: came.append(int(event["encodedDataLength"])))
    wire.send("Network.enable")
    emulated = {"latency": network.latency, "downloadThroughput": network.down, "uploadThroughput": network.up}
    wire.send("Network.emulateNetworkConditions", {"offline": False, **emulated})
    wire.send("Emulation.setCPUThrottlingRate", {"rate": CPU_SLOWER})
    page.goto(f"{url}/steel/", wait_until="commit")
    page.wait_for_function("() => performance.getEntriesByName('usable').length", timeout=60_000, polling=20)
    usable = page.evaluate("performance.getEntriesByName('usable')[0].startTime")
    page.wait_for_timeout(300)  # what was on its way counts too
    visit = Visit(usable / 1000, sum(came), len(came))
    context.close()
    return visit


def _rows(slow: list[Visit], harsh: list[Visit], orders: int) -> list[dict[str, Any]]:
    usable = statistics.median(visit.usable_s for visit in slow)
    kilobytes = max(visit.wire_bytes for visit in slow) / 1000
    sizes = {
        "orders": orders,
        "visits": VISITS,
        "usable_s_median": round(usable, 2),
        "usable_s_worst": round(max(visit.usable_s for visit in slow), 2),
        "usable_s_median_at_562_ms_a_request": round(statistics.median(visit.usable_s for visit in harsh), 2),
        "kB": round(kilobytes, 1),
        "requests": max(visit.requests for visit in slow),
        "processor_slowed": CPU_SLOWER,
    }
    first = "first visit to the page at the steel"
    limit = {"goal": 1.0, "better": "less", "sizes": sizes}
    return [
        {
            "key": "P8 bytes",
            "what": f"{first}: over the wire, against {MOST_KB:g} kB",
            "ratio": round(kilobytes / MOST_KB, 2),
            **limit,
        },
        {
            "key": "P8 time",
            "what": f"{first}: until usable on slow 4G and a processor slowed 4 times, against {MOST_S} s",
            "ratio": round(usable / MOST_S, 2),
            **limit,
        },
    ]
