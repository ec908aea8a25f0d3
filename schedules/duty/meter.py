"""What a meter's figure means for the running total: rollover, exchange, and what is refused. Pure."""

from __future__ import annotations

import math
from datetime import datetime
from typing import NamedTuple

from assets_app.refusals import Unprocessable
from engineering.figures import grouped

JUMP = 5.0  # times the busiest rate: beyond, a reading must be confirmed (common practice, no source)


class Shown(NamedTuple):
    """One stored reading. ``closing`` is what the old meter showed last, at an exchange."""

    at: datetime
    day: str  # on the site's clock, as people read it
    value: float
    total: float
    closing: float | None = None

    @property
    def arriving(self) -> float:
        """What stood on the meter that was read up to this moment."""
        return self.value if self.closing is None else self.closing


class Bounds(NamedTuple):
    """What the counter allows. ``likely`` is the greatest count since the reading before that needs no confirmation."""

    rolls_over_at: float | None
    likely: float | None


def figure(value: float) -> str:
    """A reading as people read it."""
    return grouped(value, ".10g")


def check_value(value: float, rolls_over_at: float | None, *, field: str = "value") -> None:
    """Refuse what no meter shows: not a number, negative, or beyond the rollover."""
    if not math.isfinite(value) or value < 0:
        raise Unprocessable("reading_not_a_count", "A reading is a number, 0 or more.", field=field)
    if rolls_over_at is not None and value >= rolls_over_at:
        raise Unprocessable(
            "reading_beyond_meter",
            f"This meter shows 0 again at {figure(rolls_over_at)}; it cannot show more.",
            field=field,
        )


def total_of(
    value: float,
    *,
    before: Shown | None,
    after: Shown | None,
    bounds: Bounds,
    confirmed: bool = False,
    field: str = "value",
) -> float:
    """Total since commissioning at a reading of ``value`` between two stored ones.

    The first reading of all counts from a meter at 0. Lower than the one before is a rollover where the meter rolls
    over and the count since is likely (or confirmed), else ``reading_runs_backwards``. More than the one after it is
    ``reading_above_later``; a count beyond ``bounds.likely`` is ``reading_jumps`` unless confirmed.
    """
    check_value(value, bounds.rolls_over_at, field=field)
    if before is None:
        total = value if after is None else after.total - (after.arriving - value)
        _check_after(value, total, after, field)
        if total < 0:
            raise Unprocessable(
                "reading_before_zero", "That would put the count below 0 at commissioning.", field=field
            )
        return total
    counted = value - before.value
    if counted < 0:
        counted = _rolled_over(value, before, bounds, confirmed, field)
    elif bounds.likely is not None and counted > bounds.likely and not confirmed:
        raise Unprocessable(
            "reading_jumps",
            f"{figure(value)} is {figure(counted)} more than on {before.day} ({figure(before.value)}); at the busiest "
            f"rate seen it would be {grouped(bounds.likely / JUMP, '.4g')}. Look at the meter again; if it is right, "
            "confirm it.",
            field=field,
            previous_value=before.value,
            previous_day=before.day,
        )
    total = before.total + counted
    _check_after(value, total, after, field)
    return total


def _rolled_over(value: float, before: Shown, bounds: Bounds, confirmed: bool, field: str) -> float:
    if bounds.rolls_over_at is not None:
        counted = bounds.rolls_over_at - before.value + value
        likely = bounds.likely if bounds.likely is not None else bounds.rolls_over_at / 2
        if confirmed or counted <= likely:
            return counted
    hint = "" if bounds.rolls_over_at is None else "If it rolled over and the figure is right, confirm it. "
    raise Unprocessable(
        "reading_runs_backwards",
        f"{figure(value)} is less than the {figure(before.value)} read on {before.day}. Look at the meter again. "
        f"{hint}If the meter was exchanged, enter the exchange; if the earlier reading is wrong, withdraw it first.",
        field=field,
        previous_value=before.value,
        previous_day=before.day,
    )


def _check_after(value: float, total: float, after: Shown | None, field: str) -> None:
    if after is not None and total > after.total:
        raise Unprocessable(
            "reading_above_later",
            f"{figure(value)} is more than the {figure(after.arriving)} read later, on {after.day}. Check the figure "
            "and the day; if the later reading is wrong, withdraw it first.",
            field=field,
            later_value=after.arriving,
            later_day=after.day,
        )
