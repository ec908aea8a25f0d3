"""The page at the steel with the network cut: what is done there waits on the device and is sent once, in order."""

from __future__ import annotations

import io
import os
import signal
from datetime import UTC, date, datetime, timedelta
from functools import partial
from math import inf, pi
from pathlib import Path
from random import Random

import pytest
from PIL import Image

from assets_app.register.drawing import clock
from tests.browser.conftest import SIZES, _session_of

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def open_page(open_page):
    """As everywhere, save that requests fail here at any moment: that is what these tests are about."""
    return partial(open_page, provoked=["Failed to load resource"])


@pytest.fixture
def inspector(person, site):
    from assets_app.models import Qualification

    who = person("inspector", site)
    for method in ("VT", "MT"):
        Qualification.objects.create(
            person=who, kind="ndt", method=method, level=2, issued_on=date(2024, 1, 1), expires_on=date(2099, 1, 1)
        )
    return who


@pytest.fixture
def order_for(now):
    """``order_for(joint, who, kind="inspect", method="MT")`` raises an order and gives it to somebody."""
    from schedules.models import WorkOrder
    from schedules.work import actions

    def make(joint, who, kind="inspect", method="MT") -> WorkOrder:
        planner = who.roles.first()
        method = method if kind == "inspect" else ""
        planner = type(planner).objects.get_or_create(person=who, site=planner.site, name="planner")[0].person
        order = actions.raise_order_by_hand(
            joint_id=joint.pk, kind=kind, method=method, why="rust", actor=planner, now=now
        )
        WorkOrder.objects.filter(pk=order.pk).update(assignee=who)
        order.refresh_from_db()
        return order

    return make


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


def test_a_look_is_finished_without_signal_and_sent_once_when_it_returns(
    open_page, axe, no_sideways_scroll, inspector, order_for, weld_joint, settings, tmp_path
):
    settings.MEDIA_ROOT = tmp_path
    order = order_for(weld_joint, inspector)
    page = open_page("/steel/", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
    page.reload()
    page.get_by_text("No signal").wait_for()
    axe(page)
    no_sideways_scroll(page)
    keep(page, "steel-list")
    page.get_by_role("link", name=order.title).click()
    do_steps(page)
    page.get_by_label("findings recorded").check()
    page.get_by_label("Kind").select_option("101")
    drawing = page.locator("fieldset.finding .touch-box svg")
    box = drawing.bounding_box()
    drawing.click(position={"x": box["width"] * (16 + 0.25 * 328) / 360, "y": box["height"] / 2})
    at, size = page.get_by_label("Clock position"), page.get_by_label("Size (mm")
    assert at.input_value() == "90"
    page.get_by_text("One end at 3:00 o'clock.").wait_for()
    ends = page.get_by_role("slider", name="Ends round the tube")
    for key in ("ArrowRight", "ArrowRight", "Enter"):
        ends.press(key)
    assert (at.input_value(), size.input_value()) == ("95", "20 mm")  # pi x 219.1 x 10 / 360 = 19.1, upwards
    page.get_by_role("button", name="Take the longer way round").click()
    assert (at.input_value(), size.input_value()) == ("275", "670 mm")
    for _ in range(2):
        page.get_by_role("button", name="Undo the last touch").click()
    assert (at.input_value(), size.input_value()) == ("90", "")
    drawing.click(position={"x": box["width"] * (16 + 150 / 360 * 328) / 360, "y": box["height"] / 2})
    page.get_by_text("π × 219.1 mm × 60° / 360 = 114.7 mm. A suggestion from the drawing").wait_for()
    assert (at.input_value(), size.input_value()) == ("120", "115 mm")
    keep(page, "steel-arc")
    size.fill("3/8")
    page.get_by_text("Is that inches or mm?").wait_for()
    page.get_by_label("Size (mm").fill("3/8 in")
    page.get_by_text("9.5 mm").wait_for()
    page.get_by_text("You typed 3/8 in, and that stays.").wait_for()
    page.get_by_label("Time spent", exact=False).first.fill("40")
    page.get_by_label("Photos (made").set_input_files(photo())
    page.get_by_role("button", name="Take it out").wait_for()
    axe(page)
    no_sideways_scroll(page)
    keep(page, "steel-order")
    page.get_by_role("button", name="Record the look").click()
    page.get_by_text("Finished on this device").wait_for()
    unsent(page, "things not sent, 2 photos of")
    order.refresh_from_db()
    assert order.version == 1

    page.context.set_offline(False)
    all_sent(page)
    order.refresh_from_db()
    assert (order.state, order.done_by, order.minutes_spent) == ("done", inspector, 40)
    (finding,) = order.inspection.findings.all()
    assert (finding.kind, finding.clock_deg) == ("101", 120)
    assert finding.note == "From 3:00 to 5:00 o'clock, clockwise."
    assert finding.sizes.get().length_mm == pytest.approx(9.525)
    (added,) = order.inspection.evidence.all()
    with added.original.open() as file, Image.open(file) as sent:
        assert max(sent.size) == 2000
    assert f"{added.taken_at:%Y-%m-%d}" == "2026-06-14"
    page.goto("/steel/")
    page.get_by_text("No order is yours now").wait_for()


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


def test_news_takes_no_button_from_under_a_finger(open_page, inspector, order_for, weld_joint):
    order = order_for(weld_joint, inspector)
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector, service_workers="block")
    page.context.set_offline(True)
    page.locator("#step-1").get_by_role("button", name="Done").click()
    unsent(page, "1 thing not sent")
    now, second = page.locator("#state button").element_handle(), page.locator("#step-2 button").element_handle()
    # Fails again, twice: the sheet is as it was, and so are its elements.
    for _ in range(2):
        page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_timeout(300)
    assert now.evaluate("button => button.isConnected")
    assert second.evaluate("button => button.isConnected")
    # A finger is down on step 2 while step 1 is sent, which draws the order anew: the tap still counts.
    second.evaluate("button => button.scrollIntoView({ block: 'center' })")  # clear of what stands at the foot
    box = second.bounding_box()
    page.mouse.move(box["x"] + 20, box["y"] + 20)
    page.mouse.down()
    with page.expect_response("**/steel/bundle/"):  # comes after what was sent
        page.context.set_offline(False)
    assert second.evaluate("button => button.isConnected")
    page.mouse.up()
    page.locator("#step-2.done").wait_for()
    all_sent(page)
    order.refresh_from_db()
    assert order.steps.exclude(done_at=None).count() == 2


