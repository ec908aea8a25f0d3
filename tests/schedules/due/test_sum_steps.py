"""*The sum*: its steps add up to the date, and say what is missing."""

from __future__ import annotations

from datetime import date

import pytest

from schedules.due import queries
from schedules.due.sum_steps import steps
from schedules.due.working import work_out

pytestmark = pytest.mark.django_db


def test_the_lines_of_the_damage_sum_add_up_to_the_damage_used(programme, steady_counter, spectrum, steel, now):
    worked = work_out(programme("MT", conditions="good").pk, now=now)
    blocks = next(step for step in steps(worked) if step.blocks).blocks
    assert sum(block.damage for block in blocks) == pytest.approx(worked.rated.damage_per_count)


def test_the_last_step_is_the_date_that_is_explained(programme, steady_counter, spectrum, steel, now):
    made = programme("MT", conditions="good", calendar_months=240, duty_count=1e6, last_look_on=date(2026, 6, 1))
    last, told = steps(work_out(made.pk, now=now))[-1], queries.explain(made.pk, now=now)
    assert last.result == f"{told.due_on.day} {told.due_on:%B %Y}: growth window governs"
    assert "calendar 1 June 2046" in last.figures


def test_an_unrated_joint_says_what_is_missing_in_its_place(programme, now):
    titles = {step.title: step for step in steps(work_out(programme("MT", calendar_months=12).pk, now=now))}
    assert "stress spectrum" in titles["Damage: unrated"].result
    assert "steel grade" in titles["Growth window: unrated"].result


def test_an_unprotected_joint_gets_no_interval(programme, steady_counter, spectrum, steel, now):
    told = steps(work_out(programme("VT").pk, now=now))
    assert any(step.result == "no interval of VT protects this joint" for step in told)
    assert not any(step.title == "Next look by the growth window" for step in told)


def test_every_figure_step_names_its_source(programme, steady_counter, spectrum, steel, now):
    worked = work_out(programme("MT", conditions="good", calendar_months=12).pk, now=now)
    assert all(step.source for step in steps(worked)[:-1] if step.title != "Calendar")
