"""Two findings that turn out to be one: joined by one deed, with all sizes, and never milder for it."""

import json
from datetime import date, timedelta

import pytest
from django.test import Client

from assets_app.inspections.actions import FindingInput, join_finding, sign_assessment
from assets_app.inspections.queries import photos_of
from assets_app.models import Evidence, Finding, RecordEntry
from assets_app.refusals import Refused

AGO = (timedelta(days=9), timedelta(hours=1))


@pytest.fixture
def first(look, weld_joint, now) -> Finding:
    weld_joint.load_path = "multiple"
    weld_joint.save()
    return look(
        FindingInput(kind="101", size="8 mm", place="toe"), inspected_at=now - timedelta(days=30)
    ).findings.get()


@pytest.fixture
def later(first, look) -> Finding:
    return look(FindingInput(kind="101", size="11 mm", clock_deg=90, note="rust bleeds")).findings.get()


def join(later, first, actor, now):
    join_finding(finding_id=later.pk, same_as=first.pk, reason="both ends marked", actor=actor, now=now)
    first.refresh_from_db()
    later.refresh_from_db()


def test_the_first_one_has_both_sizes_and_the_later_one_is_closed(first, later, inspector, now):
    join(later, first, inspector, now)
    assert [size.length_mm for size in first.sizes.order_by("measured_on")] == [8, 11]
    assert (first.state, first.place, first.clock_deg, first.note) == ("open", "toe", 90, "15 Jun 2026: rust bleeds")
    assert (later.state, later.closed_on) == ("closed", date(2026, 6, 15))
    assert f"The same as finding {first.pk}, found 16 May 2026." in later.note
    entry = RecordEntry.objects.get(deed="finding.joined")
    assert (entry.subject_id, json.loads(entry.content)["same_as"]) == (later.pk, first.pk)
    assert RecordEntry.objects.get(deed="finding.extended").subject_id == first.pk


def test_who_measures_the_later_one_again_measures_the_first(first, later, look, inspector, now):
    join(later, first, inspector, now)
    look(FindingInput(finding_id=later.pk, size="13 mm"))  # from a phone that had no signal meanwhile
    assert [size.length_mm for size in first.sizes.order_by("pk")] == [8, 11, 13]


def test_it_is_as_grave_as_the_graver_and_what_was_signed_for_the_smaller_one_ends(
    first, later, window, inspector, engineer, now
):
    window(ends=date(2027, 1, 1))
    facts = {"ends_on": date(2026, 9, 1), "reason": "low stress", "actor": engineer, "now": now}
    sign_assessment(finding_id=first.pk, **facts)
    Finding.objects.filter(pk=later.pk).update(severity="hold now", severity_computed="hold now")
    join(later, first, inspector, now)
    assert (first.state, first.severity) == ("open", "hold now")


def test_what_was_signed_stands_where_the_later_one_was_no_larger(first, look, window, inspector, engineer, now):
    window(ends=date(2027, 1, 1))
    sign_assessment(finding_id=first.pk, ends_on=date(2026, 9, 1), reason="low stress", actor=engineer, now=now)
    smaller = look(FindingInput(kind="101", size="7 mm")).findings.get()
    Finding.objects.filter(pk=smaller.pk).update(severity="watch")
    join(smaller, first, inspector, now)
    assert (first.state, first.severity) == ("assessed", "watch")


@pytest.mark.parametrize("before", [False, None, True])
def test_beyond_the_limit_or_not_judged_stays_so_when_the_later_one_was_within_it(first, later, inspector, now, before):
    Finding.objects.filter(pk=first.pk).update(accepted=before, acceptance_note="first")
    Finding.objects.filter(pk=later.pk).update(accepted=True, acceptance_note="later")
    join(later, first, inspector, now)
    assert (first.accepted, first.acceptance_note) == (before, "first")


def test_beyond_the_limit_is_taken_over_from_the_later_one(first, later, inspector, now):
    Finding.objects.filter(pk=first.pk).update(accepted=True, acceptance_note="first")
    Finding.objects.filter(pk=later.pk).update(accepted=False, acceptance_note="later")
    join(later, first, inspector, now)
    assert (first.accepted, first.acceptance_note) == (False, "later")


def test_photos_of_a_look_that_measured_nothing_are_seen_at_the_one_found_first(first, look, inspector, now):
    second, third = (look(FindingInput(kind="101", clock_deg=90), inspected_at=now - ago).findings.get() for ago in AGO)
    for seen in (second, third):
        facts = {"original_sha256": str(seen.pk) * 8, "added_by": inspector, "added_at": now}
        Evidence.objects.create(joint_id=seen.joint_id, inspection_id=seen.inspection_id, **facts)
    join(third, second, inspector, now)
    join(second, first, inspector, now)
    assert [photo.inspection for photo in photos_of(first)] == [second.inspection, third.inspection]
    assert photos_of(third).count() == 1, "and still at their own"


def test_what_cannot_be_one_is_refused(first, later, look, weld_joint, bolted_joint, inspector, now):
    beside, other = look(FindingInput(kind="101", size="9 mm"), FindingInput(kind="5011", size="1 mm")).findings.all()
    twin = look(FindingInput(kind="101", size="5 mm"), FindingInput(kind="101", size="6 mm")).findings.all()
    elsewhere = Finding.objects.get(pk=beside.pk)
    elsewhere.pk, elsewhere.joint = None, bolted_joint
    elsewhere.save()
    codes = []
    for one, same_as, reason in (
        (later, first, " "),
        (later, later, "same"),
        (later, other if other.kind != "101" else beside, "same"),
        (first, later, "same"),
        (twin[0], twin[1], "same"),
        (later, elsewhere, "same"),
    ):
        with pytest.raises(Refused) as refusal:
            join_finding(finding_id=one.pk, same_as=same_as.pk, reason=reason, actor=inspector, now=now)
        codes.append(refusal.value.code)
    assert codes == [
        *("reason_needed", "same_finding", "other_kind", "found_later", "twice_in_one_look", "other_joint"),
    ]


def test_on_the_page_the_one_found_before_is_chosen(first, later, inspector):
    client = Client()
    client.force_login(inspector, backend="assets_app.people.signed_in.PersonBackend")
    assert "It is one found before" not in client.get(f"/findings/{first.pk}/").content.decode()
    assert "It is one found before" in client.get(f"/findings/{later.pk}/").content.decode()
    sent = {"same_as": first.pk, "reason": "both ends marked"}
    assert client.post(f"/findings/{later.pk}/join/", sent)["Location"] == f"/findings/{first.pk}/"
    shown = client.get(f"/findings/{later.pk}/").content.decode()
    assert f"is finding {first.pk}, found before: both ends marked" in shown
