"""Recording a look on a phone, in a real browser: a finding with a photo, its page, the record."""

from __future__ import annotations

import io
import os
from datetime import date

import pytest
from PIL import Image

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def inspector(person, site):
    from assets_app.models import Qualification

    who = person("inspector", site)
    for method in ("VT", "MT"):
        Qualification.objects.create(
            person=who, kind="ndt", method=method, level=2, issued_on=date(2024, 1, 1), expires_on=date(2099, 1, 1)
        )
    return who


def keep(page, name: str) -> None:
    """Keeps a picture where SHOTS says, for whoever wants to look."""
    if os.environ.get("SHOTS"):
        page.screenshot(path=f"{os.environ['SHOTS']}/{name}.png", full_page=True)


def photo() -> dict:
    out = io.BytesIO()
    Image.new("RGB", (1200, 900), "slategray").save(out, "JPEG")
    return {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


@pytest.mark.parametrize(("size", "scheme"), [("phone", "light"), ("desk", "dark")])
def test_a_crack_is_recorded_with_a_photo_and_its_page_reads_well(
    open_page, axe, no_sideways_scroll, inspector, weld_joint, settings, tmp_path, size, scheme
):
    settings.MEDIA_ROOT = tmp_path
    page = open_page(f"/joints/{weld_joint.pk}/looks/new/", size=size, scheme=scheme, person=inspector)
    no_sideways_scroll(page)
    axe(page)
    keep(page, f"look-{size}")
    page.get_by_label("Method").select_option("MT")
    page.get_by_label("findings recorded").check()
    page.get_by_label("Kind").select_option("101")
    drawing = page.locator(".touch-box svg")
    box = drawing.bounding_box()
    for degrees in (330, 30):
        drawing.click(position={"x": box["width"] * (16 + degrees / 360 * 328) / 360, "y": box["height"] / 2})
    page.get_by_text("From 11:00 to 1:00 o'clock, clockwise, 60° by the shorter way round.").wait_for()
    keep(page, f"look-arc-{size}")
    assert page.get_by_label("degrees clockwise from the top").input_value() == "0"
    assert page.get_by_label("Length along the weld").input_value() == "115 mm"
    page.get_by_label("Size (mm").fill("3/8 in")
    assert page.get_by_label("Length along the weld").input_value() == "", "the size is typed, and that stays"
    page.get_by_role("button", name="One more finding").click()
    assert page.get_by_label("Size (mm").first.input_value() == "3/8 in"
    page.get_by_text("From 11:00 to 1:00 o'clock, clockwise, 60° by the shorter way round.").wait_for()  # as before
    box = drawing.first.bounding_box()
    drawing.first.click(position={"x": box["width"] * (16 + 60 / 360 * 328) / 360, "y": box["height"] / 2})
    page.get_by_label("Photos").first.set_input_files(photo())
    page.get_by_role("button", name="Record the look").click()
    page.wait_for_url("**/findings/*/")
    assert "hold now" in page.inner_text("main")
    assert "From 11:00 to 2:00 o'clock, clockwise." in page.inner_text("main")
    assert "1:00 o'clock" not in page.inner_text("main").replace("11:00", "")  # what was said of the ends before
    assert page.locator(".photos img").evaluate("image => image.decode().then(() => image.naturalWidth)") == 1200
    no_sideways_scroll(page)
    axe(page)
    keep(page, f"finding-{size}")
    page.get_by_role("link", name="The whole record of W-001").click()
    assert "recorded a look by MT" in page.inner_text("main")
    no_sideways_scroll(page)
    axe(page)
    keep(page, f"record-{size}")
