"""The duty line: closed seasons, the sentences that say the same, and what is drawn without a rate."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.duty.drawing import DutyLine, _nice, closed_runs, draw
from schedules.duty.open_days import Span

TODAY = date(2026, 6, 15)
SUMMER = [Span(4, 1, 10, 31)]


def line(**more):
    given = {
        "readings": [(date(2025, 6, 1), 1000.0), (date(2026, 6, 1), 24_000.0)],
        "as_of": date(2026, 6, 1),
        "middle": np.linspace(0, 36_500, 366),
        "early": np.linspace(0, 45_000, 366),
        "spans": SUMMER,
        "today": TODAY,
        "unit": "operating cycles",
        "silent": False,
    }
    return DutyLine(**{**given, **more})


def test_a_winter_is_one_closed_run_and_weekdays_are_none():
    assert closed_runs(SUMMER, date(2025, 6, 1), date(2026, 6, 1)) == [(date(2025, 11, 1), date(2026, 3, 31))]
    assert closed_runs([Span(1, 1, 12, 31, "0000011")], date(2025, 6, 1), date(2026, 6, 1)) == []
    assert closed_runs([], date(2025, 6, 1), date(2026, 6, 1)) == []


def test_a_run_that_reaches_the_edge_is_cut_there():
    assert closed_runs(SUMMER, date(2026, 2, 1), date(2026, 11, 20)) == [
        (date(2026, 2, 1), date(2026, 3, 31)),
        (date(2026, 11, 1), date(2026, 11, 20)),
    ]


def test_the_words_say_what_the_line_shows():
    words = draw(line(), "cycles").words
    assert words[0] == "Last read 1 June 2026: 24\u202f000 operating cycles in all"
    assert words[1] == "By 1 June 2027: 60\u202f500 expected, 69\u202f000 on the early side"
    assert "Closed 1 November 2025 to 31 March 2026" in words


def test_a_silent_counter_says_so():
    assert "at its busiest rate" in draw(line(silent=True), "cycles").words[1]


@pytest.mark.parametrize("narrow", [True, False])
@pytest.mark.parametrize(
    "more",
    [
        {},
        {"middle": None, "early": None},
        {"readings": [], "middle": None, "early": None},
        {"readings": [(TODAY, 0.0)], "as_of": TODAY, "middle": None, "early": None},
        {"readings": [(TODAY - timedelta(4000), 5.0)], "as_of": TODAY - timedelta(4000), "middle": None, "early": None},
    ],
)
def test_whatever_is_known_can_be_drawn(more, narrow):
    drawing = draw(line(**more), 'cycles of <R-01> "wheel"', narrow=narrow)
    assert drawing.svg.startswith("<svg")
    assert "<R-01>" not in drawing.svg
    assert "nan" not in drawing.svg
    given = line(**more)
    expected = (
        "on the early side" if given.middle is not None else "nothing is forecast" if given.readings else "No reading"
    )
    assert expected in " ".join(drawing.words)


@given(st.floats(1e-6, 1e12))
def test_a_step_of_the_scale_is_at_least_what_is_asked_and_under_two_and_a_half_times(rough):
    assert rough * (1 - 1e-6) <= _nice(rough) <= rough * 2.5 * (1 + 1e-6)
