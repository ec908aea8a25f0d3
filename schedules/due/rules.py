"""From limits to due dates: pure, on numpy arrays, one element a programme (joint and method).

Days are proleptic ordinals (``date.toordinal``) in int32; ``NO_DAY`` means that the limit gives none. Counts are totals
of the asset's primary counter since commissioning. A count becomes a day through the counter's own curve: its readings
so far, then its forecast. **The early forecast gives the due date**; the middle one is shown beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from schedules.due.models import Limit

Days = NDArray[np.int32]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

NO_DAY = np.int32(2**30)
HORIZON_DAYS = 366 * 40  # a limit further off than this gives no day
LIMITS: tuple[str, ...] = tuple(limit.value for limit in Limit)  # the order in which equal days are named
MEASURED_IN_COUNTS = ("duty", "damage", "growth window")


@dataclass(frozen=True)
class CounterCurve:
    """One counter's total by the end of each day: element k belongs to day ``first_day + k``.

    Up to the last reading both curves are the readings; after it ``early`` runs ahead of ``middle``.
    """

    first_day: int
    read_to: int  # day of the last reading
    middle: Floats
    early: Floats

    def day_of(self, totals: Floats, *, early: bool) -> Days:
        """First day by whose end each total is reached; ``NO_DAY`` where the horizon does not reach it or it is NaN."""
        curve = self.early if early else self.middle
        place = np.searchsorted(curve, totals, side="left")
        reached = (place < len(curve)) & ~np.isnan(totals)
        return np.where(reached, self.first_day + place, NO_DAY).astype(np.int32)

    def total_on(self, days: Days) -> Floats:
        """Expected total by the end of each day; 0 before the first; NaN for ``NO_DAY`` or beyond the horizon."""
        place = days.astype(np.int64) - self.first_day
        inside = np.clip(place, 0, len(self.middle) - 1)
        total = np.where(place < 0, 0.0, self.middle[inside])
        return np.where(place >= len(self.middle), np.nan, total)

    def total_at_look(self, days: Days) -> Floats:
        """Total at the start of each day, as a look on that day counts from it; never more than the last reading says.

        The low side: what is counted since a look is then never too little.
        """
        place = np.minimum(days.astype(np.int64) - 1, self.read_to) - self.first_day
        return np.where(place < 0, 0.0, self.middle[np.clip(place, 0, len(self.middle) - 1)])

    def most_by(self, days: Days) -> Floats:
        """The most that the counter can have shown by the end of each day, by the early forecast."""
        place = days.astype(np.int64) - self.first_day
        return self.early[np.clip(place, 0, len(self.early) - 1)]


@dataclass(frozen=True)
class Owed:
    """What the due dates of n programmes are computed from. NaN: not known; ``NO_DAY``: none."""

    commissioned: Days
    installed: Days  # of a joint younger than its asset; ``NO_DAY``: with the asset
    last_look: Days
    last_look_total: Floats  # NaN: taken from the curve on the day of the look
    calendar_months: NDArray[np.int32]  # 0: none
    duty_count: Floats
    damage_per_count: Floats
    damage_share: Floats
    damage_applies: Flags  # this method answers the first detailed look
    damage_excused_until: Days  # an engineer's assessment of a used-up life
    window_count: Floats
    looks: NDArray[np.int32]
    rating_missing: Flags
    needs_counter: Flags  # some limit is measured in counts
    counter: NDArray[np.int32]  # index into the curves; -1: no curve
    finding: Days
    sweep: Days
    sweep_total: Floats
    load_change: Days
    load_change_total: Floats
    after_work: Days
    after_work_total: Floats
    fixed: Days
    fixed_total: Floats
    measured_growth_total: Floats
    impossible: Flags  # a figure cannot be right: nothing is computed from it, and a look is owed today
    today: int  # the day the dates are computed for


@dataclass(frozen=True)
class Due:
    """Due dates of n programmes: each limit's own day, the earliest, what governs and what comes next."""

    on: dict[str, Days]  # by limit, early forecast
    due: Days
    middle: Days
    governing: NDArray[np.int8]  # index into LIMITS; -1: none
    next_limit: NDArray[np.int8]
    next_on: Days
    unrated: Flags


