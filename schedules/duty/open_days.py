"""Which days an asset operates. Pure: days are ordinals (``date.toordinal()``) on the site's clock."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from engineering.errors import InputError

FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2199, 12, 31)
_LEAP_YEAR = 2000


class Span(NamedTuple):
    """One season: open from one day of the year to another (both included), on some weekdays.

    A span whose opening lies after its close runs over the new year. A span that opens or closes on 29 February
    does so on 1 March or 28 February in other years.

    Attributes:
        opens_month, opens_day, closes_month, closes_day: days of the year.
        weekdays: seven characters, Monday first; 1 open, 0 closed.
    """

    opens_month: int
    opens_day: int
    closes_month: int
    closes_day: int
    weekdays: str = "1111111"


class DayTable(NamedTuple):
    """Calendar of every day from 1900 to 2199, so that a forecast only slices."""

    day_of_year: NDArray[np.int16]  # month x 100 + day
    weekday: NDArray[np.int8]  # Monday 0
    month: NDArray[np.int8]  # January 0


@cache
def _calendar() -> DayTable:
    days = np.arange(np.datetime64(FIRST_DAY), np.datetime64(LAST_DAY) + 1)
    months = days.astype("M8[M]")
    month = months.astype(np.int64) % 12
    day = (days - months).astype(np.int64) + 1
    weekday = (days.astype(np.int64) + 3) % 7  # 1970-01-01 was a Thursday
    return DayTable(((month + 1) * 100 + day).astype(np.int16), weekday.astype(np.int8), month.astype(np.int8))


def day_table(first: int, count: int) -> DayTable:
    """``count`` days from ordinal ``first`` on. Outside 1900 to 2199 raises ``InputError``."""
    start = first - FIRST_DAY.toordinal()
    if start < 0 or first + count - 1 > LAST_DAY.toordinal():
        raise InputError("day", "must lie between 1900 and 2199")
    return DayTable(*(column[start : start + count] for column in _calendar()))


def check_span(span: Span) -> Span:
    """``span`` itself, or ``InputError`` naming the field that is no day of any year or no weekday mask."""
    for name, month, day in (
        ("opens_day", span.opens_month, span.opens_day),
        ("closes_day", span.closes_month, span.closes_day),
    ):
        try:
            date(_LEAP_YEAR, month, day)
        except ValueError as error:
            raise InputError(name, f"there is no day {day} in month {month}") from error
    if len(span.weekdays) != 7 or set(span.weekdays) - {"0", "1"}:
        raise InputError("weekdays", "needs seven characters, Monday first: 1 for open, 0 for closed")
    if "1" not in span.weekdays:
        raise InputError("weekdays", "needs at least one open weekday; retire the asset if it never runs")
    return span


def open_mask(spans: Sequence[Span], first: int, count: int) -> NDArray[np.bool_]:
    """Whether each of ``count`` days from ordinal ``first`` on is open. No span at all means every day.

    Several spans add up: a day is open when any of them opens it.
    """
    if not spans:
        return np.ones(count, dtype=np.bool_)
    table = day_table(first, count)
    mask = np.zeros(count, dtype=np.bool_)
    for span in spans:
        opens = span.opens_month * 100 + span.opens_day
        closes = span.closes_month * 100 + span.closes_day
        after, before = table.day_of_year >= opens, table.day_of_year <= closes
        inside = (after & before) if opens <= closes else (after | before)
        if "0" in span.weekdays:
            inside = inside & np.array([mark == "1" for mark in span.weekdays])[table.weekday]
        mask |= inside
    return mask


def first_open_day(spans: Sequence[Span], after: int) -> int | None:
    """Ordinal of the first open day after ordinal ``after``; None when none opens within four years."""
    found = np.flatnonzero(open_mask(spans, after + 1, 4 * 366))
    return after + 1 + int(found[0]) if found.size else None