def test_two_phones_on_one_order_the_later_one_is_told_and_puts_its_own_on_top(
    open_page, axe, inspector, person, site, order_for, weld_joint, now
):
    from schedules.work import actions

    order = order_for(weld_joint, inspector)
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
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


def test_a_finish_that_was_refused_goes_back_to_the_form_with_all_that_was_typed(
    open_page, inspector, order_for, weld_joint, settings, tmp_path, now
):
    from schedules.work import actions

    settings.MEDIA_ROOT = tmp_path
    order = order_for(weld_joint, inspector)
    for step in order.steps.all():
        step.done_by, step.done_at = inspector, now
        step.save()
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
    page.locator("input[name=result][value=accepted]").check()
    page.get_by_label("Note", exact=True).first.fill("a note of mine")
    page.get_by_label("Photos (made").set_input_files(photo(300, 200))
    page.get_by_role("button", name="Take it out").wait_for()
    page.get_by_role("button", name="Record the look").click()
    unsent(page, "2 things not sent, 1 photo of")
    actions.plan(order_id=order.pk, expected_version=1, planned_on=date(2026, 7, 1), actor=inspector, now=now)
    page.context.set_offline(False)
    unsent(page, "1 needs you")
    page.goto("/steel/#unsent")
    page.get_by_role("button", name="Change it").click()
    page.wait_for_url("**/#order/*")
    assert page.get_by_label("Note", exact=True).first.input_value() == "a note of mine"
    page.get_by_text("IMG_1.jpg").wait_for()
    page.get_by_role("button", name="Record the look").click()
    page.get_by_text("This order is not open any more").wait_for()
    all_sent(page)
    order.refresh_from_db()
    assert (order.state, order.inspection.evidence.count()) == ("done", 1)


