"""What may be done to a finding, by whom, and that the record says so."""

import json
from datetime import date, timedelta

import pytest

from assets_app import events
from assets_app.inspections.actions import (
    FindingInput,
    close_finding,
    lapse_assessments,
    lower_severity,
    mark_repaired,
    raise_severity,
    sign_assessment,
)
from assets_app.models import Assessment, Finding, Joint, RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Refused, Unprocessable

ROLES = ["planner", "technician", "inspector", "engineer", "manager", "auditor"]


@pytest.fixture
def crack(look, weld_joint) -> Finding:
    weld_joint.load_path = "multiple"
    weld_joint.save()
    return look(FindingInput(kind="101", size="8 mm")).findings.get()


@pytest.fixture
def undercut(look) -> Finding:
    return look(FindingInput(kind="5011", size="0.6 mm")).findings.get()


def do_raise(finding, actor, now):
    return raise_severity(finding_id=finding.pk, severity="hold now", reason="rust bleeds", actor=actor, now=now)


def do_lower(finding, actor, now):
    return lower_severity(finding_id=finding.pk, severity="watch", reason="ground and tested", actor=actor, now=now)


def do_assess(finding, actor, now):
    return sign_assessment(finding_id=finding.pk, ends_on=date(2026, 9, 1), reason="low stress", actor=actor, now=now)


def do_close(finding, actor, now):
    return close_finding(finding_id=finding.pk, reason="a scratch of paint", actor=actor, now=now)


def do_repair(finding, actor, now):
    return mark_repaired(finding=finding, actor=actor, now=now)


DEEDS = {
    "finding.raised": (do_raise, {"planner", "technician", "inspector", "engineer", "manager"}),
    "finding.lowered": (do_lower, {"engineer"}),
    "finding.assessed": (do_assess, {"engineer"}),
    "finding.closed": (do_close, {"inspector", "engineer"}),
    "finding.repaired": (do_repair, {"technician", "inspector", "engineer"}),
}


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("deed", DEEDS)
def test_each_deed_is_granted_to_its_roles_alone_and_logged_once(undercut, person, site, now, deed, role):
    Finding.objects.update(severity="plan repair", severity_computed="plan repair")
    do, granted = DEEDS[deed]
    actor = person(role, site)
    heard = []

    def listen(*, finding, **_):
        heard.append(finding.pk)

    events.finding_changed.connect(listen)
    try:
        if role in granted:
            do(undercut, actor, now)
        else:
            with pytest.raises(NotAllowed) as refusal:
                do(undercut, actor, now)
            assert refusal.value.code == "role_lacks_right"
    finally:
        events.finding_changed.disconnect(listen)
    entries = RecordEntry.objects.filter(deed=deed, actor=actor, subject_id=undercut.pk)
    assert entries.count() == len(heard) == (role in granted)


@pytest.mark.parametrize("deed", DEEDS)
def test_no_deed_reaches_a_finding_of_another_site(undercut, person, other_site, now, deed):
    with pytest.raises(NotFound) as refusal:
        DEEDS[deed][0](undercut, person("engineer", other_site), now)
    assert refusal.value.code == "not_found"
    with pytest.raises(NotFound):
        DEEDS[deed][0](Finding(pk=10**6), person("engineer", other_site), now)


@pytest.mark.parametrize("deed", DEEDS)
def test_a_finding_that_is_closed_stays_as_it_is(undercut, engineer, now, deed):
    Finding.objects.update(state="closed")
    with pytest.raises(Conflict) as refusal:
        DEEDS[deed][0](undercut, engineer, now)
    assert refusal.value.code == "finding_not_open"


@pytest.mark.parametrize("change", [raise_severity, lower_severity])
def test_a_change_of_severity_needs_a_reason_and_a_severity_that_exists(undercut, engineer, now, change):
    for severity, reason, code in (("watch", "  ", "reason_needed"), ("dire", "why", "unknown_severity")):
        with pytest.raises(Unprocessable) as refusal:
            change(finding_id=undercut.pk, severity=severity, reason=reason, actor=engineer, now=now)
        assert refusal.value.code == code


def test_raising_goes_up_and_lowering_goes_down(undercut, engineer, now):
    assert undercut.severity == "plan repair"
    for change, severity, code in ((raise_severity, "watch", "not_graver"), (lower_severity, "hold now", "not_milder")):
        with pytest.raises(Conflict) as refusal:
            change(finding_id=undercut.pk, severity=severity, reason="why", actor=engineer, now=now)
        assert refusal.value.code == code


def test_the_record_keeps_what_it_was_and_why_it_changed(undercut, engineer, now):
    do_lower(undercut, engineer, now)
    facts = json.loads(RecordEntry.objects.get(deed="finding.lowered").content)
    assert (facts["before"], facts["severity"], facts["reason"]) == ("plan repair", "watch", "ground and tested")


def test_a_crack_is_not_lowered_below_the_table_by_a_reason_alone(crack, engineer, now):
    with pytest.raises(Conflict) as refusal:
        do_lower(crack, engineer, now)
    assert refusal.value.code == "assessment_needed"


def test_a_crack_that_somebody_raised_can_be_lowered_to_what_the_table_says(crack, engineer, now):
    do_raise(crack, engineer, now)
    lower_severity(finding_id=crack.pk, severity="repair before use", reason="misread", actor=engineer, now=now)
    crack.refresh_from_db()
    assert crack.severity == "repair before use"


