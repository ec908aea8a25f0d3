"""What a person does and reads at the steel, as steps that these tests share."""

from __future__ import annotations

import io
import os

from PIL import Image


def photo(width: int = 3000, height: int = 2000) -> dict:
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x0132] = "2026:06:14 10:32:00"
    Image.new("RGB", (width, height), "slategray").save(out, "JPEG", exif=exif)
    return {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def ready(page) -> None:
    """The page is there and may be opened without the network."""
    page.wait_for_selector("body[data-usable]")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("async () => (await caches.keys()).some((name) => name.startsWith('steel-shell-'))")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")


def at_order_without_signal(open_page, order, person):
    """The order's sheet on the person's phone, out of signal once all of it is there."""
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=person)
    ready(page)
    page.context.set_offline(True)
    return page


def unsent(page, words: str) -> None:
    page.locator("#state").get_by_text(words).wait_for()


def all_sent(page) -> None:
    """Nothing is left to send. Wait first for what shows that there was something: it is so before a deed."""
    page.locator("#state").get_by_text("Everything is sent.").wait_for()


def keep(page, name: str) -> None:
    if os.environ.get("SHOTS"):
        page.screenshot(path=f"{os.environ['SHOTS']}/{name}.png", full_page=True)


def do_steps(page) -> None:
    """Every step of the order on the page, one after the other."""
    steps = page.locator("ol.steps > li")
    steps.first.wait_for()
    for index in range(steps.count()):
        row = steps.nth(index)
        if row.locator("input[type=file]").count():
            row.locator("input[type=file]").set_input_files(photo())
        elif row.locator("input").count():
            row.locator("input").fill("600")
            row.get_by_role("button", name="Note it").click()
        else:
            row.get_by_role("button", name="Done").click()
        page.wait_for_function("index => document.querySelectorAll('ol.steps > li')[index].matches('.done')", arg=index)
