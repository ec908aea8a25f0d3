"""Finishing an order writes back what was done, in one piece."""

from datetime import date, timedelta

import pytest

from assets_app.inspections.actions import FindingInput
from assets_app.inspections.bolt_rules import BoltInput
from assets_app.models import Evidence, Inspection, RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from schedules.due import engine
from schedules.models import DueDate, Hold, OwedLook, Programme, StaleMark
from schedules.work import actions, raising
from schedules.work.finishing import LookInput, answer_by_look, answer_owed, finish

pytestmark = pytest.mark.django_db
GOOD = LookInput(result="accepted")


def done(order, actor, now, **fields):
    return finish(order_id=order.pk, expected_version=order.version, actor=actor, now=now, **fields)


def test_a_finished_look_is_written_and_the_next_due_date_moves(
    look_order, all_steps, inspector, photo, dated, now, today
):
    assert DueDate.objects.get(programme=dated).due_on == date(2026, 6, 1)
    order = done(all_steps(look_order, inspector), inspector, now, look=GOOD, photos=[photo("white")], minutes_spent=40)
    engine.recompute_stale(now=now)
    look = Inspection.objects.get()
    assert (look.method, look.result, look.inspected_on) == ("MT", "accepted", today)
    assert DueDate.objects.get(programme=dated).due_on == date(2027, 6, 15)
    assert (order.state, order.inspection, order.done_by, order.minutes_spent) == ("done", look, inspector, 40)
    assert Evidence.objects.filter(inspection=look).count() == 1


def test_the_look_stands_in_the_record_and_so_does_the_order(look_order, all_steps, inspector, now):
    order = done(all_steps(look_order, inspector), inspector, now, look=GOOD)
    deeds = list(RecordEntry.objects.values_list("deed", flat=True))
    assert deeds[-2:] == ["inspection.recorded", "order.finished"]
    entry = RecordEntry.objects.get(deed="order.finished")
    assert (entry.actor, entry.facts["version"], entry.facts["result"]) == (inspector, order.version, "accepted")


def test_a_crack_reported_on_the_order_holds_the_joint_at_once(look_order, all_steps, inspector, now):
    crack = FindingInput(kind="100", size="12mm", place="toe")
    done(all_steps(look_order, inspector), inspector, now, look=LookInput(result="findings", findings=[crack]))
    hold = Hold.objects.get()
    assert (hold.joint, hold.finding.severity, hold.placed_by) == (look_order.joint, "hold now", None)


def test_a_bolt_check_is_finished_with_its_sheet(bolted_joint, all_steps, planner, inspector, now):
    order = raising.raise_order_by_hand(
        joint_id=bolted_joint.pk, kind="inspect", method="BC", why="rust", actor=planner, now=now
    )
    bolts = [BoltInput(number=n, state="missing" if n == 7 else "ok", torque_found="300" if n == 4 else None)
             for n in range(1, 13)]  # fmt: skip
    order = done(all_steps(order, inspector), inspector, now, look=LookInput(result="findings", bolts=bolts))
    look = order.inspection
    assert (look.method, look.bolt_readings.get(number=4).torque_found_nm) == ("BC", 300)
    assert [(one.kind, one.bolts) for one in look.findings.all()] == [("missing", [7])]


def test_a_bolt_sheet_at_a_weld_is_refused(look_order, all_steps, inspector, now):
    look = LookInput(result="accepted", bolts=[BoltInput(number=1, state="ok")])
    with pytest.raises(Unprocessable) as refused:
        done(all_steps(look_order, inspector), inspector, now, look=look)
    assert refused.value.code == "sheet_not_asked"


def test_an_order_is_not_done_while_something_temporary_is_on(repair_order, all_steps, inspector, now):
    order = all_steps(repair_order, inspector)
    actions.add_temporary_work(
        order_id=order.pk, expected_version=order.version, what="strongbacks", note="two", actor=inspector, now=now
    )
    order.refresh_from_db()
    on, off = order.steps.order_by("sequence")[order.steps.count() - 2 :]
    assert on.text.endswith(": two")
    with pytest.raises(Conflict) as refused:
        done(order, inspector, now)
    assert refused.value.code == "steps_open"
    assert refused.value.data["steps"] == [on.sequence, off.sequence]


def test_a_refused_look_leaves_the_order_as_it_was(look_order, all_steps, inspector, now):
    order = all_steps(look_order, inspector)
    with pytest.raises(Unprocessable) as refused:
        done(order, inspector, now, look=LookInput(result="findings"))
    assert refused.value.code == "findings_missing"
    order.refresh_from_db()
    assert (order.state, order.inspection) == ("open", None)
    assert not Inspection.objects.exists()


def test_steps_left_open_are_named(look_order, inspector, now):
    with pytest.raises(Conflict) as refused:
        done(look_order, inspector, now, look=GOOD)
    assert refused.value.code == "steps_open"
    assert refused.value.data["steps"] == [1, 2, 3, 4, 5]


def test_a_look_that_could_not_be_completed_is_recorded_and_the_order_goes_on(look_order, inspector, dated, now):
    order = done(look_order, inspector, now, look=LookInput(result="incomplete", note="no light"))
    engine.recompute_stale(now=now)
    assert (order.state, order.inspection, order.done_by) == ("part done", None, None)
    assert DueDate.objects.get(programme=dated).due_on == date(2026, 6, 1)


