"""The recompute engine on a real database: what limits a joint, and that only changes are written."""

from __future__ import annotations

from datetime import date

import pytest

from assets_app.models import Finding, Inspection
from schedules.due import engine
from schedules.due.store import Scope
from schedules.models import DueDate, OwedLook, StaleMark

pytestmark = pytest.mark.django_db


def recomputed(programme, now) -> DueDate:
    engine.recompute(Scope(joint_ids=[programme.joint_id]), now=now)
    return DueDate.objects.get(programme=programme)


def test_calendar_counts_from_commissioning_where_nobody_looked(programme, now):
    due = recomputed(programme(calendar_months=144), now)
    assert (due.due_on, due.governing) == (date(2027, 4, 1), "calendar")


def test_calendar_counts_from_the_last_look(programme, now):
    due = recomputed(programme(calendar_months=24, last_look_on=date(2026, 1, 31)), now)
    assert due.calendar_on == date(2028, 1, 31)


def test_a_joint_without_spectrum_is_unrated_and_keeps_its_calendar(programme, now):
    due = recomputed(programme(calendar_months=12, last_look_on=date(2026, 1, 31)), now)
    assert due.unrated
    assert due.due_on == date(2027, 1, 31)


def test_duty_falls_due_when_the_count_is_used(programme, steady_counter, now):
    due = recomputed(programme("VT", duty_count=36500, last_look_on=date(2026, 1, 1), last_look_total=0.0), now)
    assert due.governing == "duty"
    assert date(2026, 10, 1) < due.due_on <= due.middle_on
    assert abs((due.middle_on - date(2027, 1, 1)).days) <= 3


def test_a_count_already_used_gives_the_day_in_the_past(programme, steady_counter, now):
    due = recomputed(programme("VT", duty_count=7000, last_look_on=date(2026, 1, 1), last_look_total=0.0), now)
    assert due.due_on == date(2026, 3, 12)


def test_the_growth_window_governs_a_hard_working_weld(programme, steady_counter, spectrum, steel, now):
    due = recomputed(
        programme("MT", conditions="good", calendar_months=60, last_look_on=date(2026, 6, 1), last_look_total=15000.0),
        now,
    )
    assert not due.unrated
    assert not due.unprotected
    assert due.growth_window_on is not None
    assert due.next_limit


def test_a_method_that_finds_nothing_before_critical_leaves_the_joint_unprotected(
    programme, steady_counter, spectrum, steel, now
):
    due = recomputed(programme("VT", calendar_months=60), now)
    assert due.unprotected
    assert due.growth_window_on is None


def test_a_second_method_that_protects_takes_the_mark_away(programme, steady_counter, spectrum, steel, now):
    visual, magnetic = programme("VT", calendar_months=60), programme("MT", conditions="good", calendar_months=60)
    due = recomputed(visual, now)
    assert not due.unprotected
    assert DueDate.objects.get(programme=magnetic).growth_window_on is not None


def test_an_open_crack_is_due_on_the_day_it_was_found(programme, weld_joint, person, site, now):
    made = programme("MT", calendar_months=240)
    look = Inspection.objects.create(
        joint=weld_joint,
        method="MT",
        inspected_at=now,
        inspected_on=date(2026, 6, 10),
        result="findings",
        inspector=person("inspector", site),
        recorded_at=now,
    )
    Finding.objects.create(
        joint=weld_joint,
        inspection=look,
        kind="100",
        severity="hold now",
        severity_computed="hold now",
        severity_reason="crack",
        found_on=date(2026, 6, 10),
    )
    due = recomputed(made, now)
    assert (due.due_on, due.governing) == (date(2026, 6, 10), "finding")


def test_an_owed_look_governs_until_it_is_satisfied(programme, weld_joint, now):
    made = programme("MT", calendar_months=144)
    owed = OwedLook.objects.create(
        joint=weld_joint,
        limit="after work",
        due_on=date(2026, 7, 1),
        why="first look after repair",
        owed_since=date(2026, 6, 1),
    )
    assert recomputed(made, now).governing == "after work"
    owed.withdrawn_why = "repair was undone"
    owed.save()
    assert recomputed(made, now).governing == "calendar"


def test_a_recompute_that_changes_nothing_writes_nothing(programme, steady_counter, spectrum, steel, now):
    made = programme("MT", conditions="good", calendar_months=12)
    scope = Scope(joint_ids=[made.joint_id])
    assert engine.recompute(scope, now=now).changed == 1
    assert engine.recompute(scope, now=now).changed == 0


def test_stale_marks_are_answered_and_removed(programme, weld_joint, now):
    made = programme("MT", calendar_months=12)
    StaleMark.objects.create(asset=weld_joint.asset, why="test", marked_at=now)
    outcome = engine.recompute_stale(now=now)
    assert (outcome.programmes, outcome.changed) == (1, 1)
    assert not StaleMark.objects.exists()
    assert DueDate.objects.filter(programme=made).exists()


def test_a_retired_asset_has_no_due_dates(programme, asset, now):
    made = programme("MT", calendar_months=12)
    recomputed(made, now)
    asset.status = "retired"
    asset.save()
    engine.recompute(Scope(asset_ids=[asset.pk]), now=now)
    assert not DueDate.objects.exists()
