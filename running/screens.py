"""Takes the pictures of docs/screens/ in a real browser from a fresh demo: ``make screens``.

It starts the stack on a free port, signs in as the role that uses each page, and keeps each picture under 200 KB.
"""

from __future__ import annotations

import io
import os
import shutil
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from running.processes import ROOT, free_port
from running.stack import Stack

SCREENS = ROOT / "docs" / "screens"
LIMIT_BYTES = 200_000
DESK, PHONE = {"width": 1280, "height": 800}, {"width": 390, "height": 844}


@dataclass(frozen=True)
class Shot:
    """One picture: the page's address, or the link to follow from there (first match of a selector)."""

    name: str
    role: str
    path: str
    follow: str = ""
    phone: bool = False
    scheme: str = "light"


SHOTS = [
    Shot("due", "planner", "/due/"),
    Shot("due-dark", "planner", "/due/", scheme="dark"),
    Shot("joint", "planner", "/due/", follow="main a[href^='/joints/']"),
    Shot("my-work-phone", "technician", "/my-work/", phone=True),
    Shot("order-phone", "technician", "/my-work/", follow="main a[href^='/orders/']", phone=True),
    Shot("put-off", "manager", "/put-off/"),
]


def take(browser: Any, address: str, shot: Shot, sign_in: tuple[str, str]) -> bytes:
    """The picture as PNG."""
    size = PHONE if shot.phone else DESK
    context = browser.new_context(viewport=size, color_scheme=shot.scheme, base_url=address, locale="en-GB")
    try:
        page = context.new_page()
        page.goto("/sign-in/")
        page.get_by_label("Username").fill(sign_in[0])
        page.get_by_label("Password").fill(sign_in[1])
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(lambda url: "/sign-in/" not in url)
        answer = page.goto(shot.path)
        if shot.follow:
            answer = page.goto(page.locator(shot.follow).first.get_attribute("href"))
        if answer.status != 200:
            raise SystemExit(f"{shot.name}: the page answered {answer.status}")
        return bytes(page.screenshot())
    finally:
        context.close()


def small(png: bytes) -> bytes:
    """The same picture in as few colours as it needs to stay under the limit."""
    from PIL import Image

    picture = Image.open(io.BytesIO(png)).convert("RGB")
    for colours in (256, 128, 64, 32):
        target = io.BytesIO()
        picture.quantize(colours, dither=Image.Dither.NONE).save(target, "PNG", optimize=True)
        if target.tell() < LIMIT_BYTES:
            return target.getvalue()
    raise SystemExit("a picture does not fit into 200 KB")


def sign_ins() -> dict[str, tuple[str, str]]:
    """Username and password of the first with each role, from the demo's own list."""
    from schedules.demo.people import PASSWORD, SIGN_INS

    return {role: (who.username, PASSWORD) for who in reversed(SIGN_INS) for role in who.roles}


def main() -> int:
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if not chromium:
        raise SystemExit("make screens needs Chromium (Debian: apt-get install chromium)")
    flags = ["--disable-background-networking", "--disable-component-update", "--disable-sync", "--no-first-run"]
    if os.geteuid() == 0:
        flags.append("--no-sandbox")
    SCREENS.mkdir(parents=True, exist_ok=True)
    port = free_port()
    with tempfile.TemporaryDirectory(prefix="sj-screens-") as folder, Stack(port, Path(folder)) as stack:
        stack.manage("load_demo")
        stack.start()
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium, args=flags)
            for shot in SHOTS:
                png = small(take(browser, f"http://localhost:{port}", shot, sign_ins()[shot.role]))
                (SCREENS / f"{shot.name}.png").write_bytes(png)
                print(f"docs/screens/{shot.name}.png: {len(png) // 1000} KB", flush=True)
            browser.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
