"""Recording a look: who may, what is refused, what is written."""

import json
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from assets_app import events
from assets_app.inspections.actions import FindingInput, record_inspection
from assets_app.models import Finding, Inspection, Qualification, RecordEntry, Role
from assets_app.record import verify
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable


def assert_refused(code, field=None):
    """Expect that refusal, and afterwards that nothing was written."""

    class Expect:
        def __enter__(self):
            self.before = (Inspection.objects.count(), Finding.objects.count(), RecordEntry.objects.count())
            self.raises = pytest.raises((Unprocessable, Conflict, NotAllowed, NotFound))
            self.info = self.raises.__enter__()
            return self.info

        def __exit__(self, *error):
            caught = self.raises.__exit__(*error)
            assert self.info.value.code == code
            if field is not None:
                assert self.info.value.field == field
            after = (Inspection.objects.count(), Finding.objects.count(), RecordEntry.objects.count())
            assert after == self.before
            return caught

    return Expect()


CRACK = FindingInput(kind="101", size="3/8 in", place="toe", clock_deg=90, note="at the upper toe")


# What is written


def test_a_look_with_nothing_found_is_recorded_on_the_sites_own_day(look, site, inspector):
    site.time_zone = "Pacific/Auckland"
    site.save()
    seen = look(inspected_at=datetime(2026, 6, 14, 23, 30, tzinfo=ZoneInfo("UTC")))
    assert seen.inspected_on == date(2026, 6, 15)
    assert seen.inspector == inspector
    assert seen.counts_as_look


def test_a_crack_on_a_single_load_path_is_a_hold_with_its_size_in_mm(look):
    finding = look(CRACK).findings.get()
    assert (finding.severity, finding.accepted) == ("hold now", False)
    size = finding.sizes.get()
    assert size.length_mm == 9.525
    assert size.as_typed == "3/8 in"
    assert "ISO 5817" in finding.acceptance_note


def test_a_crack_with_another_load_path_is_repair_before_use(look, weld_joint):
    weld_joint.load_path = "multiple"
    weld_joint.save()
    assert look(CRACK).findings.get().severity == "repair before use"


def test_a_crack_on_an_unknown_load_path_is_taken_as_single(look, weld_joint):
    weld_joint.load_path = "unknown"
    weld_joint.save()
    assert look(CRACK).findings.get().severity == "hold now"


def test_the_window_that_the_floor_above_knows_makes_a_crack_graver(look, weld_joint, window):
    weld_joint.load_path = "multiple"
    weld_joint.save()
    window(used=0.7)
    finding = look(CRACK).findings.get()
    assert finding.severity == "hold now"
    assert "70%" in finding.severity_reason


def test_an_undercut_is_judged_by_the_quality_level_of_its_weld(look):
    shallow, deep = look(
        FindingInput(kind="5011", size="0.3 mm", length="40 mm"), FindingInput(kind="5011", size="1.4 mm")
    ).findings.order_by("pk")
    assert (shallow.accepted, shallow.severity) == (True, "record")
    assert (deep.accepted, deep.severity) == (False, "repair before use")  # 1.4 mm against 0.5 mm, single load path
    assert "0.5 mm" in deep.acceptance_note


def test_without_a_quality_level_an_imperfection_that_hangs_on_it_is_not_judged_and_says_why(look, weld_joint):
    weld_joint.weld.quality_level = ""
    weld_joint.weld.save()
    small, huge = look(
        FindingInput(kind="5011", size="0.7 mm"), FindingInput(kind="5011", size="9 mm")
    ).findings.order_by("pk")
    assert small.accepted is None
    assert small.severity == "plan repair"
    assert "quality level" in small.acceptance_note
    assert huge.accepted is False, "deeper than any level allows"


def test_a_size_that_was_not_measured_leaves_the_acceptance_open(look):
    finding = look(FindingInput(kind="5011")).findings.get()
    assert finding.accepted is None
    assert finding.severity == "plan repair"
    assert finding.sizes.count() == 0


def test_a_plain_number_is_in_the_sites_own_unit(look, site):
    site.units = "us"
    site.save()
    assert look(FindingInput(kind="101", size="0.5")).findings.get().sizes.get().length_mm == pytest.approx(12.7)


