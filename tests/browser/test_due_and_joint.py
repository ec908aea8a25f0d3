"""The planner's list and the joint's page in a real browser: words, drawings, the touch, the stored choice of paper."""

from __future__ import annotations

from datetime import date

import pytest
from django.utils import timezone

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def owed(weld_joint, bolted_joint):
    """A weld overdue for VT and a bolt group that was never checked."""
    from schedules.due import engine
    from schedules.due.store import Scope
    from schedules.models import Programme

    for joint, method in ((weld_joint, "VT"), (bolted_joint, "BC")):
        Programme.objects.create(
            joint=joint, asset=joint.asset, method=method, calendar_months=12, last_look_on=date(2020, 5, 1)
        )
    engine.recompute(Scope(joint_ids=[weld_joint.pk, bolted_joint.pk]), now=timezone.now())
    return weld_joint


@pytest.mark.parametrize(("size", "scheme"), [("phone", "dark"), ("desk", "light")])
def test_the_list_and_the_joint_read_well_on_phone_and_desk_light_and_dark(
    open_page, axe, no_sideways_scroll, person, site, owed, size, scheme
):
    page = open_page("/", size=size, scheme=scheme, person=person("planner", site))
    assert page.url.endswith("/due/")
    page.get_by_text("2 overdue").first.wait_for()
    no_sideways_scroll(page)
    axe(page)
    page.get_by_role("link", name=owed.tag).click()
    page.wait_for_url("**/joints/*/")
    drawn = page.locator("svg.life-line:visible")
    assert drawn.count() == 1
    assert "Overdue by" in drawn.get_attribute("aria-label")
    page.get_by_text("Every limit, and the figures behind VT").click()
    no_sideways_scroll(page)
    axe(page)


def test_nothing_is_wider_than_the_narrowest_phone(open_page, no_sideways_scroll, person, site, owed):
    page = open_page("/due/", size="phone", person=person("planner", site))
    page.set_viewport_size({"width": 360, "height": 700})
    assert page.get_by_role("link", name=owed.tag).is_visible()
    no_sideways_scroll(page)
    page.goto(f"/joints/{owed.pk}/")
    assert page.locator("svg.life-line:visible").count() == 1
    no_sideways_scroll(page)


def test_the_keyboard_reaches_the_list_past_the_skip_link(open_page, person, site, owed):
    page = open_page("/due/", person=person("planner", site))
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the sheet"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('main') !== null")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"


def test_an_order_is_raised_from_the_list_and_the_list_says_so(open_page, person, site, owed):
    page = open_page("/due/", size="phone", person=person("planner", site))
    page.get_by_role("button", name=f"Raise order for VT of {owed.tag}").click()
    page.get_by_text("Order 1 raised").wait_for()
    assert page.get_by_role("button", name=f"Raise order for VT of {owed.tag}").count() == 0


def test_the_choice_of_paper_outlives_the_page(open_page, person, site, owed):
    page = open_page("/due/", scheme="light", person=person("planner", site))
    paper = "getComputedStyle(document.querySelector('.sheet')).backgroundColor"
    light = page.evaluate(paper)
    page.get_by_role("button", name="blue", exact=True).click()
    assert page.evaluate(paper) != light
    page.reload()
    assert page.evaluate(paper) != light
    assert page.get_by_role("button", name="blue", exact=True).get_attribute("aria-pressed") == "true"
    page.get_by_role("button", name="as device").click()
    assert page.evaluate(paper) == light


def test_paper_is_white_whatever_the_screen_was(open_page, person, site, owed):
    page = open_page(f"/joints/{owed.pk}/", scheme="dark", person=person("planner", site))
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.querySelector('.sheet')).backgroundColor") == "rgb(255, 255, 255)"
    assert not page.get_by_role("button", name="Sign out").is_visible()


def test_touching_the_drawing_fills_the_field(open_page, person, site, owed, bolted_joint):
    inspector = person("inspector", site)
    page = open_page(f"/joints/{bolted_joint.pk}/looks/new/", size="phone", person=inspector)
    field = page.get_by_label("Bolts, by number").first
    for number in (7, 3):
        page.locator(f'[data-bolt="{number}"] .touch').first.tap()
    assert field.input_value() == "3, 7"
    page.locator('[data-bolt="7"] .touch').first.tap()
    assert field.input_value() == "3"
    box = page.locator('[data-bolt="3"] .touch').first.bounding_box()
    assert min(box["width"], box["height"]) >= 44
    page.goto(f"/joints/{owed.pk}/looks/new/")
    drawing = page.locator(".touch-run svg").first
    wide = drawing.bounding_box()["width"]
    drawing.tap(position={"x": wide * (16 + 328 / 3) / 360, "y": 30})  # a third of the way round the tube
    assert page.get_by_label("On a tube: degrees clockwise from the top").first.input_value() == "120"