def test_a_reading_a_hold_and_a_wait_are_noted_without_signal(open_page, inspector, order_for, weld_joint, counter):
    from schedules.models import Hold, Reading

    order = order_for(weld_joint, inspector)
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
    page.get_by_text("Read the counter: cycles").click()
    page.get_by_label("It shows").fill("12 500")
    page.get_by_role("button", name="Note the reading").click()
    unsent(page, "1 thing not sent")
    page.get_by_text("Parts used or needed").click()
    page.get_by_label("Part", exact=True).fill("bolt M20")
    page.get_by_role("button", name="Note the part").click()
    unsent(page, "2 things not sent")
    page.get_by_role("link", name="Hold", exact=True).click()  # at the foot of every sheet
    page.get_by_label("What is wrong").fill("crack right through")
    page.get_by_role("button", name="Place the hold").click()
    unsent(page, "3 things not sent")
    page.get_by_text("It has to wait").click()
    page.get_by_label("For what").select_option("access")
    page.get_by_role("button", name="It waits").click()
    page.get_by_text("Waits for access").wait_for()
    page.context.set_offline(False)
    all_sent(page)
    order.refresh_from_db()
    assert Reading.objects.get().value == 12500
    assert Hold.objects.get().joint == weld_joint
    assert (order.state, order.waits.get().reason, order.parts.get().name) == ("waiting", "access", "bolt M20")


def test_the_bolt_sheet_is_filled_without_signal_and_says_at_once_what_follows(
    open_page, axe, no_sideways_scroll, inspector, order_for, bolted_joint, now
):
    order = order_for(bolted_joint, inspector, method="BC")
    for step in order.steps.all()[1:]:
        step.done_by, step.done_at = inspector, now
        step.save()
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
    page.locator("#step-1").get_by_role("button", name="Done").click()
    page.get_by_role("link", name="Fill the bolt sheet").click()
    page.locator(".touch-box [data-bolt='7']").click()
    page.locator("#bolt-3").get_by_text("loose").click()
    told = page.get_by_role("status", name="What the lost bolts do to the rest")
    told.get_by_text("Bolt 3, 7 lost: the worst load on a remaining bolt is").wait_for()
    worst = told.locator("[data-severity]").get_attribute("data-severity")
    page.locator("#bolt-4 summary").click()
    page.locator("#bolt-4").get_by_label("Torque found").fill("180")
    page.locator("#bolt-4").get_by_label("Torque left").fill("240 lbf ft")
    page.get_by_role("button", name="All the rest ok").click()
    told.get_by_text("12 of 12 bolts have a state").wait_for()
    axe(page)
    no_sideways_scroll(page)
    keep(page, "steel-bolts")
    page.reload()
    page.get_by_role("link", name="Back to the order").click()
    page.get_by_text("By the sheet: findings recorded.").wait_for()
    page.get_by_role("button", name="Record the look").click()
    page.get_by_text("Finished on this device").wait_for()
    page.context.set_offline(False)
    page.get_by_text("This order is not open any more").wait_for()
    all_sent(page)
    order.refresh_from_db()
    assert order.state == "done"
    readings = {one.number: one for one in order.inspection.bolt_readings.all()}
    assert len(readings) == 12
    assert (readings[4].torque_found_nm, readings[7].state) == (180, "missing")
    assert readings[4].torque_left_nm == pytest.approx(325.4, abs=0.05)
    assert {one.kind: one.bolts for one in order.inspection.findings.all()} == {"loose": [3], "missing": [7]}
    assert {one.severity for one in order.inspection.findings.all()} == {worst}


