"""Open days against the standard library's calendar and dateutil's recurrence rules."""

from __future__ import annotations

import calendar
from datetime import date, timedelta

import numpy as np
import pytest
from dateutil import rrule
from hypothesis import given
from hypothesis import strategies as st

from engineering.errors import InputError
from schedules.duty.open_days import FIRST_DAY, LAST_DAY, Span, check_span, day_table, first_open_day, open_mask

days = st.dates(date(1900, 1, 1), date(2180, 1, 1))


@st.composite
def spans(draw):
    opens = draw(st.dates(date(2000, 1, 1), date(2000, 12, 31)))
    closes = draw(st.dates(date(2000, 1, 1), date(2000, 12, 31)))
    weekdays = draw(st.text("01", min_size=7, max_size=7).filter(lambda mask: "1" in mask))
    return Span(opens.month, opens.day, closes.month, closes.day, weekdays)


def open_by_the_calendar(span: Span, day: date) -> bool:
    opens, closes = (span.opens_month, span.opens_day), (span.closes_month, span.closes_day)
    here = (day.month, day.day)
    inside = opens <= here <= closes if opens <= closes else here >= opens or here <= closes
    return inside and span.weekdays[day.weekday()] == "1"


def test_the_day_table_is_the_standard_library_calendar_on_every_day_of_300_years():
    count = (LAST_DAY - FIRST_DAY).days + 1
    table = day_table(FIRST_DAY.toordinal(), count)
    expected = [FIRST_DAY + timedelta(k) for k in range(count)]
    assert table.day_of_year.tolist() == [day.month * 100 + day.day for day in expected]
    assert table.weekday.tolist() == [day.weekday() for day in expected]
    assert int((table.day_of_year == 229).sum()) == calendar.leapdays(1900, 2200)


@given(span=spans(), first=days)
def test_a_span_opens_the_days_that_the_calendar_says(span, first):
    mask = open_mask([span], first.toordinal(), 800)
    assert mask.tolist() == [open_by_the_calendar(span, first + timedelta(k)) for k in range(800)]


def test_a_summer_of_weekends_is_the_recurrence_that_dateutil_lists():
    first, last = date(2026, 1, 1), date(2029, 12, 31)
    rule = rrule.rrule(
        rrule.DAILY, dtstart=first, until=last, bymonth=(4, 5, 6, 7, 8, 9, 10), byweekday=(rrule.SA, rrule.SU)
    )
    mask = open_mask([Span(4, 1, 10, 31, "0000011")], first.toordinal(), (last - first).days + 1)
    assert [first + timedelta(int(k)) for k in np.flatnonzero(mask)] == [day.date() for day in rule]


def test_no_season_means_every_day():
    assert open_mask([], date(2026, 1, 1).toordinal(), 365).all()


def test_several_seasons_add_up():
    first = date(2026, 1, 1).toordinal()
    both = open_mask([Span(3, 1, 11, 15, "0000111"), Span(7, 1, 8, 31)], first, 365)
    assert both[date(2026, 7, 6).toordinal() - first]  # a Monday in high season
    assert not both[date(2026, 6, 1).toordinal() - first]  # a Monday before it


def test_a_span_to_29_february_closes_on_the_28th_in_other_years():
    span = Span(1, 1, 2, 29)
    for year, last in ((2026, date(2026, 2, 28)), (2028, date(2028, 2, 29))):
        mask = open_mask([span], date(year, 1, 1).toordinal(), 90)
        assert date(year, 1, 1) + timedelta(int(np.flatnonzero(mask)[-1])) == last


@pytest.mark.parametrize(
    ("span", "field"),
    [
        (Span(6, 31, 8, 1), "opens_day"),
        (Span(6, 1, 13, 1), "closes_day"),
        (Span(6, 1, 8, 1, "11111"), "weekdays"),
        (Span(6, 1, 8, 1, "0000000"), "weekdays"),
        (Span(6, 1, 8, 1, "111111x"), "weekdays"),
    ],
)
def test_a_span_that_is_no_span_names_its_field(span, field):
    with pytest.raises(InputError) as refused:
        check_span(span)
    assert refused.value.argument == field


def test_days_beyond_the_table_are_refused():
    with pytest.raises(InputError):
        open_mask([Span(1, 1, 2, 1)], date(2199, 12, 31).toordinal(), 2)


def test_the_first_open_day_is_found_over_a_winter():
    found = first_open_day([Span(4, 1, 10, 31)], date(2026, 10, 31).toordinal())
    assert date.fromordinal(found) == date(2027, 4, 1)
