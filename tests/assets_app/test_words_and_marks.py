"""Words before colours: due states, severities, figures, and the sheets of each role."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assets_app.doors.sheets import TURNS_TO, WORDS, landing, sheets_for
from assets_app.inspections.models import Severity
from assets_app.people.models import RoleName
from assets_app.register.pen import SEVERITY_MARKS
from assets_app.templatetags.soundjoint import count, due_state, due_words, figure, in_words, severity

TODAY = date(2026, 6, 15)


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (-12, "overdue by 12 days"),
        (-1, "overdue by 1 day"),
        (-1500, "overdue by 1 500 days"),
        (0, "due today"),
        (1, "due in 1 day"),
        (5, "due in 5 days"),
        (30, "due in 30 days"),
        (31, "planned 16 Jul"),
        (300, "planned 11 Apr 2027"),
    ],
)
def test_the_due_state_is_said_in_words(days, said):
    assert due_words(TODAY + timedelta(days=days), TODAY).words.replace("\u202f", " ") == said


def test_no_date_is_never_taken_for_not_due():
    assert due_words(None, TODAY, unrated=True, missing="no stress spectrum").words == "unrated: no stress spectrum"
    assert due_words(None, TODAY, unrated=True).state == "unrated"
    assert due_words(None, TODAY).words == "not limited"


def test_the_words_carry_the_day_for_a_machine_and_escape_what_was_typed():
    assert 'datetime="2026-06-20"' in due_state(date(2026, 6, 20), TODAY)
    assert "<b>" not in due_state(None, TODAY, unrated=True, missing="<b>")


def test_each_severity_has_its_own_mark_and_its_word():
    assert set(SEVERITY_MARKS) == set(Severity.values)
    assert len(set(SEVERITY_MARKS.values())) == len(Severity)
    for name in Severity.values:
        shown = severity(name)
        assert f">{name}</span>" in shown
        assert 'aria-hidden="true"' in shown


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (84000.0, "84 000"),
        (1.8634, "1.86"),
        (0.2306, "0.231"),
        (12.0, "12"),
        (0.0, "0"),
        (2.2e-7, "2.20 × 10⁻⁷"),
        (float("inf"), "not a number"),
        ("S355J2", "S355J2"),
    ],
)
def test_a_figure_shows_the_digits_it_deserves(value, said):
    assert figure(value).replace("\u202f", " ") == said


@given(st.floats(min_value=1e-3, max_value=1e8))
def test_a_shown_figure_is_within_half_a_percent_of_the_value(value):
    assert float(figure(value).replace("\u202f", "")) == pytest.approx(value, rel=0.006)


def test_a_counter_s_total_keeps_every_digit():
    assert count(1284310.0).replace("\u202f", " ") == "1 284 310"


def test_roles_are_listed_as_a_sentence_lists_them():
    assert in_words(["planner", "engineer"]) == "engineer and planner"
    assert in_words([]) == ""


def test_every_role_lands_on_its_own_answer():
    assert set(TURNS_TO) == set(RoleName.values)
    assert {role: landing([role]) for role in TURNS_TO} == {
        "technician": "my-work",
        "inspector": "my-work",
        "planner": "due",
        "engineer": "due",
        "manager": "put-off",
        "auditor": "record",
    }
    assert landing([]) == "assets"


def test_a_person_of_several_roles_is_offered_each_sheet_once():
    names = sheets_for(["technician", "manager", "auditor"])
    assert len(names) == len(set(names))
    assert set(names) <= set(WORDS)
    assert names[0] == "put-off"
