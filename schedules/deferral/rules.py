"""What may be put off and until when, and how a backlog is summed up. Pure: today is an argument."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import pairwise

NEVER = ("repair before use", "hold now")  # severities that cannot be put off
LONGEST_MONTHS = 12  # where no figure bounds it, as for an engineer's assessment: common practice, no source
SOON_DAYS = 14  # a deferral about to end: common practice, no source

# Days since the work was due; common practice, no source.
AGE_EDGES = (30, 90, 180, 365)

# Facility condition index = cost of put-off work / replacement value, per cent; edges of good, fair, poor, critical.
# Bands differ by owner: the setting FCI_BAND_EDGES replaces them. An inverse scale (100 is best) exists; not used here.
FCI_EDGES = (5.0, 10.0, 30.0)
FCI_WORDS = ("good", "fair", "poor", "critical")


@dataclass(frozen=True)
class Bound:
    """A day beyond which work may not be put off, and why."""

    on: date
    why: str


def earliest(bounds: Iterable[Bound]) -> Bound | None:
    """The bound that comes first; None where nothing is known that bounds it."""
    return min(bounds, key=lambda bound: bound.on, default=None)


@dataclass(frozen=True)
class AgeBand:
    """Work put off or overdue for so many days: how much, of which signed for, and its known cost."""

    words: str
    signed: int = 0
    silent: int = 0
    cost: Decimal = Decimal(0)
    unpriced: int = 0  # of them; the cost is *at least* the known one

    @property
    def count(self) -> int:
        return self.signed + self.silent


def band_words(edges: Sequence[int] = AGE_EDGES) -> list[str]:
    """``up to 30 days``, ``31 to 90 days``, ..., ``over 365 days``."""
    between = [f"{low + 1} to {high} days" for low, high in pairwise(edges)]
    return [f"up to {edges[0]} days", *between, f"over {edges[-1]} days"]


def age_bands(
    rows: Iterable[tuple[int, bool, Decimal | None]],
    edges: Sequence[int] = AGE_EDGES,
    *,
    without_order: Iterable[tuple[int, int]] = (),
) -> list[AgeBand]:
    """Rows of (days since due, signed for, cost) in bands. Days not yet past the due day count into the first.

    ``without_order``: (days since due, how many looks) that nobody signed for and nobody priced.
    """
    words = band_words(edges)
    signed, silent, unpriced = [0] * len(words), [0] * len(words), [0] * len(words)
    cost = [Decimal(0)] * len(words)
    for days, is_signed, each in rows:
        place = sum(days > edge for edge in edges)
        signed[place] += is_signed
        silent[place] += not is_signed
        cost[place] += each or 0
        unpriced[place] += each is None
    for days, looks in without_order:
        place = sum(days > edge for edge in edges)
        silent[place] += looks
        unpriced[place] += looks
    return [AgeBand(*band) for band in zip(words, signed, silent, cost, unpriced, strict=True)]


@dataclass(frozen=True)
class ConditionIndex:
    """Facility condition index of one currency.

    Attributes:
        currency: of cost and value.
        cost: known cost of put-off work; value: replacement value of the assets whose value is known.
        unpriced: works without a cost, so that the index is *at least* this.
        unvalued: assets without a replacement value: the index is of the others.
    """

    currency: str
    cost: Decimal
    value: Decimal
    unpriced: int = 0
    unvalued: int = 0

    @property
    def per_cent(self) -> float | None:
        """Cost over value, %; None where no value is known."""
        return float(self.cost / self.value * 100) if self.value else None

    def band(self, edges: Sequence[float] = FCI_EDGES) -> str:
        """``good``, ``fair``, ``poor``, ``critical``; an index on an edge counts as the worse. Empty: not known."""
        if self.per_cent is None:
            return ""
        return FCI_WORDS[sum(self.per_cent >= edge for edge in edges)]


def month_before(today: date) -> date:
    """The same day of the month before, or its last day."""
    year, month = (today.year, today.month - 1) if today.month > 1 else (today.year - 1, 12)
    day = today.day
    while True:
        try:
            return date(year, month, day)
        except ValueError:
            day -= 1


def has_lapsed(state: str, ends_on: date, today: date) -> bool:
    """Whether a deferral's end has passed while the work is not done. Its last day still counts."""
    return state == "standing" and ends_on < today
