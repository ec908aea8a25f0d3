"""Strength of structural steels by grade and thickness, from the table ``steel_grades``."""

from __future__ import annotations

import re
from dataclasses import dataclass

from engineering import tables
from engineering.errors import InputError, one, positive
from engineering.tables import Row, Table

_QUALITY = re.compile(r"(?:JR|J0|J2|K2|L2|L1|L)(?=H?$)|\+\w+$")


@dataclass(frozen=True)
class Band:
    """Nominal strength, MPa, of one band of thickness, mm: over ``t_over_mm`` up to and with ``t_to_mm``."""

    t_over_mm: float
    t_to_mm: float
    yield_mpa: float
    ultimate_mpa: float
    source: str
    status: str


@dataclass(frozen=True)
class Grade:
    """A steel grade of one product standard.

    Attributes:
        name: grade without its impact quality, such as "S355" or "S355H".
        standard: product standard (or design standard) the figures belong to.
        family: delivery condition: as rolled, thermomechanical, quenched and tempered, hollow section.
        beta_w: fillet factor of EN 1993-1-8 Table 4.1; None where there is none.
        bands: strength by thickness.
    """

    name: str
    standard: str
    family: str
    beta_w: float | None
    bands: tuple[Band, ...]

    def band(self, thickness_mm: float) -> Band:
        """The band a thickness (mm) lies in; ``InputError`` beyond the thickest band."""
        thickness = one(positive, "thickness_mm", thickness_mm)
        for band in self.bands:
            if band.t_over_mm < thickness <= band.t_to_mm:
                return band
        most = self.bands[-1].t_to_mm
        raise InputError("thickness_mm", f"{self.name} ({self.standard}) is tabulated up to {most:g} mm")

    def yield_mpa(self, thickness_mm: float) -> float:
        """Nominal yield strength, MPa, at a thickness, mm."""
        return self.band(thickness_mm).yield_mpa

    def ultimate_mpa(self, thickness_mm: float) -> float:
        """Nominal tensile strength, MPa, at a thickness, mm (the lower end of the range)."""
        return self.band(thickness_mm).ultimate_mpa

    @property
    def fillet_factor(self) -> float:
        """``beta_w``, or ``InputError`` where the table has none for this grade."""
        if self.beta_w is None:
            raise InputError("grade", f"no fillet factor (EN 1993-1-8 Table 4.1) is tabulated for {self.name}")
        return self.beta_w


def grade(name: str, *, standard: str | None = None, table: Table | None = None) -> Grade:
    """The steel called ``name``; an impact quality such as J2 in "S355J2H" is left out of account.

    Args:
        name: grade, such as "S355", "S355J2", "S355J2H", "S460M", "S690QL", "A36".
        standard: product standard; None takes the weaker: for hollow sections EN 10219-1 where it has the grade (not
            above 40 mm; ``standard="EN 10210-1"`` for hot finished), for plain S235 to S355 the bands of EN 10025-2,
            which are lower than those of EN 1993-1-1 Table 3.1 (``standard="EN 1993-1-1"``) between 16 and 40 mm.
        table: an office's own grades; None takes the shipped table.

    Returns:
        A ``Grade``; every band carries its source and status.

    Raises:
        InputError: ``name`` not a grade in the table, or not in that standard.

    >>> grade("S355J2").yield_mpa(20)
    345.0
    """
    rows = (table or tables.load("steel_grades")).rows.values()
    wanted = _plain(name)
    found = [row for row in rows if row["grade"] == wanted and standard in (None, row["standard"])]
    if not found:
        known = ", ".join(dict.fromkeys(str(row["grade"]) for row in rows))
        where = f" in {standard}" if standard else ""
        raise InputError("name", f"no grade {name!r}{where}; known: {known}", code="unknown_row")
    first = found[0]
    same = [row for row in found if row["standard"] == first["standard"]]
    return Grade(
        name=first["grade"],
        standard=first["standard"],
        family=first.get("family", ""),
        beta_w=first.get("beta_w"),
        bands=tuple(sorted((_band(row) for row in same), key=lambda band: band.t_to_mm)),
    )


def _plain(name: str) -> str:
    text = str(name).upper().replace(" ", "")
    return _QUALITY.sub("", _QUALITY.sub("", text)) if text.startswith("S") else text


def _band(row: Row) -> Band:
    return Band(
        t_over_mm=float(row["t_over_mm"]),
        t_to_mm=float(row["t_to_mm"]),
        yield_mpa=float(row["yield_mpa"]),
        ultimate_mpa=float(row["ultimate_mpa"]),
        source=row.source,
        status=row.status,
    )
