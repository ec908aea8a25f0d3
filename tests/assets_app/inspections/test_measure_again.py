"""The same crack measured again is the same finding with a series of sizes."""

from datetime import date, timedelta

import pytest

from assets_app.inspections.actions import FindingInput, sign_assessment
from assets_app.models import Finding, Joint
from assets_app.refusals import Conflict, Unprocessable


@pytest.fixture
def crack(look, weld_joint, now) -> Finding:
    weld_joint.load_path = "multiple"
    weld_joint.save()
    return look(FindingInput(kind="101", size="8 mm"), inspected_at=now - timedelta(days=30)).findings.get()


def again(look, finding, size, **more):
    look(FindingInput(finding_id=finding.pk, size=size), **more)
    finding.refresh_from_db()
    return finding


def test_it_gets_another_size_and_stays_one_finding(look, crack, now):
    again(look, crack, "11 mm", counter_total=5000)
    assert Finding.objects.count() == 1
    assert list(crack.sizes.values_list("length_mm", "counter_total")) == [(8.0, None), (11.0, 5000.0)]
    assert crack.found_on == (now - timedelta(days=30)).date()


def test_what_is_said_with_the_new_size_is_kept_and_a_place_once_given_stays(look, crack):
    look(FindingInput(finding_id=crack.pk, size="9 mm", clock_deg=120, place="toe", note="rust bleeds"))
    look(FindingInput(finding_id=crack.pk, size="10 mm", clock_deg=130, place="root", note="both ends marked"))
    crack.refresh_from_db()
    assert (crack.clock_deg, crack.place) == (120, "toe")
    assert crack.note.splitlines() == ["15 Jun 2026: rust bleeds", "15 Jun 2026: both ends marked"]


def test_its_severity_may_rise(look, crack, window):
    window(used=0.6)
    assert again(look, crack, "11 mm").severity == "hold now"


def test_it_never_falls_by_being_measured_smaller(look, crack, window):
    window(used=0.6)
    again(look, crack, "11 mm")
    window(used=0.1)
    assert again(look, crack, "4 mm").severity == "hold now"


def test_what_an_engineer_signed_holds_while_it_has_not_grown_and_ends_when_it_has(look, crack, window, engineer, now):
    window(used=0.1, ends=date(2026, 12, 1))
    sign_assessment(
        finding_id=crack.pk, ends_on=date(2026, 9, 1), reason="slow growth, dye marked", actor=engineer, now=now
    )
    same = again(look, crack, "8 mm")
    assert (same.severity, same.state) == ("watch", "assessed")
    grown = again(look, crack, "8.5 mm")
    assert (grown.severity, grown.state) == ("repair before use", "open")
    assert "grown" in grown.severity_reason


def test_a_crack_measured_again_needs_a_size(look, crack):
    with pytest.raises(Unprocessable) as refusal:
        again(look, crack, None)
    assert refusal.value.code == "size_needed"


def test_one_finding_has_one_size_a_look(look, crack):
    with pytest.raises(Unprocessable) as refusal:
        look(FindingInput(finding_id=crack.pk, size="9"), FindingInput(finding_id=crack.pk, size="10"))
    assert refusal.value.code == "twice_in_one_look"


def test_it_does_not_change_its_kind(look, crack):
    with pytest.raises(Unprocessable) as refusal:
        look(FindingInput(finding_id=crack.pk, kind="5011", size="9"))
    assert refusal.value.code == "other_kind"


def test_a_repaired_finding_is_not_measured_again(look, crack):
    Finding.objects.update(state="repaired")
    with pytest.raises(Conflict) as refusal:
        again(look, crack, "9 mm")
    assert refusal.value.code == "finding_not_open"


def test_a_finding_of_another_joint_is_not_measured_here(look, crack, asset):
    elsewhere = Joint.objects.create(asset=asset, tag="W-002", kind="weld")
    with pytest.raises(Unprocessable) as refusal:
        again(look, crack, "9 mm", joint_id=elsewhere.pk)
    assert refusal.value.code == "other_joint"
