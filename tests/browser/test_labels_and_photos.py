"""Labels, photos side by side and marks in a real browser."""

import io
import os
from datetime import timedelta

import pytest
from PIL import Image

from assets_app.inspections.actions import add_evidence
from assets_app.inspections.marks_actions import mark_photo
from assets_app.labels.actions import issue_labels
from assets_app.models import Evidence, PhotoMark

pytestmark = pytest.mark.django_db(transaction=True)


def keep(page, name: str) -> None:
    """Keeps a picture where SHOTS says, for whoever wants to look."""
    if os.environ.get("SHOTS"):
        title = page.title().split(" ")[0]
        page.screenshot(path=f"{os.environ['SHOTS']}/{title}-{name}.png", full_page=True)


@pytest.fixture(autouse=True)
def media(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def engineer(person, site):
    return person("engineer", site)


@pytest.fixture
def photos(weld_joint, engineer, now):
    """The whole joint on two days, the second one marked."""
    for day, colour in ((now - timedelta(days=30), "#667"), (now, "#776")):
        out = io.BytesIO()
        Image.new("RGB", (640, 480), colour).save(out, "JPEG")
        facts = {"joint_id": weld_joint.pk, "actor": engineer, "now": day}
        add_evidence(data=out.getvalue(), caption="seaward side", **facts)
    first, second = Evidence.objects.order_by("added_at")
    mark_photo(
        evidence_id=second.pk, shape="arrow", x=0.5, y=0.5, x2=0.2, y2=0.2, text="rust here", actor=engineer, now=now
    )
    return first, second


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_two_dates_stand_side_by_side_at_the_same_width(
    open_page, axe, no_sideways_scroll, photos, weld_joint, engineer, size
):
    page = open_page(f"/joints/{weld_joint.pk}/photos/", size=size, person=engineer)
    left, right = (page.locator(".compare svg").nth(n).bounding_box() for n in (0, 1))
    assert left["width"] == pytest.approx(right["width"], abs=1)
    assert left["y"] == pytest.approx(right["y"], abs=1)
    no_sideways_scroll(page)
    page.get_by_label("First").select_option(str(photos[1].pk))
    page.get_by_role("button", name="Compare").click()
    assert page.locator(".compare svg .mark-line").count() == 6
    axe(page)
    keep(page, size)


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_a_touch_on_the_photo_says_where_the_mark_goes(open_page, axe, no_sideways_scroll, photos, engineer, size):
    page = open_page(f"/evidence/{photos[0].pk}/marks/", size=size, person=engineer)
    photo = page.locator(".marked svg")
    box = photo.bounding_box()
    photo.click(position={"x": box["width"] * 0.25, "y": box["height"] * 0.5})
    photo.click(position={"x": box["width"] * 0.75, "y": box["height"] * 0.25})
    no_sideways_scroll(page)
    page.get_by_label("Words", exact=False).fill("crack ends here")
    axe(page)
    keep(page, size)
    page.get_by_role("button", name="Mark it").click()
    page.get_by_text("Arrow to 25 % from the left, 50 % from the top: crack ends here").wait_for()
    mark = PhotoMark.objects.get(evidence=photos[0])
    assert (mark.x, mark.y, mark.x2, mark.y2) == pytest.approx((0.25, 0.5, 0.75, 0.25), abs=0.01)


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_the_sheet_of_labels_is_chosen_on_a_page(
    open_page, axe, no_sideways_scroll, weld_joint, bolted_joint, engineer, now, size
):
    issue_labels(joint_ids=[weld_joint.pk], actor=engineer, now=now)
    page = open_page(f"/assets/{weld_joint.asset_id}/labels/", size=size, person=engineer)
    assert page.get_by_label("W-001 column foot").is_checked()
    no_sideways_scroll(page)
    axe(page)
    keep(page, size)


def test_a_label_scanned_signed_out_leads_through_sign_in_to_the_joint(open_page, weld_joint, engineer, now):
    (label,) = issue_labels(joint_ids=[weld_joint.pk], actor=engineer, now=now)
    page = open_page(f"/j/{label.token}/", size="phone")
    assert "W-001" not in page.content()
    page.get_by_label("Username").fill(engineer.username)
    page.get_by_label("Password").fill("a-good-password")
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"**/joints/{weld_joint.pk}/")