def test_the_device_works_lost_bolts_and_sizes_out_as_the_service_does(open_page, db):
    from assets_app.inspections import bolt_loads, rules
    from engineering import units
    from engineering.errors import InputError
    from schedules.work.steel.bolts import severity_table

    groups, expected, dice = [], [], Random(20260615)
    for _ in range(250):
        facts = _bolts(dice)
        plan = bolt_loads.group_of(facts)
        lost = sorted(dice.sample(range(1, len(plan.state) + 1), min(len(plan.state), dice.randint(1, 6))))
        path, kind = dice.choice(["single", "multiple"]), dice.choice(["missing", "broken", "loose"])
        known = dice.random() > 0.1
        groups.append([plan.positions_mm.tolist() if known else None, lost, len(plan.state), path, kind])
        rise = bolt_loads.rise(facts, lost) if known else None
        severity, _ = rules.severity(
            kind, is_crack=False, single_load_path=path == "single", accepted=False,
            bolts_lost=len(lost), bolt_count=len(plan.state), bolt_rise=rise,
        )  # fmt: skip
        expected.append([rise, severity])
    page = open_page("/sign-in/")
    told = page.evaluate(
        """async ([groups, table]) => {
          const { rise, severityOf } = await import("/static/soundjoint/steel/bolt_loads.js");
          return groups.map(([points, lost, count, path, kind]) => {
            const risen = rise(points, lost);
            const rules = { order: table.order, rows: table[path] };
            return [risen === Infinity ? "never" : risen, severityOf(kind, lost.length, count, risen, rules)];
          });
        }""",
        [groups, severity_table()],
    )
    assert [(inf if rise == "never" else rise, severity) for rise, severity in told] == [
        (rise if rise is None else pytest.approx(rise, rel=1e-8), severity) for rise, severity in expected
    ]
    assert len({severity for _, severity in expected}) >= 3

    _arcs_agree(page, dice)
    typed = ["10", "10mm", "10 mm", "1.2 cm", "0,5 in", "3/8", '3/8"', "3/8 in", "1 1/2 in", "1-1/2 in", "1,000", "x",
             "0.125", "0,125", "2 inches", "1/0 in", "5 IN",
             "-3", "1/2 mm", "12 stone", "", "1.5.2", "10 ,5"]  # fmt: skip
    read = page.evaluate(
        """async (typed) => {
          const { readSize } = await import("/static/soundjoint/steel/sizes.js");
          return ["mm", "in"].map((unit) => typed.map((text) => readSize(text, unit).mm));
        }""",
        typed,
    )
    for unit, sizes in zip(["mm", "in"], read, strict=True):
        for text, size in zip(typed, sizes, strict=True):
            try:
                right = units.parse_length_mm(text, default_unit=unit)
            except InputError:
                right = None
            if size is not None:
                assert size == pytest.approx(right), (text, unit)
            elif text.strip() not in ("", "-3"):  # a size below nothing reads on neither
                assert right is None, (text, unit)


def _arcs_agree(page, dice: Random) -> None:
    """Two ends round a tube on the device, held to the sum and to the words of the service."""
    cases = [
        [5 * dice.randrange(72), 5 * dice.randrange(72), dice.random() < 0.5, dice.uniform(20, 900)] for _ in range(200)
    ]
    cases += [[90, 90, True, 100.0], [90, 90, False, 100.0], [0, 180, False, 114.3], [350, 20, False, 114.3]]
    told, kept, notes = page.evaluate(
        """async (cases) => {
          const { arcMm, between, clock, filled, suggested } = await import("/static/soundjoint/steel/arc.js");
          const arcs = cases.map(([first, second, longer, diameter]) => {
            const arc = between(first, second, { longer }), mm = arcMm(diameter, arc.span);
            return { ...arc, mm, said: suggested(mm), clock: clock(arc.middle) };
          });
          const held = [["", "", "60 mm"], ["45", "", "60 mm"], ["60 mm", "60 mm", ""], ["", "60 mm", "60 mm"]];
          const { noteOf } = await import("/static/soundjoint/steel/run_touch.js");
          const note = (ends, longer, run, drawn) => noteOf({ ends, longer }, run, drawn);
          const notes = [note([350, 20], false, {}, true), note([40, 10], false, { total: 300 }, false),
            note([90, 90], true, {}, false), note([90, 90], false, {}, true), note([90], false, {}, false)];
          return [arcs, [...held.map((each) => filled(...each)), arcMm(null, 60), suggested(null)], notes];
        }""",
        cases,
    )
    for (first, second, longer, diameter), arc in zip(cases, told, strict=True):
        shorter = min((second - first) % 360, (first - second) % 360)
        assert arc["span"] == (360 - shorter if longer else shorter)
        assert {arc["start"], arc["end"]} == {first, second}
        assert (arc["start"] + arc["span"]) % 360 == arc["end"]
        assert (arc["start"] + arc["span"] / 2) % 360 == arc["middle"]
        assert arc["mm"] == pytest.approx(pi * diameter * arc["span"] / 360)
        assert arc["clock"] == clock(arc["middle"])
        if arc["span"]:
            assert 0 <= int(arc["said"].removesuffix(" mm")) - arc["mm"] < 1, "never said shorter than it is"
        else:
            assert arc["said"] == "", "no length from one place"
    assert [row["now"] for row in kept[:4]] == ["60 mm", "45", "", ""], "what was typed, or taken out, stays so"
    assert kept[4:] == [None, ""], "an unknown diameter gives no length"
    assert notes == [
        "From 11:40 to 12:40 o'clock, clockwise. Its length is from the drawing, not measured with a rule.",
        "From 10 to 40 mm from the datum end.",
        "All round.",
        "",
        "",
    ]


