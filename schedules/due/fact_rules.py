"""The facts about a joint that its rating rests on, and which of them cannot be right. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from engineering.tables import Table

KINDS_OF_STRESS = frozenset({"direct", "shear"})
CONSEQUENCES = frozenset({"low", "high"})
# No steel bears such a range, nor does any gauge show it: it was written in another unit, or is no stress.
HIGHEST_RANGE_MPA = 10_000.0


@dataclass(frozen=True)
class Facts:
    """One joint as seen by one method. ``None`` or an empty text: not known."""

    programme_id: int
    joint_id: int
    kind: str  # weld | bolted
    method: str
    conditions: str
    access: str
    single_path: bool
    consequence: str  # low | high
    bins: Sequence[Sequence[float]] = ()  # [[range MPa, count per count of duty], ...]
    stress_kind: str = "direct"
    peak_mpa: float | None = None
    bending_share: float = 0.0
    spectrum_status: str = ""
    spectrum_source: str = ""
    detail: str = ""
    category_mpa: float | None = None
    wall_mm: float | None = None
    attachment_mm: float | None = None
    bolt_diameter_mm: float | None = None
    steel_grade: str = ""
    detection_chance: float = 0.9
    share_single: float = 0.3
    share_other: float = 0.5
    looks_single: int = 3
    looks_other: int = 2
    lowest_service_c: float = -20.0
    growth_law: str = ""
    tables: Mapping[str, Table] = field(default_factory=dict)  # the office's own, by the name of the one they replace


def usable(fact: Facts) -> Facts:
    """``fact`` without figures that cannot be right (negative, zero, NaN, no number at all): such a figure is as good
    as none. A consequence or a bending share that cannot be is taken as the worst there is."""
    figures = ("peak_mpa", "category_mpa", "wall_mm", "attachment_mm", "bolt_diameter_mm")
    wrong: dict[str, Any] = {
        name: None for name in figures if (value := getattr(fact, name)) is not None and not 0 < value < math.inf
    }
    if fact.stress_kind not in KINDS_OF_STRESS or not _is_spectrum(fact.bins):
        wrong |= {"bins": (), "stress_kind": "direct"}
    if not 0 <= fact.bending_share <= 1:
        wrong["bending_share"] = 0.0
    if fact.consequence not in CONSEQUENCES:
        wrong["consequence"] = "high"
    return replace(fact, **wrong) if wrong else fact


def _is_spectrum(bins: Sequence[Sequence[Any]]) -> bool:
    """Whether all are pairs of a range in MPa that steel could bear and a count, with some count."""
    return (
        all(
            len(pair) == 2 and _is_figure(pair[0], HIGHEST_RANGE_MPA) and _is_figure(pair[1], math.inf) for pair in bins
        )
        and sum(pair[1] for pair in bins) > 0
    )


def _is_figure(value: Any, below: float) -> bool:
    return isinstance(value, int | float) and 0 <= value < below
