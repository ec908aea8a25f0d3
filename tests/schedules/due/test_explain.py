"""A due date explains itself: the sentence, the figures, what is missing, and what if."""

from __future__ import annotations

from datetime import date

import pytest

from assets_app.refusals import NotFound, Unprocessable
from schedules.due import engine, queries
from schedules.due.store import Scope
from schedules.due.working import work_out
from schedules.models import DueDate

pytestmark = pytest.mark.django_db


def test_the_growth_window_says_what_is_found_what_is_critical_and_how_many_looks(
    programme, steady_counter, spectrum, steel, now
):
    made = programme(
        "MT", conditions="good", calendar_months=240, last_look_on=date(2026, 6, 1), last_look_total=15000.0
    )
    told = queries.explain(made.pk, now=now)
    assert told.governing == "growth window"
    assert told.sentence.startswith("Growth window governs: MT can find 1.9 mm, critical is ")
    assert "3 looks owed; at this season's pace that is" in told.sentence
    assert {"growth window", "damage", "calendar"} <= {line.limit for line in told.lines}
    assert any(figure.symbol == "ac" and figure.unit == "mm" for figure in told.figures)


def test_the_page_and_the_engine_give_the_same_date(programme, steady_counter, spectrum, steel, now):
    made = programme("MT", conditions="good", calendar_months=24, last_look_on=date(2026, 6, 1))
    engine.recompute(Scope(joint_ids=[made.joint_id]), now=now)
    stored, told = DueDate.objects.get(programme=made), queries.explain(made.pk, now=now)
    assert (stored.due_on, stored.middle_on, stored.governing, stored.next_limit, stored.next_on) == (
        told.due_on,
        told.middle_on,
        told.governing,
        told.next_limit,
        told.next_on,
    )


def test_what_is_missing_is_named_with_what_to_do(programme, now):
    told = queries.explain(programme("MT", calendar_months=12).pk, now=now)
    assert told.unrated
    assert any("stress spectrum" in text and "engineer" in text for text in told.missing)
    assert "never looked at by MT since 1 April 2015, at most 12 months allowed" in told.sentence


def test_more_stress_on_trial_brings_the_date_forward_and_writes_nothing(
    programme, steady_counter, spectrum, steel, now
):
    made = programme("MT", conditions="good", last_look_on=date(2026, 6, 1), last_look_total=15000.0)
    as_is = work_out(made.pk, now=now)
    harder = work_out(made.pk, now=now, changes={"bins": [[90.0, 1.0], [45.0, 4.0]]})
    assert harder.due_on < as_is.due_on
    assert not DueDate.objects.exists()


def test_an_unknown_input_on_trial_is_refused_by_name(programme, now):
    with pytest.raises(Unprocessable) as refused:
        work_out(programme("MT").pk, now=now, changes={"colour": "red"})
    assert (refused.value.code, refused.value.field) == ("unknown_input", "colour")


def test_a_visual_look_that_protects_nothing_names_what_could(programme, steady_counter, spectrum, steel, now):
    told = queries.explain(programme("VT", calendar_months=240).pk, now=now)
    assert told.unprotected_here
    growth = next(line for line in told.lines if line.limit == "growth window")
    assert growth.sentence.startswith("no interval of VT protects this joint")
    better = queries.alternatives(told.worked)
    assert better
    assert "MT" in {each.method for each in better}
    assert all(each.days is None or each.days > 0 for each in better)


def test_a_look_no_longer_owed_is_not_explained(programme, weld_joint, now):
    made = programme("MT")
    weld_joint.active = False
    weld_joint.save()
    with pytest.raises(NotFound):
        queries.explain(made.pk, now=now)
