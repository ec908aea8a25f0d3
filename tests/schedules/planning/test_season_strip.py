"""The season strip: work against hands, overdue at the left edge, what is not known said."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.planning.season_strip import Season, Week, season_strip, strip_words

MONDAY = date(2026, 6, 15)
SVG = "{http://www.w3.org/2000/svg}"


def weeks(owed, hands=None, closed=0.0):
    return [Week(MONDAY + timedelta(weeks=k), float(o), int(o), hands, closed) for k, o in enumerate(owed)]


def rects(drawing, look):
    return [e for e in ET.fromstring(drawing.svg).iter(f"{SVG}rect") if look in e.get("class").split()]


@pytest.mark.parametrize("narrow", [False, True])
def test_overdue_stands_left_of_every_week(narrow):
    drawing = season_strip(Season(weeks([3] * 53), 7, 7.0, unit="looks"), narrow=narrow)
    stack = rects(drawing, "heavy")[0]
    right = float(stack.get("x")) + float(stack.get("width"))
    assert all(right < float(bar.get("x")) for bar in rects(drawing, "owed"))


def test_bars_are_as_high_as_the_work_they_stand_for():
    drawing = season_strip(Season(weeks([2, 4, 8])))
    heights = [float(bar.get("height")) for bar in rects(drawing, "owed")]
    assert heights[1] / heights[0] == pytest.approx(2, rel=0.02)
    assert heights[2] / heights[0] == pytest.approx(4, rel=0.02)


def test_a_week_with_more_work_than_hands_shows_the_rest_apart_and_names_the_worst():
    season = Season(weeks([4, 10, 6], hands=5.0))
    over = [bar for bar in rects(season_strip(season), "short") if float(bar.get("height")) > 0]
    assert len(over) == 2
    assert any("2 of 3 weeks" in line and "22 Jun 2026: 10 h owed, 5 there" in line for line in strip_words(season))


def test_unknown_hands_are_said_and_never_drawn_as_enough():
    season = Season(weeks([4, 10, 6]))
    assert any("Hands are not known" in line for line in strip_words(season))
    assert 'class="hands"' not in season_strip(season).svg


def test_a_closed_season_is_hatched_and_said():
    season = Season(weeks([1, 1], closed=1.0))
    assert 'class="hatch"' in season_strip(season).svg
    assert any("Closed season from the week of 15 Jun 2026" in line for line in strip_words(season))
    assert 'class="hatch"' not in season_strip(Season(weeks([1, 1]))).svg


def test_nothing_overdue_is_said_too():
    assert strip_words(Season(weeks([0, 0])))[0] == "Nothing is overdue"


@given(st.lists(st.floats(0, 1e6), max_size=53), st.integers(0, 10**6), st.none() | st.floats(0, 1e5))
def test_any_load_stays_on_the_paper(owed, overdue, hands):
    drawing = season_strip(Season(weeks(owed, hands), overdue, float(overdue)))
    for bar in ET.fromstring(drawing.svg).iter(f"{SVG}rect"):
        assert 0 <= float(bar.get("y")) <= 150
        assert float(bar.get("y")) + float(bar.get("height")) <= 150


@pytest.mark.parametrize("narrow", [False, True])
def test_what_was_counted_no_further_is_said_and_gives_no_scale(narrow):
    full = [Week(MONDAY + timedelta(weeks=k), 100.0, 100, more=k < 2) for k in range(4)]
    season = Season(full, 1000, 1000.0, unit="looks", more_overdue=True)
    drawing = season_strip(season, narrow=narrow)
    assert "1000+" in drawing.svg
    assert "100 looks a week" in drawing.svg
    words = strip_words(season)
    assert words[0] == "More than 1\u202f000 overdue"
    assert words[1] == "More than 400 looks owed in the next 4 weeks"
    assert "A week is counted up to 100 looks; 2 of 4 weeks owe more" in words
    for bar in rects(drawing, "heavy"):
        assert float(bar.get("y")) >= 0
