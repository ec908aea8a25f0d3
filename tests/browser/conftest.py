"""A real browser on a phone and on a desk, in light and dark; console errors fail the test; axe looks at the page."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

# Playwright's synchronous calls run on an event loop, and Django refuses to touch the database near one. Here the
# loop belongs to the browser and never runs our code, so the refusal has nothing to protect.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

SIZES = {"phone": {"width": 390, "height": 844}, "desk": {"width": 1280, "height": 800}}
# What keeps the browser from looking for anything beyond this machine.
FLAGS = [
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-gpu",
]
WCAG_22_AA = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "tests/browser/" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of the machine's Chromium."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found:
        return found
    if os.environ.get("CI"):
        pytest.fail("no Chromium on this machine: .ci/run installs it as root")
    pytest.skip("NO BROWSER TEST RAN: install chromium (Debian: apt-get install chromium)")


@pytest.fixture(scope="session")
def base_url() -> None:
    """Each page has its live server's; the plugin's own fixture is of a kind that pytest is about to drop."""
    return None


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any], chromium: str) -> dict[str, Any]:
    flags = [*FLAGS, "--no-sandbox"] if os.geteuid() == 0 else FLAGS
    return {**browser_type_launch_args, "executable_path": chromium, "args": flags}


@pytest.fixture
def open_page(live_server, new_context) -> Iterator[Callable[..., Any]]:
    """``open_page("/due/", size="phone", scheme="dark", person=planner)`` gives the page, signed in as that person.

    Errors on the console or in scripts, and requests that failed, fail the test. ``provoked`` names what the console
    may say because the test brings it about, whenever it comes; a test that looks at a single refusal may clear
    ``page.faults`` after it instead. ``more`` goes to the browser's context.
    """
    pages = []

    def open_at(
        path: str = "/",
        *,
        size: str = "desk",
        scheme: str = "light",
        person=None,
        provoked: Sequence[str] = (),
        **more: Any,
    ) -> Any:
        context = new_context(
            viewport=SIZES[size],
            has_touch=size == "phone",
            is_mobile=size == "phone",
            color_scheme=scheme,
            base_url=live_server.url,
            locale="en-GB",
            timezone_id="Europe/London",
            **more,
        )
        context.set_default_timeout(30_000)  # a busy machine is slow, not wrong
        if person is not None:
            context.add_cookies([_session_of(person, live_server.url)])
        page = context.new_page()
        page.faults = []
        page.on("console", lambda message: message.type == "error" and _keep(page.faults, message.text, provoked))
        page.on("pageerror", lambda error: page.faults.append(str(error)))
        page.goto(path)
        pages.append(page)
        return page

    yield open_at
    faults = [fault for page in pages for fault in page.faults]
    assert not faults, "the browser's console shows: " + "; ".join(faults)


def _keep(faults: list[str], said: str, provoked: Sequence[str]) -> None:
    if not any(words in said for words in provoked):
        faults.append(said)


def _session_of(person, url: str) -> dict[str, str]:
    client = Client()
    client.force_login(person, backend="assets_app.people.signed_in.PersonBackend")
    return {
        "name": settings.SESSION_COOKIE_NAME,
        "value": client.cookies[settings.SESSION_COOKIE_NAME].value,
        "url": url,
    }


@pytest.fixture
def axe() -> Callable[[Any], None]:
    """``axe(page)`` fails when the page breaks a rule of WCAG 2.2 AA that a program can see."""
    from axe_playwright_python.sync_playwright import Axe

    def look(page: Any) -> None:
        results = Axe().run(page, options={"runOnly": {"type": "tag", "values": WCAG_22_AA}})
        assert results.violations_count == 0, results.generate_report()

    return look


@pytest.fixture
def no_sideways_scroll() -> Callable[[Any], None]:
    """``no_sideways_scroll(page)`` fails when the page is wider than the screen."""

    def look(page: Any) -> None:
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, f"the page is {wide} px wider than the screen"

    return look
