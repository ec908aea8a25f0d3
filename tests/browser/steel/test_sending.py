"""What waits on the device is sent once, never as somebody else, and survives two phones, a full device, a wrong
clock, signing out and a dead battery."""

from __future__ import annotations

import os
import signal
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from tests.browser.conftest import SIZES, _session_of
from tests.browser.steel.steps import all_sent, at_order_without_signal, keep, photo, ready, unsent

pytestmark = pytest.mark.django_db(transaction=True)
NO_PHOTO = {"name": "IMG_0.jpg", "mimeType": "image/jpeg", "buffer": b"a card that was full"}


def test_what_was_sent_without_an_answer_is_sent_again_and_done_once(open_page, inspector, order_for, weld_joint):
    from assets_app.models import IdempotencyKey

    order = order_for(weld_joint, inspector)
    # Without a service worker nobody but the person sends again.
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector, service_workers="block")
    lost = []

    def lose_the_answer(route):
        answer = route.fetch()
        lost.append((route.request.headers["idempotency-key"], answer.status))
        route.abort("connectionreset")

    page.route("**/steps/1/", lose_the_answer)
    page.locator("#step-1").get_by_role("button", name="Done").click()
    page.get_by_text("No signal").wait_for()
    unsent(page, "1 thing not sent")
    order.refresh_from_db()
    assert order.version == 2
    assert lost[0][1] == 200
    page.unroute("**/steps/1/")
    page.locator("#state").get_by_role("button", name="Send now").click()
    all_sent(page)
    order.refresh_from_db()
    assert order.version == 2
    assert [key.key for key in IdempotencyKey.objects.all()] == [lost[0][0]], "sent twice under one key"


def test_two_phones_on_one_order_the_later_one_is_told_and_puts_its_own_on_top(
    open_page, axe, inspector, person, site, order_for, weld_joint, now
):
    from schedules.work import actions

    order = order_for(weld_joint, inspector)
    page = at_order_without_signal(open_page, order, inspector)
    page.locator("#step-1").get_by_role("button", name="Done").click()
    page.locator("#step-1.done").wait_for()
    page.locator("#step-2").get_by_role("button", name="Done").click()
    unsent(page, "2 things not sent")
    other = person("technician", site)
    actions.note_part_done(
        order_id=order.pk, expected_version=order.version, note="scaffold is up", actor=other, now=now
    )
    page.context.set_offline(False)
    unsent(page, "2 things not sent, 1 needs you")
    page.locator("#state").get_by_role("link").first.click()
    page.get_by_text(f"by {other.display_name}").first.wait_for()
    page.get_by_text("Waits for what stands before it.").wait_for()
    axe(page)
    keep(page, "steel-needs-you")
    order.refresh_from_db()
    assert not order.steps.exclude(done_at=None).exists()
    page.get_by_role("button", name="Put mine on top").click()
    all_sent(page)
    order.refresh_from_db()
    assert order.steps.exclude(done_at=None).count() == 2
    assert (order.state, order.done_note) == ("part done", "scaffold is up")


def test_what_a_second_phone_saw_is_kept_beside_the_order_that_the_first_one_finished(
    open_page, axe, no_sideways_scroll, inspector, order_for, weld_joint, now, settings, tmp_path
):
    from schedules.work import actions
    from schedules.work.finishing import LookInput

    settings.MEDIA_ROOT = tmp_path
    order = order_for(weld_joint, inspector, method="VT")
    order.steps.update(done_by=inspector, done_at=now)
    page = at_order_without_signal(open_page, order, inspector)
    page.get_by_text("Part of it is done").click()
    page.get_by_label("What is done, what is left").fill("north side is hard to reach")
    page.get_by_role("button", name="Note it part done").click()
    unsent(page, "1 thing not sent")
    page.get_by_label("findings recorded").check()
    page.get_by_label("Kind").select_option("101")
    page.get_by_label("Size (mm").fill("30")
    for one in (NO_PHOTO, photo(300, 200)):
        page.get_by_label("Photos (made").set_input_files(one)
        page.get_by_text(one["name"]).wait_for()
    page.get_by_role("button", name="Record the look").click()
    unsent(page, "4 things not sent")
    first = LookInput(result="accepted", inspected_at=now)
    actions.finish(order_id=order.pk, expected_version=order.version, look=first, actor=inspector, now=now)
    page.context.set_offline(False)
    unsent(page, "4 things not sent, 2 photos of")
    page.locator("#state").get_by_role("link").first.click()
    page.get_by_text("The order takes nothing more.").wait_for()
    axe(page)
    no_sideways_scroll(page)
    keep(page, "steel-ended")
    page.get_by_role("button", name="Record mine as a look of its own").click()
    page.get_by_text("The file holds no photo, whatever its name.").first.wait_for()
    unsent(page, "1 thing not sent, 1 photo of")  # the one behind it has gone
    page.get_by_text(f"order {order.number}. Needs you.").wait_for()
    axe(page)
    no_sideways_scroll(page)
    keep(page, "steel-photo-refused")
    page.get_by_label("Take the photo anew").set_input_files(photo(200, 300))
    all_sent(page)
    found = weld_joint.findings.get()
    assert (found.kind, [size.length_mm for size in found.sizes.all()]) == ("101", [30])
    assert weld_joint.inspections.count() == 2
    assert "Noted on the way: north side is hard to reach." in found.inspection.note
    assert {one.caption for one in found.inspection.evidence.all()} == {f"order {order.number}"}
    assert {one.width for one in found.inspection.evidence.all()} == {300, 200}