def test_the_entry_in_the_record_says_what_was_seen_and_the_chain_is_whole(look, site, weld_joint):
    seen = look(CRACK, note="after rain", counter_total=1234.5)
    entry = RecordEntry.objects.get(deed="inspection.recorded")
    facts = json.loads(entry.content)
    assert (entry.joint_id, entry.subject_id) == (weld_joint.pk, seen.pk)
    assert facts["findings"][0]["length_mm"] == 9.525
    assert facts["findings"][0]["severity"] == "hold now"
    assert facts["note"] == "after rain"
    assert verify.chain(site).whole


def test_the_floor_above_is_told_inside_the_transaction_and_can_still_stop_it(look):
    heard = []

    def listen(*, inspection, findings, **_):
        heard.append((inspection.pk, [finding.severity for finding in findings]))
        raise ZeroDivisionError

    events.inspection_recorded.connect(listen)
    try:
        with pytest.raises(ZeroDivisionError):
            look(CRACK)
    finally:
        events.inspection_recorded.disconnect(listen)
    assert heard[0][1] == ["hold now"]
    assert Inspection.objects.count() == 0
    assert RecordEntry.objects.count() == 0


# Bolts


def bolts(bolted_joint, actor, now, *findings):
    return record_inspection(
        joint_id=bolted_joint.pk,
        method="BC",
        inspected_at=now,
        result="findings",
        findings=findings,
        actor=actor,
        now=now,
    )


def test_a_technician_may_check_bolts_without_a_certificate(bolted_joint, person, site, now):
    seen = bolts(bolted_joint, person("technician", site), now, FindingInput(kind="missing", bolts=[3]))
    finding = seen.findings.get()
    assert finding.bolts == [3]
    assert finding.severity == "hold now"  # 12 on a ring, one lost: 1.30 times on the worst of the rest, single path
    assert "1.30 times" in finding.severity_reason


def test_bolts_found_lost_before_count_with_those_found_now(bolted_joint, person, site, now):
    bolted_joint.load_path = "multiple"
    bolted_joint.save()
    technician = person("technician", site)
    first = bolts(bolted_joint, technician, now, FindingInput(kind="loose", bolts=[1])).findings.get()
    second = bolts(bolted_joint, technician, now, FindingInput(kind="loose", bolts=[2])).findings.get()
    assert first.severity == "repair before use"
    assert second.severity == "hold now"
    assert "2 of 12" in second.severity_reason


def test_bolts_whose_places_are_not_known_are_counted(bolted_joint, person, site, now):
    bolted_joint.bolt_group.pattern = ""
    bolted_joint.bolt_group.save()
    finding = bolts(
        bolted_joint, person("technician", site), now, FindingInput(kind="missing", bolts=[3])
    ).findings.get()
    assert finding.severity == "repair before use"
    assert "where they stand is not known" in finding.severity_reason


@pytest.mark.parametrize(("numbers", "code"), [([], "bolts_missing"), ([0], "no_such_bolt"), ([13], "no_such_bolt")])
def test_a_lost_bolt_needs_its_number(bolted_joint, person, site, now, numbers, code):
    with assert_refused(code, "findings[0].bolts"):
        bolts(bolted_joint, person("technician", site), now, FindingInput(kind="broken", bolts=numbers))


def test_a_crack_can_be_in_the_steel_of_a_bolted_joint(look, bolted_joint):
    assert look(CRACK, joint_id=bolted_joint.pk).findings.get().severity == "hold now"


# Who may


@pytest.mark.parametrize("role", ["planner", "technician", "manager", "auditor"])
def test_other_roles_do_not_record_a_test(look, certified, site, role):
    with assert_refused("role_lacks_right") as refusal:
        look(actor=certified(role, site))
    assert "Inspector or engineer could" in refusal.value.message


@pytest.mark.parametrize("role", ["inspector", "engineer"])
def test_inspector_and_engineer_do(look, certified, site, role):
    look(actor=certified(role, site))
    assert RecordEntry.objects.filter(deed="inspection.recorded", actor_name=role.title()).count() == 1


def test_somebody_from_another_site_does_not_even_see_the_joint(look, certified, other_site):
    with assert_refused("not_found"):
        look(actor=certified("inspector", other_site))


