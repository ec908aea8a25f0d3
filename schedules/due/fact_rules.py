"""The facts about a joint that its rating rests on, and which of them cannot be right. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from engineering.tables import Table

KINDS_OF_STRESS = frozenset({"direct", "shear"})
CONSEQUENCES = frozenset({"low", "high"})
# No steel bears such a range, nor does any gauge show it: it was written in another unit, or is no stress.
HIGHEST_RANGE_MPA = 10_000.0
HIGHEST_COUNT = 1e12  # of one range in one count of duty
HIGHEST_FIGURE = 1e6  # a wall of a kilometre, a stress of a terapascal
FIGURES = {
    "peak_mpa": "greatest tension",
    "category_mpa": "detail category",
    "wall_mm": "wall thickness",
    "bolt_diameter_mm": "bolt size",
}


@dataclass(frozen=True)
class Missing:
    """A figure that keeps a limit from being computed, and what to do about it."""

    limit: str
    figure: str
    to_do: str


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
    # The office's own, by the name of the one they replace; ``None`` where it cannot be read.
    tables: Mapping[str, Table | None] = field(default_factory=dict)


def usable(fact: Facts) -> Facts:
    """``fact`` without figures that cannot be right (negative, zero, NaN, no number at all): such a figure is as good
    as none. A consequence, a bending share or an attachment that cannot be is taken as the worst there is."""
    wrong: dict[str, Any] = {name: None for name in (*FIGURES, "attachment_mm") if _is_wrong(getattr(fact, name))}
    if fact.stress_kind not in KINDS_OF_STRESS or not _is_spectrum(fact.bins):
        wrong |= {"bins": (), "stress_kind": "direct"}
    if not _is_figure(fact.bending_share, 1.0 + 1e-12):
        wrong["bending_share"] = 0.0
    if fact.consequence not in CONSEQUENCES:
        wrong["consequence"] = "high"
    if None in fact.tables.values():
        wrong["tables"] = {name: table for name, table in fact.tables.items() if table is not None}
    if fact.single_path:
        wrong |= _wrong_policy(fact, "share_single", "looks_single")
    else:
        wrong |= _wrong_policy(fact, "share_other", "looks_other")
    return replace(fact, **wrong) if wrong else fact


def impossible(fact: Facts) -> list[str]:
    """What stands there and cannot be right, and has no worst case to be taken in its place. From such a figure nothing
    is computed, and the joint is to be looked at now: nobody knows what it was meant to say."""
    names = [name for field_name, name in FIGURES.items() if _is_wrong(getattr(fact, field_name))]
    if fact.stress_kind not in KINDS_OF_STRESS:
        names.append("kind of stress")
    if fact.bins != () and not _is_spectrum(fact.bins):
        names.append("stress spectrum")
    share, looks = (fact.share_single, fact.looks_single) if fact.single_path else (fact.share_other, fact.looks_other)
    if not _is_share(share):
        names.append("share of the life")
    if not _is_count(looks):
        names.append("looks in a growth window")
    names += [f"table {name}" for name, table in fact.tables.items() if table is None]
    return names


def _wrong_policy(fact: Facts, share: str, looks: str) -> dict[str, Any]:
    """The shipped figures in place of those of a policy that give no day."""
    wrong: dict[str, Any] = {}
    if not _is_share(getattr(fact, share)):
        wrong[share] = Facts.share_single
    if not _is_count(getattr(fact, looks)):
        wrong[looks] = Facts.looks_single
    return wrong


def _is_spectrum(bins: Any) -> bool:
    """Whether all are pairs of a range in MPa that steel could bear and a count, with some count."""
    return (
        isinstance(bins, list | tuple)
        and all(
            isinstance(pair, list | tuple)
            and len(pair) == 2
            and _is_figure(pair[0], HIGHEST_RANGE_MPA)
            and _is_figure(pair[1], HIGHEST_COUNT)
            for pair in bins
        )
        and sum(pair[1] for pair in bins) > 0
    )


def _is_wrong(value: Any) -> bool:
    return value is not None and not (_is_figure(value, HIGHEST_FIGURE) and value > 0)


def _is_share(value: Any) -> bool:
    return _is_figure(value, 1.0 + 1e-12) and value > 0


def _is_count(value: Any) -> bool:
    return _is_figure(value, 1000) and value >= 1


def _is_figure(value: Any, below: float) -> bool:
    return isinstance(value, int | float) and 0 <= value < below
