"""Alerts, what was not delivered, a person's address and the like joints in a real browser, on phone and desk."""

from __future__ import annotations

import pytest
from django.utils import timezone

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def manager(person, site):
    return person("manager", site)


@pytest.fixture
def dead(site, person, manager):
    """An email to a planner that the mail server refused; the manager hears of the same in the app."""
    from schedules.models import Delivery, Intent

    now = timezone.now()
    planner = person("planner", site)
    planner.email = "piet@larkmor.example"
    planner.save()
    told = Intent.objects.create(
        site=site, kind="overdue", key="overdue:1", subject="W-001 overdue", text="MT of W-001 was due", created_at=now
    )
    Delivery.objects.create(intent=told, person=manager, channel=Delivery.Channel.IN_APP, state="sent", next_try_at=now)
    return Delivery.objects.create(
        intent=told,
        person=planner,
        channel=Delivery.Channel.EMAIL,
        state="failed",
        next_try_at=now,
        last_error="SMTPRecipientsRefused: 550",
    )


@pytest.fixture
def like_joint(site, weld_joint):
    from assets_app.models import Asset, Joint

    twin = Asset.objects.create(site=site, tag="R-02", name="Tern Wheel", kind="ride")
    return Joint.objects.create(asset=twin, tag="W-001", kind="weld", load_path="single", access="easy")


@pytest.mark.parametrize(("size", "scheme"), [("phone", "dark"), ("desk", "light")])
def test_the_pages_read_well_on_phone_and_desk_light_and_dark(
    open_page, axe, no_sideways_scroll, site, manager, dead, weld_joint, like_joint, size, scheme
):
    page = open_page("/alerts/", size=size, scheme=scheme, person=manager)
    for path, shows in (
        ("/alerts/", "MT of W-001 was due"),
        ("/alerts/settings/", "When alerts reach you"),
        (f"/sites/{site.slug}/alert-rules/", "Who hears what"),
        ("/alerts/not-delivered/", "The mail server refuses the address."),
        (f"/sites/{site.slug}/webhooks/", "No receivers"),
        (f"/people/{dead.person_id}/", "Correct the address"),
        (f"/joints/{weld_joint.pk}/like/", "Tern Wheel"),
    ):
        assert page.goto(path).status == 200, path
        page.get_by_text(shows).first.wait_for()
        no_sideways_scroll(page)
        axe(page)


def test_by_keyboard_a_manager_corrects_an_address_and_tries_again(open_page, manager, dead):
    page = open_page("/alerts/not-delivered/", person=manager)

    def tab_to(words: str) -> None:
        for _ in range(60):
            page.keyboard.press("Tab")
            if words in page.evaluate("document.activeElement.innerText || document.activeElement.name || ''"):
                return
        pytest.fail(f"the keyboard does not reach {words!r}")

    tab_to(str(dead.person))
    page.keyboard.press("Enter")
    page.wait_for_url("**/people/*/#email")
    tab_to("email")
    page.keyboard.press("Control+A")
    page.keyboard.type("piet@larkmoor.example")
    page.keyboard.press("Enter")
    page.get_by_text("Corrected, and in the record.").wait_for()
    page.goto("/alerts/not-delivered/")
    tab_to("Try again")
    page.keyboard.press("Enter")
    page.get_by_text("1 alert goes out again").wait_for()
    dead.refresh_from_db()
    dead.person.refresh_from_db()
    assert (dead.state, dead.person.email) == ("owed", "piet@larkmoor.example")
