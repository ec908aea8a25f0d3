"""A corrected look takes back what it had moved: a date must never rest on a look that was not made that day."""

from datetime import UTC, date, datetime

import pytest

from assets_app.inspections.actions import correct_inspection, record_inspection
from assets_app.inspections.inputs import FindingInput
from assets_app.inspections.queries import finding_for
from assets_app.models import Finding, Qualification
from schedules.due.known import known_of_joints
from schedules.models import OwedLook, Programme


@pytest.fixture
def inspector(person, site):
    who = person("inspector", site)
    Qualification.objects.create(
        person=who, kind="ndt", method="MT", level=2, issued_on=date(2024, 1, 1), expires_on=date(2028, 1, 1)
    )
    return who


@pytest.fixture
def programme(weld_joint):
    return Programme.objects.create(joint=weld_joint, asset=weld_joint.asset, method="MT", calendar_months=12)


@pytest.fixture
def look(weld_joint, inspector, now):
    def make(month, day, result="accepted", **more):
        return record_inspection(
            joint_id=weld_joint.pk,
            method="MT",
            inspected_at=datetime(2026, month, day, 9, tzinfo=UTC),
            result=result,
            actor=inspector,
            now=now,
            **more,
        )

    return make


def correct(old, inspector, now, **change):
    facts = {"method": old.method, "inspected_at": old.inspected_at, "result": old.result, "reason": "mistyped"}
    return correct_inspection(inspection_id=old.pk, actor=inspector, now=now, **{**facts, **change})


def test_a_look_that_turns_out_earlier_moves_the_last_look_back(programme, look, inspector, now):
    old = look(6, 10)
    correct(old, inspector, now, inspected_at=datetime(2026, 4, 10, 9, tzinfo=UTC))
    programme.refresh_from_db()
    assert programme.last_look_on == date(2026, 4, 10)


def test_a_look_that_was_not_completed_falls_back_to_the_one_before(programme, look, inspector, now):
    look(3, 1, counter_total=700.0)
    old = look(6, 10, counter_total=900.0)
    correct(old, inspector, now, result="incomplete")
    programme.refresh_from_db()
    assert (programme.last_look_on, programme.last_look_total) == (date(2026, 3, 1), 700.0)


def test_without_any_other_look_it_counts_from_commissioning_again(programme, look, inspector, now):
    correct(look(6, 10), inspector, now, result="incomplete")
    programme.refresh_from_db()
    assert programme.last_look_on is None


def test_a_look_owed_that_only_the_wrong_one_answered_is_owed_again(programme, look, inspector, weld_joint, now):
    owed = OwedLook.objects.create(
        joint=weld_joint, limit="after work", why="repair", owed_since=date(2026, 5, 1), due_on=date(2026, 7, 1)
    )
    old = look(6, 10)
    owed.refresh_from_db()
    assert owed.satisfied_by == old, "the control"
    correct(old, inspector, now, inspected_at=datetime(2026, 4, 10, 9, tzinfo=UTC))
    owed.refresh_from_db()
    assert owed.satisfied_by is None


def test_a_size_that_was_mistyped_stands_nowhere_once_it_is_corrected(programme, look, inspector, weld_joint, now):
    crack = FindingInput(kind="100", size="50 mm", depth="6 mm")
    old = look(5, 10, result="findings", findings=[crack])
    finding = old.findings.get()
    told = known_of_joints([weld_joint.pk])[weld_joint.pk]
    assert [size.mm for size in told.sizes] == [6.0], "the control"
    again = FindingInput(kind="100", size="50 mm", depth="0.6 mm", finding_id=finding.pk)
    correct(old, inspector, now, findings=[again], inspected_at=datetime(2026, 5, 9, 9, tzinfo=UTC))
    told = known_of_joints([weld_joint.pk])[weld_joint.pk]
    assert [size.mm for size in told.sizes] == [0.6]
    assert [each.on for each in told.looks] == [date(2026, 5, 9)]
    assert [size.depth_mm for size in finding_for(inspector, finding.pk).sizes.all()] == [0.6]


def test_growth_is_seen_beside_a_size_that_was_mistyped_too_large(programme, look, inspector, now):
    """The corrected 60 mm would hide every growth that stays below it."""
    old = look(5, 10, result="findings", findings=[FindingInput(kind="100", size="60 mm")])
    finding = old.findings.get()
    correct(old, inspector, now, findings=[FindingInput(kind="100", size="6 mm", finding_id=finding.pk)])
    Finding.objects.filter(pk=finding.pk).update(state="assessed")
    look(6, 10, result="findings", findings=[FindingInput(kind="100", size="9 mm", finding_id=finding.pk)])
    finding.refresh_from_db()
    assert finding.state == "open", "what was signed for 6 mm does not cover 9 mm"
