"""A manager adds a person; the person sets a password by the link and signs in."""

import pytest

from assets_app.models import Person


@pytest.mark.parametrize(("size", "scheme"), [("phone", "dark"), ("desk", "light")])
def test_somebody_is_added_and_signs_in_by_the_link(
    open_page, axe, no_sideways_scroll, person, site, live_server, settings, size, scheme
):
    settings.BASE_URL = live_server.url

    def reads_well(page):
        no_sideways_scroll(page)
        axe(page)

    page = open_page("/people/", size=size, scheme=scheme, person=person("manager", site))
    page.get_by_text("Somebody who does not sign in yet").click()
    reads_well(page)
    page.get_by_label("First name").fill("Wren")
    page.get_by_label("Shall sign in as").fill("wren")
    page.get_by_label("First role").select_option("technician")
    page.get_by_label("Shown to you, to hand over").check()
    page.get_by_role("button", name="Add the person").click()
    link = page.locator("code.secret")
    link.wait_for()
    reads_well(page)
    theirs = open_page(link.inner_text().strip(), size=size, scheme=scheme)
    for label in ("New password", "The same again"):
        theirs.get_by_label(label).fill("tern-and-tide-9")
    reads_well(theirs)
    theirs.get_by_role("button", name="Set").click()
    theirs.get_by_text("Sign in as wren.").wait_for()
    theirs.get_by_label("Username").fill("wren")
    theirs.get_by_label("Password").fill("tern-and-tide-9")
    theirs.get_by_role("button", name="Sign in").click()
    theirs.wait_for_url(lambda url: "/sign-in/" not in url)
    assert Person.objects.get(username="wren").check_password("tern-and-tide-9")