def test_two_phones_of_one_person_do_not_do_a_step_twice(open_page, inspector, order_for, weld_joint):
    order = order_for(weld_joint, inspector)
    first, second = (open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector) for _ in range(2))
    for page in (first, second):
        ready(page)
    first.context.set_offline(True)
    first.locator("#step-1").get_by_role("button", name="Done").click()
    unsent(first, "1 thing not sent")
    second.locator("#step-1").get_by_role("button", name="Done").click()
    second.locator("#step-1.done").wait_for()
    all_sent(second)
    first.context.set_offline(False)
    unsent(first, "1 needs you")
    first.get_by_role("link", name="1 thing not sent, 1 needs you").click()
    first.get_by_text(f"step done by {inspector.display_name}").first.wait_for()
    first.get_by_role("button", name="Drop it").click()
    first.get_by_role("button", name="Yes, drop it for good").click()
    all_sent(first)
    order.refresh_from_db()
    assert order.version == 2


def test_a_full_device_says_that_nothing_was_noted(open_page, inspector, order_for, weld_joint):
    order = order_for(weld_joint, inspector)
    page = open_page(
        f"/steel/#order/{order.pk}", size="phone", person=inspector, provoked=["Failed to load resource", "no room"]
    )
    ready(page)
    page.context.set_offline(True)
    # As where the browser refuses to write: the device itself is not filled.
    page.evaluate("""() => {
        const put = IDBObjectStore.prototype.add;
        IDBObjectStore.prototype.add = function () {
          throw new DOMException("no room", "QuotaExceededError");
        };
        self.roomAgain = () => { IDBObjectStore.prototype.add = put; };
    }""")
    page.locator("#step-1").get_by_role("button", name="Done").click()
    page.get_by_role("alert").get_by_text("This device is full: what you did last is not noted").wait_for()
    assert not page.locator("#step-1.done").count()
    page.evaluate("roomAgain()")
    page.locator("#step-1").get_by_role("button", name="Done").click()
    page.locator("#step-1.done").wait_for()
    page.get_by_text("This device is full").wait_for(state="hidden")
    page.context.set_offline(False)
    all_sent(page)


@pytest.mark.parametrize(("days", "said"), [(3, "3 days ahead of"), (-3, "3 days behind")])
def test_a_clock_that_is_wrong_is_said_and_put_right(open_page, inspector, order_for, weld_joint, counter, days, said):
    from schedules.models import Reading

    order = order_for(weld_joint, inspector)
    before = datetime.now(UTC)
    page = open_page("/sign-in/", size="phone", person=inspector)
    page.clock.set_system_time(before + timedelta(days=days))
    page.goto(f"/steel/#order/{order.pk}")
    page.get_by_text(f"The clock of this device is {said}").wait_for()
    page.get_by_text("Read the counter: cycles").click()
    page.get_by_label("It shows").fill("12 500")
    page.get_by_role("button", name="Note the reading").click()
    for _ in range(100):
        if Reading.objects.exists():
            break
        page.wait_for_timeout(100)
    assert before - timedelta(minutes=1) <= Reading.objects.get().read_at <= datetime.now(UTC)


