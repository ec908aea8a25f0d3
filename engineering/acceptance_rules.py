"""The rules by which one row of an acceptance table judges one finding; called by ``engineering.acceptance``.

Each rule takes the row and the facts and answers True, False or None (a fact is missing). A limit that rests on an
unknown dimension is bounded from both sides, so that a finding beyond every possible limit is still refused.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from engineering.tables import Row

SHORT_MM, SHORT_SHARE, SHORT_WINDOW_MM = 25.0, 0.25, 100.0  # ISO 5817 clause 3, from memory
UNDERSIZE_SHARE = 0.10  # AWS D1.1:2020 Table 8.1 (6)
SMALLEST_PORE_MM = 1.0  # AWS D1.1:2020 Table 8.1 (8): smaller pores are not summed


@dataclass(frozen=True)
class Kind:
    """One imperfection: ISO 6520-1 number, plain name, group, crack or not, and what ``size_mm`` means for it."""

    number: str
    name: str
    group: str
    is_crack: bool
    measure: str
    how: str


@dataclass(frozen=True)
class Facts:
    """What is known of a finding and its weld; None is not known. Units and meaning as in ``acceptance.judge``."""

    kind: Kind
    size_mm: float | None
    length_mm: float | None
    weld_length_mm: float | None
    wall_mm: float | None
    throat_mm: float | None
    leg_mm: float | None
    width_mm: float | None
    angle_deg: float | None
    joint: str | None
    transverse: bool | None
    pore_sum_25_mm: float | None
    pore_sum_300_mm: float | None
    pores_per_100_mm: float | None


@dataclass(frozen=True)
class Verdict:
    """The answer of one row; ``limit`` is None where there is none or it is unknown."""

    row: Row
    accepted: bool | None
    reason: str
    limit: float | None = None
    missing: tuple[str, ...] = ()


def _not_permitted(row: Row, facts: Facts) -> Verdict:
    measured = facts.kind.measure in ("depth", "height", "width", "difference", "shortfall", "excess", "gap")
    if facts.size_mm == 0 and measured:
        return Verdict(row, True, "nothing measured", 0.0)
    return Verdict(row, False, "not permitted at any size", 0.0)


def _permitted(row: Row, facts: Facts) -> Verdict:
    return Verdict(row, True, "permitted")


def _depends(row: Row, facts: Facts) -> Verdict:
    return Verdict(row, None, "a person must judge", missing=("judgement",))


def _limit(row: Row, facts: Facts) -> Verdict:
    low, high, missing = _limit_bounds(row, facts)
    limit = low if low == high else None
    if facts.size_mm is None:
        return Verdict(row, None, "size not known", limit, ("size_mm", *missing))
    if facts.size_mm > high:
        return Verdict(row, False, "larger than the limit", limit if limit is not None else high)
    short, short_missing = _is_short(facts) if row.get("short") else (True, ())
    if short is False:
        return Verdict(row, False, "only a short imperfection is permitted", 0.0)
    if facts.size_mm <= low and short:
        return Verdict(row, True, "within the limit", limit)
    unsure = missing if facts.size_mm > low else ()
    return Verdict(row, None, "the limit cannot be computed" if unsure else "not known whether short", limit,
                    (*unsure, *short_missing))  # fmt: skip


def _limit_bounds(row: Row, facts: Facts) -> tuple[float, float, tuple[str, ...]]:
    """Smallest and largest value the limit can have, mm, and the dimension that would settle it."""
    constant, factor, top = row.get("constant_mm", 0.0), row.get("factor", 0.0), row.get("max_mm", math.inf)
    if not factor:
        return min(constant, top), min(constant, top), ()
    of = row["of"]
    known = {"wall": facts.wall_mm, "throat": facts.throat_mm, "width": facts.width_mm, "weld": _weld(facts)}[of]
    if known is None:
        return min(constant, top), top, ({"weld": "wall_mm"}.get(of, f"{of}_mm"),)
    value = round(min(constant + factor * known, top), 9)  # so that 0.3 + 0.1 x 7 is 1.0 and not a hair less
    return value, value, ()


def _weld(facts: Facts) -> float | None:
    """Nominal thickness of a butt weld, mm: the throat given, else the wall (full penetration)."""
    given = [value for value in (facts.throat_mm, facts.wall_mm) if value is not None]
    return min(given) if given else None


def _is_short(facts: Facts) -> tuple[bool | None, tuple[str, ...]]:
    """ISO 5817 clause 3, from memory: at most 25 mm in any 100 mm, or a quarter of a weld shorter than 100 mm."""
    if facts.length_mm is None:
        return None, ("length_mm",)
    if facts.length_mm > SHORT_MM:
        return False, ()
    if facts.weld_length_mm is None:
        return None, ("weld_length_mm",)
    return facts.length_mm <= SHORT_SHARE * min(facts.weld_length_mm, SHORT_WINDOW_MM), ()


def _angle(row: Row, facts: Facts) -> Verdict:
    if facts.angle_deg is None:
        return Verdict(row, None, "toe angle not known", missing=("angle_deg",))
    least = float(row["min_deg"])
    return Verdict(row, facts.angle_deg >= least, f"toe angle {facts.angle_deg:g}°, at least {least:g}° is asked for")


def _undercut(row: Row, facts: Facts) -> Verdict:
    limit, short_limit = row["max_mm"], row.get("short_max_mm", row["max_mm"])
    if facts.size_mm is None:
        return Verdict(row, None, "size not known", limit, ("size_mm",))
    if facts.size_mm <= limit:
        return Verdict(row, True, "within the limit", limit)
    if facts.size_mm > short_limit:
        return Verdict(row, False, "deeper than the limit", limit)
    if facts.length_mm is None:
        return Verdict(row, None, f"permitted over {row['short_length_mm']:g} mm in any 300 mm", limit, ("length_mm",))
    if facts.length_mm <= row["short_length_mm"]:
        return Verdict(row, True, f"within the limit for {row['short_length_mm']:g} mm in any 300 mm", short_limit)
    return Verdict(row, False, "deeper than the limit for its length", limit)


def _undersize(row: Row, facts: Facts) -> Verdict:
    limit = row["max_mm"] / math.sqrt(2)
    if facts.size_mm is None:
        return Verdict(row, None, "size not known", limit, ("size_mm",))
    if facts.size_mm == 0:
        return Verdict(row, True, "nothing measured", limit)
    if facts.size_mm > limit:
        return Verdict(row, False, "leg smaller than the limit allows", limit)
    if facts.length_mm is None or facts.weld_length_mm is None:
        missing = [name for name in ("length_mm", "weld_length_mm") if getattr(facts, name) is None]
        return Verdict(row, None, "permitted over a tenth of the weld's length", limit, tuple(missing))
    if facts.length_mm <= UNDERSIZE_SHARE * facts.weld_length_mm:
        return Verdict(row, True, "within the limit over at most a tenth of the length", limit)
    return Verdict(row, False, "undersize over more than a tenth of the weld's length", 0.0)


def _porosity_sum(row: Row, facts: Facts) -> Verdict:
    if facts.size_mm is not None and facts.size_mm < SMALLEST_PORE_MM:
        return Verdict(row, True, f"pores below {SMALLEST_PORE_MM:g} mm are not counted", row["sum_25_mm"])
    sums = {"pore_sum_25_mm": (facts.pore_sum_25_mm, row["sum_25_mm"]),
            "pore_sum_300_mm": (facts.pore_sum_300_mm, row["sum_300_mm"])}  # fmt: skip
    over = [name for name, (value, most) in sums.items() if value is not None and value > most]
    if over or (facts.size_mm or 0) > row["sum_25_mm"]:
        return Verdict(row, False, "sum of pore diameters beyond the limit", row["sum_25_mm"])
    missing = tuple(name for name, (value, _) in sums.items() if value is None)
    if missing:
        return Verdict(row, None, "sum of pore diameters not known", row["sum_25_mm"], missing)
    return Verdict(row, True, "sum of pore diameters within the limit", row["sum_25_mm"])


def _porosity_count(row: Row, facts: Facts) -> Verdict:
    if facts.size_mm is not None and facts.size_mm > row["max_mm"]:
        return Verdict(row, False, "pore larger than the limit", row["max_mm"])
    if facts.pores_per_100_mm is not None and facts.pores_per_100_mm > row["count_100"]:
        return Verdict(row, False, "too many pores in 100 mm", row["max_mm"])
    missing = tuple(name for name in ("size_mm", "pores_per_100_mm") if getattr(facts, name) is None)
    if missing:
        return Verdict(row, None, "size or number of pores not known", row["max_mm"], missing)
    return Verdict(row, True, "within the limit", row["max_mm"])


_Rule = Callable[[Row, Facts], Verdict]
ISO_RULES: Mapping[str, _Rule] = {
    "not permitted": _not_permitted, "permitted": _permitted, "depends": _depends, "limit": _limit, "angle": _angle,
}  # fmt: skip
AWS_RULES: Mapping[str, _Rule] = {
    "not permitted": _not_permitted, "undersize": _undersize, "undercut": _undercut,
    "porosity sum": _porosity_sum, "porosity count": _porosity_count,
}  # fmt: skip