def _bolts(dice: Random):
    """A bolt group as the register might know it: a ring, a grid, by coordinates, on a line."""
    from assets_app.inspections.bolt_loads import GroupFacts

    if dice.random() < 0.4:
        return GroupFacts(bolt_count=dice.randint(1, 24), pattern="ring", ring_diameter_mm=dice.choice([200, 333.3]))
    if dice.random() < 0.6:
        rows, columns = dice.randint(1, 4), dice.randint(1, 5)
        return GroupFacts(
            bolt_count=rows * columns, pattern="grid", rows=rows, row_pitch_mm=dice.choice([60, 71.5]),
            column_pitch_mm=dice.choice([60, 90.0]),
        )  # fmt: skip
    places = [(dice.uniform(-300, 300), dice.uniform(-300, 300)) for _ in range(dice.randint(2, 10))]
    return GroupFacts(bolt_count=len(places), pattern="custom", positions=tuple(places))


def test_what_is_seen_on_the_way_is_recorded_with_its_marked_photo_or_held(
    open_page, axe, no_sideways_scroll, inspector, person, site, order_for, weld_joint, bolted_joint, settings, tmp_path
):
    from assets_app.models import Evidence, Finding
    from schedules.models import Hold

    settings.MEDIA_ROOT = tmp_path
    order = order_for(bolted_joint, inspector, method="BC")
    page = open_page(f"/steel/#seen/{order.pk}", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
    page.get_by_label("Where", exact=True).select_option(label="W-001 column foot")
    page.get_by_label("Kind").select_option("5011")
    page.get_by_label("Size (mm").fill("2 mm")
    page.get_by_label("Photos (made").set_input_files(photo(600, 400))
    page.get_by_role("button", name="Mark it").click()
    photo_svg = page.locator(".marked svg")
    box = photo_svg.bounding_box()
    page.get_by_label("length", exact=True).check()
    photo_svg.click(position={"x": box["width"] * 0.25, "y": box["height"] * 0.5})
    photo_svg.click(position={"x": box["width"] * 0.75, "y": box["height"] * 0.5})
    page.get_by_label("Size that you measured").fill("12")
    page.get_by_role("button", name="Put the mark").click()
    page.get_by_text("with its unit, such as 12 mm").wait_for()
    page.get_by_label("Size that you measured").fill("12 mm")
    axe(page)
    no_sideways_scroll(page)
    keep(page, "steel-seen")
    page.get_by_role("button", name="Put the mark").click()
    page.get_by_text("1 mark: 12 mm").wait_for()
    page.get_by_role("button", name="Record what you saw").click()
    unsent(page, "2 things not sent, 1 photo of")
    page.context.set_offline(False)
    all_sent(page)
    finding = Finding.objects.get()
    assert (finding.joint, finding.kind, finding.inspection.result) == (weld_joint, "5011", "incomplete")
    sent = Evidence.objects.get()
    assert sent.inspection == finding.inspection
    mark = sent.marks.get()
    assert (mark.shape, mark.text) == ("length", "12 mm")
    assert (mark.x, mark.y, mark.x2, mark.y2) == pytest.approx((0.25, 0.5, 0.75, 0.5), abs=0.01)

    technician = person("technician", site)
    type(order).objects.filter(pk=order.pk).update(assignee=technician)
    other = open_page(f"/steel/#seen/{order.pk}", size="phone", person=technician)
    ready(other)
    other.context.set_offline(True)
    other.get_by_label("Where", exact=True).select_option(label="W-001 column foot")
    other.get_by_label("Kind").select_option("101")
    other.get_by_role("button", name="Report it and hold").click()
    unsent(other, "1 thing not sent")
    other.context.set_offline(False)
    all_sent(other)
    hold = Hold.objects.get(placed_by=technician)
    assert (hold.joint, "longitudinal crack (101)" in hold.reason) == (weld_joint, True)


def test_who_welded_is_said_without_signal_and_a_refusal_loses_nothing(
    open_page, axe, no_sideways_scroll, inspector, person, site, order_for, weld_joint, now
):
    from assets_app.models import Qualification, RecordEntry

    welder = person("technician", site)
    Qualification.objects.create(
        person=welder,
        kind="welder",
        process="135",
        welding_position="PA PF",
        issued_on=datetime.now(UTC).date(),
        expires_on=date(2099, 1, 1),
    )
    finisher = person("technician", site)
    order = order_for(weld_joint, finisher, kind="repair")
    order.steps.update(done_by=finisher, done_at=now)
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=finisher)
    ready(page)
    page.context.set_offline(True)
    assert page.get_by_label("Who welded").input_value() == "", "who holds no certificate is not taken for the welder"
    page.get_by_label("Note", exact=True).first.fill("ground flush")
    page.get_by_role("button", name="The work is done").click()
    page.get_by_text("Say who welded.").wait_for()
    page.get_by_label("Who welded").select_option(label=welder.display_name)
    page.get_by_label("Welding process").fill("135")
    page.get_by_label("Welding position").select_option("PE")
    page.get_by_text("the service will refuse it").wait_for()
    axe(page)
    no_sideways_scroll(page)
    keep(page, "steel-weld")
    page.get_by_role("button", name="The work is done").click()
    page.get_by_text("Finished on this device").wait_for()
    page.context.set_offline(False)
    unsent(page, "1 thing not sent, 1 needs you")
    page.goto("/steel/#unsent")
    page.get_by_text("no certificate for position PE is on file").wait_for()
    page.get_by_role("button", name="Change it").click()
    page.wait_for_url("**/#order/*")
    assert page.get_by_label("Note", exact=True).first.input_value() == "ground flush"
    page.get_by_label("Welding position").select_option("PF")
    page.get_by_role("button", name="The work is done").click()
    page.get_by_text("This order is not open any more").wait_for()
    all_sent(page)
    weld = RecordEntry.objects.get(deed="order.finished").facts["weld"]
    assert (weld["welder_id"], weld["process"], weld["position"]) == (welder.pk, "135", "PF")