def due_dates(owed: Owed, curves: list[CounterCurve]) -> Due:
    """The due dates of all programmes. Same input, same output; the clock is not asked."""
    early = _days_by_limit(owed, curves, early=True)
    middle = _days_by_limit(owed, curves, early=False)
    stacked = np.stack([early[limit] for limit in LIMITS])
    first = stacked.argmin(axis=0)  # ties go to the limit named first
    due = stacked.min(axis=0)
    rest = stacked.copy()
    np.put_along_axis(rest, first[None, :], NO_DAY, axis=0)
    second, next_on = rest.argmin(axis=0), rest.min(axis=0)
    return Due(
        on=early,
        due=due,
        middle=np.stack([middle[limit] for limit in LIMITS]).min(axis=0),
        governing=np.where(due < NO_DAY, first, -1).astype(np.int8),
        next_limit=np.where(next_on < NO_DAY, second, -1).astype(np.int8),
        next_on=next_on,
        unrated=owed.rating_missing | (owed.needs_counter & (owed.counter < 0)),
    )


def calendar_days(owed: Owed) -> Days:
    """Last look (else commissioning) plus the longest time allowed, in calendar months; today where neither is known.

    The day of the month is kept, or the month's last day where the month has no such day (31 January + 1 month = 28 or
    29 February), as calendar arithmetic is commonly done. A look of a day that has not come counts as of today.
    """
    base = np.where(owed.last_look < NO_DAY, np.minimum(owed.last_look, owed.today), owed.commissioned)
    given = owed.calendar_months != 0  # below 0: what stands there is no time at all, and none is allowed
    known = given & (base < NO_DAY)
    days = add_months(np.where(known, base, 1), np.where(known, np.maximum(owed.calendar_months, 0), 0))
    return np.where(known, days, np.where(given, owed.today, NO_DAY)).astype(np.int32)


def add_months(days: Days, months: NDArray[np.int32]) -> Days:
    """Ordinals ``months`` calendar months later."""
    epoch = date(1970, 1, 1).toordinal()
    moments = (days.astype(np.int64) - epoch).astype("datetime64[D]")
    month = moments.astype("datetime64[M]")
    day_of_month = (moments - month.astype("datetime64[D]")).astype(np.int64)
    target = month + months.astype(np.int64)
    length = ((target + 1).astype("datetime64[D]") - target.astype("datetime64[D]")).astype(np.int64)
    result = target.astype("datetime64[D]").astype(np.int64) + np.minimum(day_of_month, length - 1)
    return (result + epoch).astype(np.int32)


def count_targets(owed: Owed, look_total: Floats, born_total: Floats) -> dict[str, Floats]:
    """The counter total at which each limit measured in counts falls due; NaN where it does not apply.

    ``look_total`` is the total at the last look; where there was none it is ``born_total``, the total when the joint
    was made: an unseen joint counts from its first day.
    """
    first_look = _first_look(owed, born_total)
    with np.errstate(divide="ignore", invalid="ignore"):
        used_up = born_total + 1.0 / owed.damage_per_count
    looked = look_total >= first_look
    damage = np.where(looked, used_up, first_look)
    damage = np.where(owed.damage_applies & np.isfinite(damage), damage, np.nan)
    return {
        "duty": look_total + owed.duty_count,
        "damage": damage,
        "growth window": look_total + owed.window_count / owed.looks,
    }


