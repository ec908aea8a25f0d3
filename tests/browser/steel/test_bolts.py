"""Bolts at the steel without signal: the sheet of an order, and a joint tightened."""

from __future__ import annotations

import pytest

from tests.browser.steel.steps import all_sent, at_order_without_signal, keep, unsent

pytestmark = pytest.mark.django_db(transaction=True)


def test_the_bolt_sheet_is_filled_without_signal_and_says_at_once_what_follows(
    open_page, axe, no_sideways_scroll, inspector, order_for, bolted_joint, now
):
    order = order_for(bolted_joint, inspector, method="BC")
    for step in order.steps.all()[1:]:
        step.done_by, step.done_at = inspector, now
        step.save()
    page = at_order_without_signal(open_page, order, inspector)
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


def test_a_joint_is_tightened_without_signal_with_its_sheet_and_temporary_works(
    open_page, inspector, order_for, bolted_joint
):
    order = order_for(bolted_joint, inspector, kind="tighten", method="")
    before = order.steps.count()
    page = at_order_without_signal(open_page, order, inspector)
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
