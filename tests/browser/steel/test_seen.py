"""What is seen on the way, with an order for something else or with none, and what was found there before."""

from __future__ import annotations

import pytest

from tests.browser.steel.steps import all_sent, at_order_without_signal, keep, photo, ready, unsent

pytestmark = pytest.mark.django_db(transaction=True)


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
    page = at_order_without_signal(open_page, order, inspector)
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