def test_a_look_order_needs_its_look(look_order, all_steps, inspector, now):
    with pytest.raises(Unprocessable) as refused:
        done(all_steps(look_order, inspector), inspector, now)
    assert refused.value.code == "look_needed"


def test_a_technician_without_a_certificate_cannot_sign_a_look(look_order, all_steps, technician, now):
    with pytest.raises(NotAllowed) as refused:
        done(all_steps(look_order, technician), technician, now, look=GOOD)
    assert refused.value.code == "role_lacks_right"


def test_who_has_no_role_at_the_site_sees_no_order(look_order, stranger, now):
    with pytest.raises(NotFound) as refused:
        done(look_order, stranger, now, look=GOOD)
    assert refused.value.code == "not_found"


def test_a_planner_plans_and_does_not_finish(look_order, planner, now):
    with pytest.raises(NotAllowed) as refused:
        done(look_order, planner, now, look=GOOD)
    assert refused.value.code == "role_lacks_right"


def test_a_stale_finish_is_refused_with_what_changed_since(look_order, all_steps, inspector, now):
    seen = look_order.version
    order = all_steps(look_order, inspector)
    with pytest.raises(Conflict) as refused:
        finish(order_id=order.pk, expected_version=seen, actor=inspector, now=now, look=GOOD)
    assert refused.value.code == "order_changed"
    assert [one["deed"] for one in refused.value.data["changes"]] == ["step done"] * 5
    assert not Inspection.objects.exists()


def test_finishing_twice_is_refused(look_order, all_steps, inspector, now):
    order = done(all_steps(look_order, inspector), inspector, now, look=GOOD)
    with pytest.raises(Conflict) as refused:
        done(order, inspector, now, look=GOOD)
    assert refused.value.code == "order_state"
    assert Inspection.objects.count() == 1


def test_a_repair_marks_its_finding_repaired_and_owes_a_look_by_every_method(
    repair_order, all_steps, technician, dated, now, today
):
    Programme.objects.create(joint=dated.joint, asset=dated.asset, method="VT", calendar_months=3)
    done(all_steps(repair_order, technician), technician, now)
    repair_order.finding.refresh_from_db()
    assert repair_order.finding.state == "repaired"
    owed = OwedLook.objects.filter(limit="after work")
    assert {(each.method, each.due_on) for each in owed} == {
        ("MT", today + timedelta(days=30)),
        ("VT", today + timedelta(days=30)),
    }


def test_a_repair_where_nothing_was_owed_is_looked_at_all_the_same(repair_order, all_steps, technician, now, today):
    done(all_steps(repair_order, technician), technician, now)
    engine.recompute_stale(now=now)
    due = DueDate.objects.get(joint=repair_order.joint)
    assert (due.method, due.due_on, due.governing) == ("VT", today + timedelta(days=30), "after work")


def test_tightened_bolts_are_checked_again(bolted_joint, planner, technician, all_steps, now, today):
    order = raising.raise_order_by_hand(
        joint_id=bolted_joint.pk, kind="tighten", why="two loose", actor=planner, now=now
    )
    done(all_steps(order, technician), technician, now)
    engine.recompute_stale(now=now)
    due = DueDate.objects.get(joint=bolted_joint)
    assert (due.method, due.due_on, due.governing) == ("BC", today + timedelta(days=14), "after work")


def test_a_finding_of_another_joint_is_not_repaired_along(
    repair_order, finding, bolted_joint, all_steps, technician, now
):
    other = finding(joint=bolted_joint, kind="gap")
    with pytest.raises(Unprocessable) as refused:
        done(all_steps(repair_order, technician), technician, now, also_repaired=[other.pk])
    assert refused.value.code == "other_joint"
    repair_order.finding.refresh_from_db()
    assert repair_order.finding.state == "open"


def test_a_look_recorded_beside_its_order_answers_it(look_order, inspector, now):
    from assets_app.inspections.actions import record_inspection

    look = record_inspection(
        joint_id=look_order.joint_id, method="MT", inspected_at=now, result="accepted", actor=inspector, now=now
    )
    answer_by_look(inspection_id=look.pk, now=now)
    assert answer_by_look(inspection_id=look.pk, now=now) is None
    look_order.refresh_from_db()
    assert (look_order.state, look_order.inspection, look_order.done_by) == ("done", look, inspector)


def test_an_order_whose_look_was_written_but_never_answered_is_found(look_order, inspector, now):
    from assets_app.inspections.actions import record_inspection

    record_inspection(
        joint_id=look_order.joint_id, method="MT", inspected_at=now, result="accepted", actor=inspector, now=now
    )
    assert (answer_owed(now=now), answer_owed(now=now)) == (1, 0)


def test_the_joint_is_marked_for_a_recompute_in_the_same_breath(look_order, all_steps, inspector, now):
    StaleMark.objects.all().delete()
    done(all_steps(look_order, inspector), inspector, now, look=GOOD)
    assert StaleMark.objects.filter(joint=look_order.joint).exists()