def _first_look(owed: Owed, born_total: Floats) -> Floats:
    """The total at which the first detailed look is owed."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return born_total + owed.damage_share / owed.damage_per_count


def _days_by_limit(owed: Owed, curves: list[CounterCurve], *, early: bool) -> dict[str, Days]:
    targets: dict[str, Floats] = {
        "measured growth": owed.measured_growth_total,
        "sweep": owed.sweep_total,
        "load change": owed.load_change_total,
        "after work": owed.after_work_total,
        "fixed": owed.fixed_total,
    }
    born_total = born_totals(owed, curves)
    look_total = look_totals(owed, curves, born_total)
    targets |= count_targets(owed, look_total, born_total)
    days = {limit: _days_of_counts(owed.counter, curves, total, early=early) for limit, total in targets.items()}
    had_first_look = look_total >= _first_look(owed, born_total)
    days["damage"] = np.where(had_first_look, _excused(days["damage"], owed.damage_excused_until), days["damage"])
    for limit, on in (
        ("sweep", owed.sweep),
        ("load change", owed.load_change),
        ("after work", owed.after_work),
        ("fixed", owed.fixed),
    ):
        days[limit] = np.minimum(days[limit], on)
    days["damage"] = np.where(owed.impossible, np.minimum(days["damage"], owed.today), days["damage"])
    return days | {
        "calendar": calendar_days(owed),
        "finding": owed.finding,
    }


def _excused(on: Days, until: Days) -> Days:
    """A used-up life that an engineer let stand until a day falls due on that day, if that is later.

    Never the first look, which the engineer's word about the life does not replace.
    """
    return np.where((until < NO_DAY) & (on < NO_DAY), np.maximum(on, until), on).astype(np.int32)


def look_totals(owed: Owed, curves: list[CounterCurve], born_total: Floats) -> Floats:
    """Counter total at the last look; where none was made the total when the joint was made; where it was not noted,
    what the curve says of that day. A figure noted at the look is never taken for more than the counter can have shown
    by that evening: a slip of the pen would put off every look that is owed by count."""
    total = np.where(owed.last_look < NO_DAY, owed.last_look_total, born_total)
    for index, rows in _rows_by_counter(owed.counter, owed.last_look < NO_DAY):
        days, noted = owed.last_look[rows], total[rows]
        at_look = curves[index].total_at_look(days)
        total[rows] = np.where(np.isnan(noted), at_look, np.minimum(noted, curves[index].most_by(days)))
    return total


def born_totals(owed: Owed, curves: list[CounterCurve]) -> Floats:
    """Counter total when each joint was made: at the start of that day and never more than the last reading says, as
    for a look, so that too little is never counted since. 0 for a joint as old as its asset, NaN without a curve."""
    total = np.where(owed.installed < NO_DAY, np.nan, 0.0)
    for index, rows in _rows_by_counter(owed.counter, owed.installed < NO_DAY):
        total[rows] = curves[index].total_at_look(owed.installed[rows])
    return total


def totals_on(days: Days, counter: NDArray[np.int32], curves: list[CounterCurve]) -> Floats:
    """Counter totals by the end of given days; 0 for ``NO_DAY``, NaN where there is no curve."""
    total = np.where(days < NO_DAY, np.nan, 0.0)
    for index, rows in _rows_by_counter(counter, days < NO_DAY):
        total[rows] = curves[index].total_on(days[rows])
    return total


def _days_of_counts(counter: NDArray[np.int32], curves: list[CounterCurve], totals: Floats, *, early: bool) -> Days:
    days = np.full(len(totals), NO_DAY, dtype=np.int32)
    for index, rows in _rows_by_counter(counter, ~np.isnan(totals)):
        days[rows] = curves[index].day_of(totals[rows], early=early)
    return days


def _rows_by_counter(counter: NDArray[np.int32], wanted: Flags) -> list[tuple[int, NDArray[np.intp]]]:
    """The wanted rows of each counter; one sort instead of one scan a counter."""
    rows = np.flatnonzero(wanted & (counter >= 0))
    if not len(rows):
        return []
    rows = rows[np.argsort(counter[rows], kind="stable")]
    starts = np.flatnonzero(np.diff(counter[rows], prepend=-1))
    return [(int(counter[part[0]]), part) for part in np.split(rows, starts[1:])]