def test_with_no_order_a_joint_is_named_by_its_tags_and_a_wrong_one_comes_back(
    open_page, axe, no_sideways_scroll, inspector, weld_joint, settings, tmp_path
):
    from assets_app.models import Evidence, Finding
    from schedules.models import Hold

    settings.MEDIA_ROOT = tmp_path
    page = open_page("/steel/", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
    page.get_by_role("link", name="Seen something").click()
    page.get_by_label("Tag of the asset").fill(weld_joint.asset.tag.lower())
    page.get_by_label("Tag of the joint").fill("w-01")
    page.get_by_label("Kind").select_option("101")
    page.get_by_label("Photos (made").set_input_files(photo(300, 200))
    page.get_by_role("button", name="Take it out").wait_for()
    axe(page)
    no_sideways_scroll(page)
    keep(page, "steel-seen-by-tag")
    page.get_by_role("button", name="Record what you saw").click()
    unsent(page, "2 things not sent, 1 photo of")
    page.get_by_role("link", name="Hold", exact=True).click()
    page.get_by_label("Tag of the asset").fill(weld_joint.asset.tag)
    page.get_by_label("What is wrong").fill("crack right through")
    keep(page, "steel-hold-by-tag")
    page.get_by_role("button", name="Place the hold").click()
    unsent(page, "3 things not sent")
    page.context.set_offline(False)
    unsent(page, "2 things not sent, 1 photo of")
    page.get_by_text("has the tag w-01. Is it W-001?").wait_for()
    assert not Finding.objects.exists()
    page.get_by_label("Change the tag of the joint").fill("w-001")
    page.get_by_label("Change the tag of the joint").press("Enter")
    all_sent(page)
    assert Finding.objects.get().joint == weld_joint
    assert Evidence.objects.get().inspection == Finding.objects.get().inspection
    assert (Hold.objects.get(finding=None).asset, Hold.objects.get(finding=None).joint) == (weld_joint.asset, None)


def test_what_is_seen_again_without_signal_is_the_finding_that_is_open_already(
    open_page, inspector, order_for, bolted_joint, weld_joint, now
):
    from assets_app.inspections.actions import FindingInput, record_inspection

    record_inspection(
        joint_id=bolted_joint.pk, method="BC", inspected_at=now, result="findings", actor=inspector, now=now,
        findings=[FindingInput(kind="missing", bolts=[7])],
    )  # fmt: skip
    record_inspection(
        joint_id=weld_joint.pk, method="MT", inspected_at=now, result="findings", actor=inspector, now=now,
        findings=[FindingInput(kind="101", size="10 mm")],
    )  # fmt: skip
    order = order_for(bolted_joint, inspector, method="VT")
    for step in order.steps.all():
        step.done_by, step.done_at = inspector, now
        step.save()
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
    page.get_by_role("link", name="Seen something").click()
    page.get_by_label("Where", exact=True).select_option(str(weld_joint.pk))  # no order of mine
    page.get_by_label("Is it one of these").select_option(label="longitudinal crack (101), found earlier, 10 mm")
    page.get_by_label("Size (mm").fill("14")
    page.get_by_role("button", name="Record what you saw").click()
    unsent(page, "1 thing not sent")
    page.get_by_role("link", name="Seen something").click()
    page.get_by_label("On what").select_option("something else: type its tag")
    page.get_by_label("Tag of the asset").fill(bolted_joint.asset.tag.lower())
    page.get_by_label("Tag of the joint").fill("b-9")
    page.get_by_text("What was found at this joint earlier is not on this device.").wait_for()
    page.get_by_label("Tag of the joint").fill(bolted_joint.tag.lower())
    page.get_by_label("Tag of the joint").press("Tab")
    page.get_by_text("This device knows it:").wait_for()
    page.get_by_label("Is it one of these").select_option(label="bolt missing, found earlier")
    page.get_by_label("Bolts, by their numbers").fill("7")
    keep(page, "steel-typed-known")
    page.get_by_role("button", name="Record what you saw").click()
    unsent(page, "2 things not sent")
    page.get_by_label("findings recorded").check()
    page.locator("form.form [data-bolt='3']").click()
    page.get_by_label("missing", exact=True).check()
    page.locator("form.form [data-bolt='7']").click()
    page.get_by_label("Bolts missing").fill("7, 8")
    assert page.get_by_label("Bolts loose").input_value() == "3"
    page.get_by_role("button", name="Record the look").click()
    unsent(page, "3 things not sent")
    page.context.set_offline(False)
    all_sent(page)
    assert [size.length_mm for size in weld_joint.findings.get().sizes.all()] == [10, 14]
    assert bolted_joint.inspections.count() == 3
    found = sorted((finding.kind, finding.bolts) for finding in bolted_joint.findings.all())
    assert found == [("loose", [3]), ("missing", [7]), ("missing", [8])]


def test_a_joint_is_tightened_without_signal_with_its_sheet_and_temporary_works(
    open_page, inspector, order_for, bolted_joint
):
    order = order_for(bolted_joint, inspector, kind="tighten", method="")
    before = order.steps.count()
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
    page.get_by_text("Temporary works or a permit").click()
    page.get_by_label("What is put on").select_option("shoring")
    page.get_by_label("Which, and where").fill("two jacks")
    page.get_by_role("button", name="Add the steps").click()
    page.locator(f"#step-{before + 1}").get_by_text("in place and carrying: two jacks").first.wait_for()
    page.locator(f"#step-{before + 1}").get_by_role("button", name="Done").click()
    unsent(page, "2 things not sent")
    page.get_by_text("Part of it is done").click()
    page.get_by_label("What is done, what is left").fill("propped; welding tomorrow")
    page.get_by_role("button", name="Note it part done").click()
    unsent(page, "3 things not sent")
    page.locator("#step-3").get_by_role("link", name="Bolt sheet").click()
    page.locator("#bolt-7").get_by_text("loose").click()
    page.locator("#bolt-7 summary").click()
    page.locator("#bolt-7").get_by_label("Torque left").fill("x")
    page.get_by_role("button", name="Record the bolts").click()
    page.get_by_text("Bolt 7: x is no figure").wait_for()
    page.locator("#bolt-7").get_by_label("Torque left").fill("540")
    page.get_by_role("button", name="Record the bolts").click()
    unsent(page, "4 things not sent")
    page.context.set_offline(False)
    all_sent(page)
    order.refresh_from_db()
    reading = bolted_joint.inspections.get().bolt_readings.get()
    assert (reading.number, reading.state, reading.torque_left_nm) == (7, "loose", 540)
    assert order.steps.count() == before + 2
    assert order.steps.get(sequence=before + 1).done_by == inspector
    assert order.steps.get(sequence=before + 2).done_at is None
    assert order.state == "part done"


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
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
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
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
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
    page = open_page(f"/steel/#order/{order.pk}", size="phone", person=inspector)
    ready(page)
    page.context.set_offline(True)
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
