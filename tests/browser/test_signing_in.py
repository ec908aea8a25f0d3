"""The first page that anybody sees."""

import pytest


@pytest.mark.parametrize(("size", "scheme"), [("phone", "dark"), ("desk", "light")])
def test_the_sign_in_page_opens_clean_on_phone_and_desk(open_page, axe, no_sideways_scroll, size, scheme):
    page = open_page("/sign-in/", size=size, scheme=scheme)
    assert page.get_by_role("button", name="Sign in").is_visible()
    no_sideways_scroll(page)
    axe(page)


def test_a_wrong_password_is_refused_in_words(open_page, person, site):
    who = person("planner", site)
    page = open_page("/sign-in/", size="phone")
    page.get_by_label("Username").fill(who.username)
    page.get_by_label("Password").fill("not-the-password")
    page.get_by_role("button", name="Sign in").click()
    page.get_by_text("Please enter a correct username and password").wait_for()
    assert page.get_by_label("Username").input_value() == who.username


def test_the_right_password_leads_on_and_signing_out_leads_back(open_page, person, site):
    who = person("planner", site)
    page = open_page("/sign-in/", size="desk")
    page.get_by_label("Username").fill(who.username)
    page.get_by_label("Password").fill("a-good-password")
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/sign-in/" not in url)
    assert page.get_by_text(who.display_name).first.is_visible()
    page.get_by_role("button", name="Sign out").first.click()
    page.wait_for_url("**/sign-in/**")
    page.goto("/due/")
    assert "/sign-in/" in page.url, "signed out, the list asks for signing in again"
