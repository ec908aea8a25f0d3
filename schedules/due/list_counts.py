"""How many looks stand in the list, counted no further than anybody reads: one statement, one cost in any fleet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import connection

MOST = 1000  # a list longer than this is said to be longer, not counted to its end
MOST_A_WEEK = 100
LEFT_OUT = -100  # its place in the one statement; the stated counts have -1, -2, ... and the weeks 0, 1, ...


class Count(int):
    """A number of rows, counted up to ``most``; beyond that only *more* is known."""

    most: int

    def __new__(cls, value: int, most: int) -> Count:
        made = super().__new__(cls, min(value, most))
        made.most = most if value > most else 0
        return made

    @property
    def more(self) -> bool:
        """Whether there are more than the number says."""
        return self.most > 0

    def __str__(self) -> str:
        return f"more than {int(self)}" if self.more else str(int(self))


@dataclass(frozen=True)
class DueCounts:
    """How many looks are overdue, due in the coming weeks, unrated and unprotected; and due in each week.

    Beside them the assets whose recompute broke off.
    """

    overdue: Count
    soon: Count
    unrated: Count
    unprotected: Count
    unrated_undated: Count
    left_out: Count
    weeks: tuple[Count, ...]


_STATED = {
    "overdue": "due_on < {today}",
    "soon": "due_on >= {today} AND due_on <= {soon}",
    "unrated": "unrated",
    "unprotected": "unprotected",
    "unrated_undated": "unrated AND due_on IS NULL",
}


def due_counts(site_ids: Sequence[int], *, today: date, soon_weeks: int, weeks: int) -> DueCounts:
    """Stated above the list. Each count walks its own piece of an index and stops at ``MOST``, a week at
    ``MOST_A_WEEK``. The first week counts from today: what was due before is overdue.
    """
    if not site_ids:
        none = Count(0, MOST)
        return DueCounts(none, none, none, none, none, none, (none,) * weeks)
    sites = ", ".join(str(int(pk)) for pk in site_ids)
    # Days stand in the text itself: a hundred of them given beside it cost more than the counting.
    literal = "DATE '{}'".format if connection.vendor == "postgresql" else "'{}'".format
    days = {"today": literal(today), "soon": literal(today + timedelta(weeks=soon_weeks))}
    stated = [(-place, where.format(**days)) for place, where in enumerate(_STATED.values(), start=1)]
    counted = [f"SELECT {place}, {_count(sites, where, MOST)}" for place, where in stated]
    counted.append(f"SELECT {LEFT_OUT}, {_count(sites, 'TRUE', MOST, of='schedules_notcomputed')}")
    spans = enumerate(_spans(today, weeks))
    values = ", ".join(f"({k}, {literal(first)}, {literal(last)})" for k, (first, last) in spans)
    by_week = f"SELECT k, {_count(sites, 'due_on >= w.a AND due_on <= w.z', MOST_A_WEEK)} FROM w"  # noqa: S608
    with connection.cursor() as cursor:
        cursor.execute(f"WITH w(k, a, z) AS (VALUES {values}) {' UNION ALL '.join([by_week, *counted])}")
        found = dict(cursor.fetchall())
    counts = {name: Count(found[place], MOST) for name, (place, _) in zip(_STATED, stated, strict=True)}
    left_out = Count(found[LEFT_OUT], MOST)
    return DueCounts(**counts, left_out=left_out, weeks=tuple(Count(found[k], MOST_A_WEEK) for k in range(weeks)))


def _count(sites: str, where: str, most: int, *, of: str = "schedules_duedate") -> str:
    """SQL of a count that stops one row beyond ``most``; sites are numbers, ``where`` one of our own conditions."""
    rows = f"SELECT 1 FROM {of} WHERE site_id IN ({sites}) AND {where} LIMIT {most + 1}"  # noqa: S608
    return f"(SELECT COUNT(*) FROM ({rows}) counted)"  # noqa: S608


def _spans(today: date, weeks: int) -> list[tuple[date, date]]:
    """First and last day of each week, Monday to Sunday; the first begins today."""
    monday = today - timedelta(days=today.weekday())
    starts = [monday + timedelta(weeks=k) for k in range(weeks)]
    return [(max(start, today), start + timedelta(days=6)) for start in starts]
