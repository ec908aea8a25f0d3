"""What the drawings of Larkmoor say (``drawings.csv``): families of like joints of each asset. Invented.

Lengths are in mm. ``leg_mm`` is the leg of a fillet, else the throat; ``share`` is how many of the asset's joints are
of the family, in proportion; ``name`` holds ``{n}``.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

SAME_DRAWING = {"Scissor Lift Two": "Scissor Lift One"}


@dataclass(frozen=True)
class Family:
    """Joints that are alike."""

    name: str
    section: str
    grade: str
    wall: float
    path: str
    access: str
    detail: str
    share: int


@dataclass(frozen=True)
class Welds(Family):
    """A family of welds."""

    joint_type: str
    weld_type: str
    leg: float
    other_wall: float
    attachment: float | None
    tube: float | None
    process: str
    level: str


@dataclass(frozen=True)
class Bolts(Family):
    """A family of bolt groups; ``across`` is the diameter of a ring or the pitch of a grid of two rows."""

    count: int
    pattern: str
    across: float
    size: str
    tightening: str


def families_of(asset_name: str) -> list[Family]:
    """In the order of the drawing."""
    return _read()[SAME_DRAWING.get(asset_name, asset_name)]


@cache
def _read() -> dict[str, list[Family]]:
    found: dict[str, list[Family]] = {}
    with Path(__file__).with_name("drawings.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            found.setdefault(row["asset"], []).append(_welds(row) if row["joint_type"] else _bolts(row))
    return found


def _common(row: dict[str, str]) -> tuple[str, str, str, float, str, str, str, int]:
    words = (row["path"], row["access"], row["detail"])
    return (row["name"], row["section"], row["grade"], float(row["wall_mm"]), *words, int(row["share"]))


def _welds(row: dict[str, str]) -> Welds:
    return Welds(
        *_common(row),
        joint_type=row["joint_type"],
        weld_type=row["weld_type"],
        leg=float(row["leg_mm"]),
        other_wall=float(row["other_wall_mm"]),
        attachment=float(row["attachment_mm"] or 0) or None,
        tube=float(row["tube_mm"] or 0) or None,
        process=row["process"],
        level=row["level"],
    )


def _bolts(row: dict[str, str]) -> Bolts:
    return Bolts(
        *_common(row),
        count=int(row["bolts"]),
        pattern=row["pattern"],
        across=float(row["across_mm"]),
        size=row["size"],
        tightening=row["tightening"],
    )
