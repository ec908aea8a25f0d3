"""The catalogue of joint details a fabricator meets, with their fatigue categories: EN 1993-1-9:2005 Tables 8.1-8.6.

A row is named by its id. Where the standard makes the category depend on sizes, ``size_dependent`` picks the row of a
family; a size that lies in no row raises, for the standard then gives no category.
"""

from __future__ import annotations

from engineering.errors import InputError, one, positive
from engineering.sketches import SKETCHES, sketch_svg
from engineering.tables import Row, Table, load

__all__ = ["SKETCHES", "catalogue", "cover_plate", "detail", "families", "size_dependent", "sketch_svg"]

_SIZES = {"l": "length_mm", "t": "thickness_mm"}


def catalogue(table: Table | None = None) -> list[Row]:
    """All details, in the order of the standard; ``table`` is the office's own, or None for the shipped one."""
    return list((table or load("detail_categories")).rows.values())


def detail(detail_id: str, table: Table | None = None) -> Row:
    """The row of the detail ``detail_id``; ``table`` is the office's own, or None.

    Its cells: ``description``, ``reference`` (table and detail number), ``category`` (MPa), ``kind`` (direct or shear),
    ``m``, ``size`` (which size factor applies: none, transverse_butt, bolt_tension, eccentric_step), ``conditions``,
    ``sketch``, ``starred`` (category marked * in the standard: never raised here), ``family``.

    Errors: ``InputError`` (``unknown_row``). Example: ``detail("bolt-tension")["category"]`` is 50.
    """
    return (table or load("detail_categories")).row(detail_id)


def families(table: Table | None = None) -> list[str]:
    """Names of the families that ``size_dependent`` takes, in ``table`` or the shipped one."""
    return list(dict.fromkeys(row["family"] for row in catalogue(table) if row.get("family")))


def size_dependent(
    family: str, *, length_mm: float | None = None, thickness_mm: float | None = None, table: Table | None = None
) -> Row:
    """The row of a family that fits the sizes.

    Args:
        family: see ``families``, such as "long_attachment", "cruciform", "tube_butt".
        length_mm: length of the attachment along the stress, or l over the welds, mm.
        thickness_mm: thickness of the loaded plate, of the flange under a cover plate, or of the tube's wall, mm.
        table: the office's own table, or None.

    Errors: ``InputError``: unknown family; a size missing, not positive, or in no row of the standard.
    A cross joint of exactly 50 mm stands in no row of the standard; it is put into the lower one here.
    Source: EN 1993-1-9:2005 Tables 8.4, 8.5, 8.6. Example: a "long_attachment" of 60 mm has category 71.
    """
    rows = [row for row in catalogue(table) if row.get("family") == family]
    if not rows:
        known = ", ".join(families(table))
        raise InputError("family", f"no family {family!r}; known: {known}", code="unknown_row")
    given = {"l": _size("length_mm", length_mm), "t": _size("thickness_mm", thickness_mm)}
    fitting = [row for row in rows if all(_holds(row, axis, size) for axis, size in given.items())]
    for axis, argument in _SIZES.items():
        if given[axis] is None and any(_bounds(row, axis) for row in fitting):
            raise InputError(argument, f"is needed to choose the category of {family!r}", code="not_a_number")
    if len(fitting) == 1:
        return fitting[0]
    used = [argument for axis, argument in _SIZES.items() if any(_bounds(row, axis) for row in rows)]
    raise InputError(
        used[0], f"the standard gives no category of {family!r} for such a size; an engineer must judge it"
    )


def cover_plate(flange_mm: float, cover_mm: float, table: Table | None = None) -> Row:
    """The row for the end of a cover plate, from the thickness of flange and cover plate.

    Args:
        flange_mm: thickness of the flange, mm.
        cover_mm: thickness of the cover plate, mm.
        table: the office's own table, or None.

    Source: EN 1993-1-9:2005 Table 8.5 detail 6. Example: 12 mm on a flange of 15 mm has category 56.
    """
    cover = one(positive, "cover_mm", cover_mm)
    family = "cover_plate_thinner" if cover < one(positive, "flange_mm", flange_mm) else "cover_plate_thicker"
    return size_dependent(family, thickness_mm=flange_mm, table=table)


def _size(argument: str, value: float | None) -> float | None:
    return None if value is None else one(positive, argument, value)


def _bounds(row: Row, axis: str) -> dict[str, float]:
    """Limits of a row on one axis: over and below leave the limit out, from and upto include it."""
    limits = {word: row.get(f"{axis}_{word}_mm") for word in ("over", "from", "upto", "below")}
    return {word: float(limit) for word, limit in limits.items() if limit is not None}


def _holds(row: Row, axis: str, size: float | None) -> bool:
    if size is None:
        return True
    limits = _bounds(row, axis)
    return (
        size > limits.get("over", 0.0)
        and size >= limits.get("from", 0.0)
        and size <= limits.get("upto", float("inf"))
        and size < limits.get("below", float("inf"))
    )
