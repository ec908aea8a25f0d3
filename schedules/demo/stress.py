"""Stress spectra, set so that fatigue lives and growth windows come out as a well-kept park's would.

The stresses are invented, so they are found backwards: a share of the fatigue life used so far is drawn by chance, and
the spectrum is scaled until the engine itself gives that share. Where a growth window would then be shorter than an
office could ever keep up with, the stress is lowered again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

from assets_app.people.models import Person
from schedules.demo.drawings import Bolts, Welds
from schedules.demo.duty import Duty
from schedules.demo.places import chance
from schedules.demo.steel import Built
from schedules.due import rating_rules
from schedules.due.fact_rules import Facts
from schedules.due.rating_rules import Rated
from schedules.duty.models import StressSpectrum

# Shape of one count: (share of the greatest range, how often), by the unit of the counter.
SHAPES = {
    "cycles": ((1.0, 1.0), (0.6, 3.0), (0.35, 8.0)),
    "lifts": ((1.0, 1.0), (0.5, 2.0)),
    "hours": ((1.0, 2.0), (0.6, 10.0), (0.35, 30.0)),
    "km": ((1.0, 0.05), (0.6, 0.4), (0.35, 2.5)),
}
USED = (0.025, 0.6)  # share of the life used so far, of an asset of some age
SHORTEST_DAYS = 150  # between looks by growth, at the pace so far
HIGHEST_RANGE = 190.0
ROUNDS = 7
STATUSES = ("measured", "calculated", "calculated", "calculated", "assumed")


def create(built: Sequence[Built], duties: dict[str, Duty], engineer: Person, *, today: date) -> None:
    """A spectrum for every joint but those of which it is not known."""
    known = [each for each in built if each.lost != "spectrum"]
    ranges = _scaled(known, duties)
    StressSpectrum.objects.bulk_create(
        _row(each, greatest, engineer, today) for each, greatest in zip(known, ranges, strict=True)
    )


def facts_of(each: Built, greatest: float, *, method: str) -> Facts:
    """The joint as the rating sees it, with everything known that the drawing says."""
    family = each.family
    welded = isinstance(family, Welds)
    return Facts(
        programme_id=0,
        joint_id=0,
        kind="weld" if welded else "bolted",
        method=method,
        conditions="good" if method in ("MT", "ET") else "normal",
        access=family.access,
        single_path=family.path != "multiple",
        consequence=each.data.consequence,
        bins=bins_of(each, greatest),
        stress_kind="direct",
        peak_mpa=peak_of(each, greatest),
        bending_share=bending_of(each),
        detail=family.detail,
        wall_mm=family.wall,
        attachment_mm=family.attachment if isinstance(family, Welds) else None,
        bolt_diameter_mm=float(family.size[1:]) if isinstance(family, Bolts) else None,
        steel_grade=family.grade,
    )


def bins_of(each: Built, greatest: float) -> list[list[float]]:
    return [[float(max(1, round(greatest * share))), count] for share, count in SHAPES[each.data.unit]]


def peak_of(each: Built, greatest: float) -> float:
    """Greatest tension: the range and what the dead weight adds, below what the steel is used to."""
    return float(min(round(greatest * (1.05 + 0.35 * _roll(each, "peak"))), 200))


def bending_of(each: Built) -> float:
    return (0.0, 0.2, 0.4)[int(_roll(each, "bending") * 3)]


def _roll(each: Built, what: str) -> float:
    return chance(what, each.data.tag, each.joint.tag).random()


def _scaled(known: Sequence[Built], duties: dict[str, Duty]) -> list[float]:
    """Greatest range of each joint, MPa."""
    wanted = [_wanted(each) for each in known]
    ranges = [60.0] * len(known)
    for _ in range(ROUNDS):
        rated = rating_rules.rate([facts_of(e, r, method="BC") for e, r in zip(known, ranges, strict=True)])
        ranges = [
            _nearer(value, rating.damage_per_count, share / duties[each.data.tag].now)
            for each, value, rating, share in zip(known, ranges, rated, wanted, strict=True)
        ]
    left = [place for place, each in enumerate(known) if each.detailed]
    for _ in range(ROUNDS):
        rated = rating_rules.rate([facts_of(known[p], ranges[p], method=known[p].detailed) for p in left])
        short = [p for p, rating in zip(left, rated, strict=True) if _too_short(known[p], rating, duties)]
        for place in short:
            ranges[place] *= 0.88
        left = short
    return ranges


def _wanted(each: Built) -> float:
    """The share of the life used so far; a young asset has used less."""
    low, high = map(math.log, USED)
    share = math.exp(low + (high - low) * _roll(each, "used"))
    return max(0.004, share * min(1.0, each.data.years / 8))


def _nearer(value: float, per_count: float | None, wanted: float) -> float:
    """One step towards the range that gives the wanted damage, by a slope between 3 and 5."""
    if per_count is None:
        return value
    factor = (wanted / per_count) ** 0.25 if per_count > 0 else 1.5
    return min(HIGHEST_RANGE, max(8.0, value * min(2.0, max(0.4, factor))))


def _too_short(each: Built, rating: Rated, duties: dict[str, Duty]) -> bool:
    duty = duties[each.data.tag]
    a_day = duty.now / len(duty.totals)
    return rating.window_count is None or rating.window_count / rating.looks / a_day < SHORTEST_DAYS


def _row(each: Built, greatest: float, engineer: Person, today: date) -> StressSpectrum:
    status = STATUSES[int(_roll(each, "status") * len(STATUSES))]
    number = 3 + int(_roll(each, "report") * 4)
    sources = {
        "measured": f"strain gauges, Larkmoor test sheet {number + 20}",
        "calculated": f"Larkmoor stress report {number + 8}",
        "assumed": "office estimate by likeness to a measured joint; to be confirmed",
    }
    return StressSpectrum(
        joint=each.joint,
        bins=bins_of(each, greatest),
        peak_stress_mpa=None if each.lost == "peak" else peak_of(each, greatest),
        bending_share=bending_of(each),
        status=status,
        source=sources[status],
        valid_from=today - timedelta(days=round(each.data.years * 365.25)),
        created_by=engineer,
    )
