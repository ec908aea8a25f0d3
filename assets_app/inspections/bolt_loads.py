"""What lost bolts do to the rest, when the loads on the group are not known. Pure."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from engineering import bolt_group, bolt_patterns
from engineering.errors import InputError

DIGITS = 9  # decimals of a rise: a sum that comes out at a step of the table is at that step
MOST_SUBSETS = 5  # beyond this many lost bolts nobody should wait for a sum: what remains counts as unable to carry


@dataclass(frozen=True)
class GroupFacts:
    """What the register knows of a bolt group; lengths mm, None or empty is not known."""

    bolt_count: int | None
    pattern: str = ""
    ring_diameter_mm: float | None = None
    rows: int | None = None
    row_pitch_mm: float | None = None
    column_pitch_mm: float | None = None
    positions: tuple[tuple[float, float], ...] = ()

    @classmethod
    def of(cls, group: Any) -> GroupFacts:
        """From a ``BoltGroup`` row."""
        return cls(
            bolt_count=group.bolt_count,
            pattern=group.pattern,
            ring_diameter_mm=group.ring_diameter_mm,
            rows=group.rows,
            row_pitch_mm=group.row_pitch_mm,
            column_pitch_mm=group.column_pitch_mm,
            positions=tuple((float(x), float(y)) for x, y in group.positions),
        )


def group_of(facts: GroupFacts) -> bolt_group.Group | None:
    """The group in its plane, or None where a figure is missing or the figures do not fit together."""
    count = facts.bolt_count
    try:
        if facts.pattern == "custom" and facts.positions and count in (None, len(facts.positions)):
            return bolt_group.Group(facts.positions)
        if facts.pattern == "ring" and count and facts.ring_diameter_mm:
            return bolt_patterns.ring(count, facts.ring_diameter_mm)
        if facts.pattern == "grid" and count and facts.rows and count % facts.rows == 0:
            columns = count // facts.rows
            x = facts.column_pitch_mm or (1.0 if columns == 1 else None)
            y = facts.row_pitch_mm or (1.0 if facts.rows == 1 else None)
            if x and y:
                return bolt_patterns.grid(columns, facts.rows, x, y)
    except InputError:
        return None
    return None


def rise(facts: GroupFacts, lost: Iterable[int]) -> float | None:
    """Worst load on a remaining bolt over that of the intact group, by the worst of some unit loads; None: not known.

    ``lost`` are bolt numbers from 1; a loose bolt counts as lost. The loads on the group are not known, so the worst of
    an overturning moment from any side, a central pull, a shear each way and a twist counts. Losing a further bolt can
    make the sum look better (a lopsided group turned even); no credit is given for that: the worst subset of the lost
    bolts counts. More than five lost: infinite.

    >>> round(rise(GroupFacts(bolt_count=12, pattern="ring", ring_diameter_mm=400), [1]), 2)
    1.3
    """
    numbers = sorted(set(lost))
    group = group_of(facts)
    if group is None or not numbers or numbers[-1] > len(group.state):
        return None
    if len(numbers) > MOST_SUBSETS:
        return math.inf
    # A group whose bolts stand on one line carries no moment across it even intact: such a case says nothing.
    cases = [case for case in UNIT_LOADS if case(group).could_carry]
    lost_sets = (subset for size in range(1, len(numbers) + 1) for subset in combinations(numbers, size))
    lessened = (group.with_lost(*(number - 1 for number in subset)) for subset in lost_sets)
    return round(max(case(rest).rise for rest in lessened for case in cases), DIGITS)


@dataclass(frozen=True)
class Loaded:
    """The group under a load that is known. Shares of 1; infinite: cannot carry; None: size or class is not known.

    Attributes:
        use, intact_use: worst pull on a remaining bolt over its design resistance in tension, now and with all there.
        parting: worst pull over the preload; above 1 the faces part. None: no preload is known.
        could_carry: whether the intact group carries such a load by this sum at all.
    """

    moment_nmm: float
    pull_n: float
    use: float | None
    intact_use: float | None
    parting: float | None
    could_carry: bool

    @property
    def use_percent(self) -> float | None:
        """``use`` in per cent; None where it is not known or what remains cannot carry."""
        return None if self.use is None or math.isinf(self.use) else 100 * self.use

    @property
    def intact_percent(self) -> float | None:
        return None if self.intact_use is None else 100 * self.intact_use


def under_load(
    facts: GroupFacts,
    lost: Iterable[int],
    *,
    size: str,
    property_class: str,
    preload_kn: float | None,
    moment_nmm: float,
    pull_n: float,
) -> Loaded:
    """The group under an overturning moment from whichever side is worst (N·mm) and a central pull (N).

    As in ``rise``: of the lost bolts the worst subset counts, and more than five lost count as unable to carry.
    """
    nothing = Loaded(moment_nmm, pull_n, None, None, None, could_carry=True)
    plan, numbers = group_of(facts), sorted(set(lost))
    if plan is None or (numbers and numbers[-1] > len(plan.state)):
        return nothing
    try:
        group = bolt_group.Group(plan.positions_mm, None, size, property_class)
    except InputError:
        return nothing
    intact = bolt_group.overturning_any_direction(group, pull_n, moment_nmm)
    if not intact.could_carry:
        return Loaded(moment_nmm, pull_n, None, None, None, could_carry=False)
    if len(numbers) > MOST_SUBSETS:
        each = None
    else:
        subsets = [subset for taken in range(len(numbers) + 1) for subset in combinations(numbers, taken)]
        each = [
            bolt_group.overturning_any_direction(group.with_lost(*(n - 1 for n in subset)), pull_n, moment_nmm)
            for subset in subsets
        ]
    uses = [told.utilisation for told in each or [] if told.utilisation is not None]
    worst = math.inf if each is None else max(told.worst_n for told in each)
    return Loaded(
        moment_nmm,
        pull_n,
        use=None if intact.utilisation is None else (math.inf if each is None else max(uses)),
        intact_use=intact.utilisation,
        parting=worst / (preload_kn * 1000) if preload_kn else None,
        could_carry=True,
    )


UNIT_LOADS: tuple[Callable[[bolt_group.Group], bolt_group.GroupLoads], ...] = (
    lambda group: bolt_group.overturning_any_direction(group, 0.0, 1.0),
    lambda group: bolt_group.overturning(group, 1.0, 0.0, 0.0),
    lambda group: bolt_group.shear_and_moment(group, 1.0, 0.0, 0.0),
    lambda group: bolt_group.shear_and_moment(group, 0.0, 1.0, 0.0),
    lambda group: bolt_group.shear_and_moment(group, 0.0, 0.0, 1.0),
)
