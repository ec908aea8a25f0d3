"""The life line: time in order, the wedge to scale, overdue and unrated said as plainly as drawn."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.due.life_data import closed_spans
from schedules.due.life_line import LifeLine, Look, Size, Stake, Window, life_line, life_words, small_life_line
from schedules.due.time_axis import axis, ticks
from schedules.duty.open_days import Span

TODAY = date(2026, 6, 15)
SVG = "{http://www.w3.org/2000/svg}"
WINDOW = Window(date(2026, 4, 10), date(2027, 4, 1), 2.0, 10.0)
RATED = LifeLine(
    TODAY,
    date(2015, 4, 1),
    "MT",
    [Look(date(2026, 4, 10), "MT", False)],
    window=WINDOW,
    due=Stake(date(2026, 8, 9), "growth window"),
    next=Stake(date(2027, 4, 10), "calendar"),
)


def texts(drawing) -> list[str]:
    return [e.text or "" for e in ET.fromstring(drawing.svg).iter(f"{SVG}text")]


def of(drawing, look: str) -> list[ET.Element]:
    return [e for e in ET.fromstring(drawing.svg).iter() if look in e.get("class", "").split()]


def run(element: ET.Element) -> list[tuple[float, float]]:
    numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", element.get("d", ""))]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


days = st.dates(date(1960, 1, 1), date(2100, 1, 1))


@given(st.lists(days, min_size=3, max_size=3), st.lists(days, min_size=2, max_size=8))
def test_a_later_day_never_stands_to_the_left(ends, shown):
    first, near, last = sorted(ends)
    line = axis(first, near, last, left=10, right=950)
    places = [line.x(day) for day in sorted(shown)]
    assert places == sorted(places)
    assert all(10 <= x <= 950.001 for x in places)


@given(st.lists(days, min_size=3, max_size=3))
def test_ticks_are_in_order_and_leave_room_for_their_words(ends):
    first, near, last = sorted(ends)
    line = axis(first, near, last, left=10, right=950)
    places = [line.x(day) for day, _ in ticks(line)]
    assert all(b - a >= 40 for a, b in pairwise(places))


def test_a_long_past_is_broken_off_and_a_short_one_is_not():
    assert axis(date(1990, 1, 1), date(2026, 1, 1), date(2027, 1, 1), left=0, right=900).broken_at is not None
    assert axis(date(2025, 6, 1), date(2026, 1, 1), date(2027, 1, 1), left=0, right=900).broken_at is None


def test_the_wedge_opens_at_what_the_method_finds_and_ends_at_critical():
    wedge = run(of(life_line(RATED), "window")[0])
    ground, opening, ending = wedge[0][1], wedge[1][1], wedge[-2][1]
    assert (ground - opening) / (ground - ending) == pytest.approx(WINDOW.detectable_mm / WINDOW.critical_mm, rel=0.02)
    assert {"MT finds 2 mm", "critical 10 mm"} <= set(texts(life_line(RATED)))


def test_the_flag_stands_on_its_limit_and_the_next_behind_it():
    assert "due 9 Aug 2026: growth window" in texts(life_line(RATED))
    assert "then calendar 10 Apr 2027" in texts(life_line(RATED))
    assert life_words(RATED)[0] == "Due 9 Aug 2026, growth window governs"


def test_overdue_is_said_with_its_days_and_drawn_up_to_today():
    late = LifeLine(TODAY, date(2020, 1, 1), "VT", due=Stake(date(2026, 6, 3), "calendar"))
    drawing = life_line(late)
    assert any("overdue by 12 days" in text for text in texts(drawing))
    bar = of(drawing, "bar")[0]
    plumb = of(drawing, "plumb")[0]
    assert float(bar.get("x2")) == float(plumb.get("x1"))
    assert drawing.words[0].startswith("Overdue by 12 days")


def test_an_unrated_joint_has_no_wedge_and_says_what_is_missing():
    unrated = LifeLine(TODAY, date(2020, 1, 1), "MT", missing="stress spectrum not known")
    for drawing in (life_line(unrated), life_line(unrated, narrow=True), small_life_line(unrated)):
        assert not of(drawing, "window")
        assert any("Unrated: stress spectrum not known" in line for line in drawing.words)
    assert "unrated: stress spectrum not known" in " ".join(texts(life_line(unrated)))
    assert of(small_life_line(unrated), "guess")


def test_a_method_that_finds_nothing_below_critical_draws_no_window():
    blind = LifeLine(TODAY, None, "VT", window=Window(TODAY, TODAY, 12.0, 6.0), unprotected=True)
    assert not of(life_line(blind), "window")
    assert "not protected" in " ".join(texts(life_line(blind)))


def test_a_look_with_a_finding_is_solid_and_one_without_is_hollow():
    life = LifeLine(TODAY, None, "MT", [Look(date(2025, 1, 1), "MT", True), Look(date(2026, 1, 1), "MT", False)])
    drawing = life_line(life)
    discs = [e for e in of(drawing, "solid") if e.tag.endswith("circle")]
    assert len(discs) == 1
    assert len(of(drawing, "hollow")) == 1


def test_no_looks_no_dates_nothing_known_still_draws():
    for drawing in (life_line(LifeLine(TODAY)), small_life_line(LifeLine(TODAY))):
        ET.fromstring(drawing.svg)
        assert drawing.words == ["No due date", "No look recorded"]


maybe_day = st.none() | days


@given(
    born=maybe_day,
    due=maybe_day,
    then=maybe_day,
    looks=st.lists(days, max_size=6),
    sizes=st.lists(st.tuples(days, st.floats(0.1, 200)), max_size=4),
    narrow=st.booleans(),
)
def test_any_history_draws_within_the_paper(born, due, then, looks, sizes, narrow):
    life = LifeLine(
        TODAY,
        born,
        "UT",
        [Look(day, "UT", False) for day in looks],
        [Size(day, size) for day, size in sizes],
        window=WINDOW,
        due=Stake(due, "duty") if due else None,
        next=Stake(then, "calendar") if then else None,
    )
    drawing = life_line(life, name="J", narrow=narrow)
    root = ET.fromstring(drawing.svg)
    width = float(root.get("viewBox").split()[2])
    xs = [float(e.get(name)) for e in root.iter(f"{SVG}line") for name in ("x1", "x2")]
    assert all(-9 <= x <= width + 9 for x in xs)
    ET.fromstring(small_life_line(life).svg)


def test_the_small_one_fits_a_table_row():
    root = ET.fromstring(small_life_line(RATED).svg)
    assert root.get("viewBox") == "0 0 120 24"
    assert root.get("role") == "img"
    assert "Due 9 Aug 2026" in root.get("aria-label")


def test_winter_is_closed_and_weekdays_off_are_not_a_season():
    summer = [Span(3, 14, 11, 1, "0000011")]
    assert closed_spans(summer, date(2025, 6, 1), date(2026, 6, 1)) == [(date(2025, 11, 2), date(2026, 3, 13))]
    assert closed_spans([], date(2025, 1, 1), date(2026, 1, 1)) == []


def test_a_season_over_the_new_year_closes_in_summer():
    winter = [Span(11, 1, 2, 28)]
    spans = closed_spans(winter, date(2025, 1, 1), date(2025, 12, 31))
    assert spans == [(date(2025, 3, 1), date(2025, 10, 31))]
    assert all(last - first > timedelta(days=14) for first, last in spans)