def test_without_a_certificate_for_the_method_the_refusal_names_who_could(look, person, certified, site):
    expert = certified("engineer", site, "UT")
    expert.first_name, expert.last_name = "Wren", "Hollis"
    expert.save()
    with assert_refused("not_qualified", "method") as refusal:
        look(actor=certified("inspector", site, "VT"), method="UT")
    assert "no UT certificate" in refusal.value.message
    assert "Wren Hollis" in refusal.value.data["who_could"]


def test_level_one_does_not_interpret(look, certified, site):
    with assert_refused("not_qualified") as refusal:
        look(actor=certified("inspector", site, "MT", level=1))
    assert "level 1" in refusal.value.message


def test_a_certificate_must_run_on_the_day_of_the_look_not_of_the_typing(look, person, site, now):
    who = person("inspector", site)
    row = Qualification.objects.create(
        person=who, kind="ndt", method="MT", level=2, issued_on=date(2024, 1, 1), expires_on=date(2026, 6, 10)
    )
    look(actor=who, inspected_at=now - timedelta(days=5))  # its last day
    with assert_refused("not_qualified") as refusal:
        look(actor=who, inspected_at=now - timedelta(days=4))
    assert "ran out on 10 Jun 2026" in refusal.value.message
    row.issued_on = row.expires_on
    row.save()
    with assert_refused("not_qualified"):
        look(actor=who, inspected_at=now - timedelta(days=6))


def test_when_nobody_at_the_site_could_the_refusal_says_so(look, person, site, inspector):
    Role.objects.filter(person=inspector).delete()
    with assert_refused("not_qualified") as refusal:
        look(actor=person("inspector", site))
    assert "Nobody at this site could" in refusal.value.message


# What is refused


def test_a_look_does_not_lie_ahead(look, now):
    with assert_refused("in_the_future", "inspected_at"):
        look(inspected_at=now + timedelta(minutes=1))


def test_nothing_was_looked_at_before_it_was_built(look, weld_joint, now):
    with assert_refused("before_commissioning", "inspected_at"):
        look(inspected_at=now.replace(year=2015, month=3, day=31))
    weld_joint.installed_on = date(2026, 6, 1)
    weld_joint.save()
    with assert_refused("before_commissioning"):
        look(inspected_at=now - timedelta(days=20))


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"result": "accepted", "findings": (CRACK,)}, "result_contradicts"),
        ({"result": "findings", "findings": ()}, "findings_missing"),
        ({"result": "fine"}, "unknown_result"),
        ({"method": "XX"}, "unknown_method"),
        ({"method": "BC"}, "method_does_not_fit"),
        ({"conditions": "foggy"}, "unknown_conditions"),
        ({"counter_total": -1}, "out_of_range"),
        ({"counter_total": float("nan")}, "out_of_range"),
        ({"findings": (FindingInput(kind="banana"),), "result": "findings"}, "unknown_kind"),
        ({"findings": (FindingInput(kind="missing", bolts=[1]),), "result": "findings"}, "kind_does_not_fit"),
        ({"findings": (FindingInput(kind="101", size="a bit"),), "result": "findings"}, "not_a_size"),
        ({"findings": (FindingInput(kind="101", size="-3 mm"),), "result": "findings"}, "out_of_range"),
        ({"findings": (FindingInput(kind="101", clock_deg=360),), "result": "findings"}, "out_of_range"),
        ({"findings": (FindingInput(kind="101", place="moon"),), "result": "findings"}, "unknown_place"),
        ({"findings": (CRACK, FindingInput(finding_id=999)), "result": "findings"}, "other_joint"),
        ({"findings": (CRACK,) * 51, "result": "findings"}, "too_many_findings"),
    ],
)
def test_what_does_not_hold_together_is_refused_whole(look, change, code):
    with assert_refused(code):
        look(**change)


def test_a_joint_out_of_use_takes_no_looks(look, weld_joint):
    weld_joint.active = False
    weld_joint.save()
    with assert_refused("joint_retired"):
        look()


def test_an_unfinished_look_may_have_found_something_and_does_not_count(look):
    seen = look(CRACK, result="incomplete")
    assert not seen.counts_as_look
    assert seen.findings.count() == 1