# Assessments


def test_a_crack_whose_window_is_not_known_cannot_be_assessed(crack, engineer, now):
    with pytest.raises(Unprocessable) as refusal:
        do_assess(crack, engineer, now)
    assert refusal.value.code == "window_unknown"
    assert Assessment.objects.count() == 0


def test_the_end_must_lie_inside_the_growth_window(crack, engineer, now, window):
    window(ends=date(2026, 8, 31))
    with pytest.raises(Unprocessable) as refusal:
        do_assess(crack, engineer, now)
    assert refusal.value.code == "ends_too_late"
    window(ends=date(2026, 9, 1))
    do_assess(crack, engineer, now)
    crack.refresh_from_db()
    assert (crack.state, crack.severity) == ("assessed", "watch")
    assert crack.severity_computed == "repair before use"


def test_a_window_that_has_passed_leaves_no_day_to_sign(crack, engineer, now, window):
    window(ends=now.date() - timedelta(days=1))
    for ends_on in (now.date() - timedelta(days=1), now.date(), now.date() + timedelta(days=1)):
        with pytest.raises(Unprocessable) as refusal:
            sign_assessment(finding_id=crack.pk, ends_on=ends_on, reason="x", actor=engineer, now=now)
        assert refusal.value.code in ("ends_too_early", "ends_too_late")


def test_what_is_no_crack_is_assessed_for_a_year_at_most(undercut, engineer, now):
    facts = {"finding_id": undercut.pk, "reason": "shallow", "actor": engineer, "now": now}
    with pytest.raises(Unprocessable) as refusal:
        sign_assessment(ends_on=date(2027, 6, 16), **facts)
    assert refusal.value.code == "ends_too_late"
    sign_assessment(ends_on=date(2027, 6, 15), **facts)


@pytest.mark.parametrize("severity", ["record", "hold now"])
def test_an_assessment_makes_it_neither_nothing_nor_graver(undercut, engineer, now, severity):
    with pytest.raises(Unprocessable) as refusal:
        sign_assessment(
            finding_id=undercut.pk,
            ends_on=date(2026, 9, 1),
            reason="x",
            severity=severity,
            actor=engineer,
            now=now,
        )
    assert refusal.value.code == "severity_out_of_range"


def test_when_an_assessment_ends_the_finding_is_open_again_and_as_grave_as_the_table_says(crack, engineer, now, window):
    window(ends=date(2026, 12, 1))
    do_assess(crack, engineer, now)
    last_day = now.replace(month=9, day=1)
    assert lapse_assessments(now=last_day) == 0
    assert lapse_assessments(now=last_day + timedelta(days=1)) == 1
    assert lapse_assessments(now=last_day + timedelta(days=1)) == 0
    crack.refresh_from_db()
    assert (crack.state, crack.severity) == ("open", "repair before use")
    assert RecordEntry.objects.get(deed="finding.assessment_lapsed").actor is None


def test_a_joint_whose_life_is_used_up_is_assessed_for_a_year_at_most(weld_joint, engineer, person, site, now):
    facts = {"joint_id": weld_joint.pk, "reason": "no cracks by UT", "now": now}
    with pytest.raises(NotAllowed):
        sign_assessment(ends_on=date(2026, 12, 1), actor=person("manager", site), **facts)
    with pytest.raises(Unprocessable):
        sign_assessment(ends_on=date(2027, 7, 1), actor=engineer, **facts)
    signed = sign_assessment(ends_on=date(2026, 12, 1), actor=engineer, **facts)
    assert (signed.finding, signed.joint) == (None, weld_joint)
    assert RecordEntry.objects.filter(deed="joint.assessed", joint=weld_joint).count() == 1


def test_an_assessment_is_of_one_thing(weld_joint, undercut, engineer, now):
    for ids in ({}, {"finding_id": undercut.pk, "joint_id": weld_joint.pk}):
        with pytest.raises(Unprocessable) as refusal:
            sign_assessment(ends_on=date(2026, 9, 1), reason="x", actor=engineer, now=now, **ids)
        assert refusal.value.code == "finding_or_joint"


# Closing


@pytest.mark.parametrize("severity", ["repair before use", "hold now"])
def test_an_inspector_does_not_close_what_stops_use(undercut, inspector, engineer, now, severity):
    Finding.objects.update(severity=severity)
    with pytest.raises(NotAllowed) as refusal:
        do_close(undercut, inspector, now)
    assert refusal.value.code == "engineer_needed"
    assert do_close(undercut, engineer, now).state == "closed"


def test_an_inspector_does_not_close_a_crack_whatever_it_was_lowered_to(crack, inspector, now):
    Finding.objects.update(severity="watch", severity_computed="watch")
    with pytest.raises(NotAllowed):
        do_close(crack, inspector, now)


def test_a_repair_is_shown_by_a_look_at_the_same_joint(undercut, look, engineer, asset, certified, site, now):
    other = Joint.objects.create(asset=asset, tag="W-002", kind="weld")
    elsewhere, here = look(joint_id=other.pk), look()
    with pytest.raises(Refused) as refusal:
        mark_repaired(finding=undercut, actor=engineer, now=now, inspection=elsewhere)
    assert refusal.value.code == "other_joint"
    done = mark_repaired(finding=undercut, actor=engineer, now=now, inspection=here)
    assert (done.state, done.closed_on) == ("repaired", now.date())
