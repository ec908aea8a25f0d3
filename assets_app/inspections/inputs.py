"""What people type about a finding, read into figures. Sizes come as they are said: ``3/8 in``, ``10mm``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from assets_app.inspections.kinds import KINDS, Kind, fits
from assets_app.refusals import Unprocessable
from assets_app.register.models import Joint, Site
from engineering import units
from engineering.errors import InputError

PLACES = ("toe", "root", "throat", "weld", "parent metal", "hole")
LONGEST_MM = 100_000.0
Typed = str | float | None


@dataclass(frozen=True, kw_only=True)
class FindingInput:
    """One finding as reported.

    Attributes:
        kind: ISO 6520-1 number, or missing, broken, loose, gap, movement.
        size: in the measure of the kind (length of a crack, depth of an undercut, gap, angle ...), as typed; a number
            without a unit is in the unit of the site.
        length: along the weld, where the kind is measured otherwise; depth: of a crack, where known.
        place: toe, root, throat, weld, parent metal, hole.
        clock_deg: on a tube, degrees clockwise from the top; position: on a plate, from the datum end, as typed.
        bolts: their numbers, from 1.
        finding_id: the finding this is, measured again.
        bolt_use: worst load on a remaining bolt over its resistance, worked out from a load that an engineer gave.
    """

    kind: str = ""
    size: Typed = None
    length: Typed = None
    depth: Typed = None
    place: str = ""
    clock_deg: float | None = None
    position: Typed = None
    bolts: Sequence[int] = ()
    note: str = ""
    finding_id: int | None = None
    bolt_use: float | None = None


@dataclass(frozen=True, kw_only=True)
class PhotoInput:
    """A photo as sent: its bytes, the name it came with, and to which finding of the look it belongs (from 0)."""

    data: bytes
    name: str = ""
    caption: str = ""
    finding_index: int | None = None


@dataclass(frozen=True, kw_only=True)
class Report:
    """What was reported of one look."""

    method: str
    inspected_at: datetime
    result: str
    conditions: str
    note: str
    counter_total: float | None
    findings: Sequence[FindingInput]
    photos: Sequence[PhotoInput] = ()


@dataclass(frozen=True, kw_only=True)
class Size:
    """A size in mm and degrees; None is not measured."""

    length_mm: float | None = None
    depth_mm: float | None = None
    angle_deg: float | None = None
    as_typed: str = ""

    @property
    def is_known(self) -> bool:
        return any(value is not None for value in (self.length_mm, self.depth_mm, self.angle_deg))


def kind_of(entry: FindingInput, joint: Joint, where: str) -> Kind:
    """The kind, refused where it is unknown or cannot be seen at such a joint."""
    kind = KINDS.get(str(entry.kind))
    if kind is None:
        raise Unprocessable("unknown_kind", f"There is no kind of finding {entry.kind!r}.", field=f"{where}kind")
    if not fits(kind, joint.kind):
        raise Unprocessable(
            "kind_does_not_fit",
            f"{kind.words.capitalize()} cannot be seen at a {joint.get_kind_display()} joint.",
            field=f"{where}kind",
        )
    if entry.place and entry.place not in PLACES:
        raise Unprocessable("unknown_place", f"The place is one of {', '.join(PLACES)}.", field=f"{where}place")
    if entry.clock_deg is not None and not 0 <= entry.clock_deg < 360:
        raise Unprocessable("out_of_range", "The clock position goes from 0 to 359 degrees.", field=f"{where}clock_deg")
    return kind


def bolts_of(entry: FindingInput, kind: Kind, joint: Joint, where: str) -> list[int]:
    """Numbers of the bolts, in order, refused where they are needed and absent, or do not exist."""
    numbers = sorted(set(entry.bolts))
    if kind.needs_bolts and not numbers:
        raise Unprocessable("bolts_missing", "Say which bolts, by their numbers from 1.", field=f"{where}bolts")
    group = getattr(joint, "bolt_group", None)
    count = group.bolt_count if group else None
    if numbers and (numbers[0] < 1 or (count is not None and numbers[-1] > count)):
        there = f"1 to {count}" if count else "1 upwards"
        raise Unprocessable("no_such_bolt", f"The bolts here are numbered {there}.", field=f"{where}bolts")
    return numbers


def size_of(entry: FindingInput, kind: Kind, site: Site, where: str) -> Size:
    """The size in mm and degrees, from what was typed."""
    size, length, depth = _said(entry.size), _said(entry.length), _said(entry.depth)
    typed = "; ".join(str(part).strip() for part in (size, length, depth) if part is not None)[:64]
    if kind.measure == "angle":
        angle = None if size is None else _angle(size, f"{where}size")
        return Size(length_mm=_mm(length, site, f"{where}length"), angle_deg=angle, as_typed=typed)
    measured = _mm(size, site, f"{where}size")
    along, through = _mm(length, site, f"{where}length"), _mm(depth, site, f"{where}depth")
    if kind.measure == "length":
        return Size(length_mm=measured if measured is not None else along, depth_mm=through, as_typed=typed)
    return Size(length_mm=along, depth_mm=measured if measured is not None else through, as_typed=typed)


def position_of(entry: FindingInput, site: Site, where: str) -> float | None:
    return _mm(_said(entry.position), site, f"{where}position")


def _said(value: Typed) -> Typed:
    return None if value is None or (isinstance(value, str) and not value.strip()) else value


def _mm(value: Typed, site: Site, field: str) -> float | None:
    if value is None:
        return None
    default = "in" if site.units == Site.Units.US else "mm"
    try:
        length = units.parse_length_mm(value, argument=field, default_unit=default)
    except InputError as error:
        code = "unit_needed" if error.code == "unit_needed" else "not_a_size"
        raise Unprocessable(code, error.reason, field=field) from None
    if not 0 <= length <= LONGEST_MM:
        raise Unprocessable("out_of_range", f"{value} is no size of a finding.", field=field)
    return length


def _angle(value: Typed, field: str) -> float:
    try:
        angle = units.parse(value, "deg", argument=field)
    except InputError as error:
        raise Unprocessable("not_a_size", error.reason, field=field) from None
    if not 0 <= angle <= 180:
        raise Unprocessable("out_of_range", "An angle goes from 0 to 180 degrees.", field=field)
    return angle