def test_signed_out_on_return_the_queue_waits_and_asks_for_signing_in(
    open_page, live_server, inspector, order_for, weld_joint
):
    order = order_for(weld_joint, inspector)
    page = at_order_without_signal(open_page, order, inspector)
    page.locator("#step-1").get_by_role("button", name="Done").click()
    unsent(page, "1 thing not sent")
    page.context.clear_cookies()
    page.context.set_offline(False)
    page.get_by_role("link", name="Sign in to send").wait_for()
    order.refresh_from_db()
    assert order.version == 1
    page.context.add_cookies([_session_of(inspector, live_server.url)])
    page.reload()
    all_sent(page)
    order.refresh_from_db()
    assert order.version == 2


def test_what_one_person_did_is_never_sent_as_another(
    open_page, live_server, inspector, person, site, order_for, weld_joint
):
    order = order_for(weld_joint, inspector)
    page = at_order_without_signal(open_page, order, inspector)
    page.locator("#step-1").get_by_role("button", name="Done").click()
    unsent(page, "1 thing not sent")
    page.context.clear_cookies()
    page.context.add_cookies([_session_of(person("technician", site), live_server.url)])
    page.context.set_offline(False)
    page.get_by_role("link", name="1 thing not sent").click()
    page.get_by_text(f"it goes when {inspector.display_name} signs in here").wait_for()
    order.refresh_from_db()
    assert order.version == 1


def test_signing_out_warns_of_what_is_unsent_and_clears_the_device(open_page, inspector, order_for, weld_joint, now):
    from schedules.work import actions

    order = order_for(weld_joint, inspector)
    page = at_order_without_signal(open_page, order, inspector)
    page.locator("#step-1").get_by_role("button", name="Done").click()
    unsent(page, "1 thing not sent")
    actions.plan(order_id=order.pk, expected_version=1, planned_on=date(2026, 7, 1), actor=inspector, now=now)
    page.context.set_offline(False)
    unsent(page, "1 needs you")
    page.goto("/my-work/")
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("button", name="Sign out and lose 1 thing").wait_for()
    page.get_by_role("button", name="Sign out and lose 1 thing").click()
    page.wait_for_url("**/sign-in/*")
    page.goto("/steel/")
    page.get_by_text("Nothing is on this device yet").wait_for()
    assert page.evaluate("caches.has('steel-photos')") is False
    order.refresh_from_db()
    assert not order.steps.exclude(done_at=None).exists()


def test_nothing_is_lost_when_the_battery_dies(
    live_server, playwright, browser_type_launch_args, chromium, tmp_path, inspector, order_for, weld_joint
):
    order = order_for(weld_joint, inspector)
    phone = tmp_path / "phone"
    options = {**browser_type_launch_args, "base_url": live_server.url, "viewport": SIZES["phone"], "locale": "en-GB"}
    context = playwright.chromium.launch_persistent_context(str(phone), **options)
    context.add_cookies([_session_of(inspector, live_server.url)])
    page = context.new_page()
    page.goto(f"/steel/#order/{order.pk}")
    ready(page)
    context.set_offline(True)
    page.locator("#step-1").get_by_role("button", name="Done").click()
    unsent(page, "1 thing not sent")
    page.locator("input[name=result][value=accepted]").check()
    page.get_by_label("Note", exact=True).first.fill("half a sentence")
    page.wait_for_timeout(300)
    _kill_browser_of(phone)

    context = playwright.chromium.launch_persistent_context(str(phone), **options, offline=True)
    page = context.new_page()
    page.goto(f"/steel/#order/{order.pk}")
    unsent(page, "1 thing not sent")
    page.locator("#step-1.done").wait_for()
    assert page.get_by_label("Note", exact=True).first.input_value() == "half a sentence"
    context.add_cookies([_session_of(inspector, live_server.url)])
    context.set_offline(False)
    all_sent(page)
    context.close()
    order.refresh_from_db()
    assert order.steps.get(sequence=1).done_by == inspector


def _kill_browser_of(phone: Path) -> None:
    """Ends the browser process of this user folder at once, as a dead battery does."""
    lock = os.readlink(phone / "SingletonLock")  # host-pid
    os.kill(int(lock.rpartition("-")[2]), signal.SIGKILL)
