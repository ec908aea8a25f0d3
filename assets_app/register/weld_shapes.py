"""Where steel and weld metal lie in a weld's cross-section. Millimetres, y up, the main plate's face at y = 0."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

Point = tuple[float, float]

ASSUMED_WALL_MM = 10.0  # only to have something to draw, dashed, where the wall is not known
ASSUMED_LEG_SHARE = 0.6  # of the thinner wall, likewise
GROOVE_HALF_ANGLE = math.radians(30)  # the preparation is not in the register: drawn schematically as a 60 degree V


@dataclass(frozen=True)
class WeldSection:
    """What the register knows of a weld's cross-section. Lengths in mm; None or an empty word means not known."""

    joint_type: str = ""
    weld_type: str = ""
    leg_mm: float | None = None
    throat_mm: float | None = None
    penetration_mm: float | None = None
    wall_mm: float | None = None
    other_wall_mm: float | None = None
    attachment_mm: float | None = None
    tube: bool = False
    process: str = ""
    quality_level: str = ""

    @property
    def leg(self) -> float | None:
        """The leg, or the leg of a flat equal-legged fillet of the known throat: z = a * sqrt(2)."""
        if self.leg_mm is None and self.throat_mm is not None and self.weld_type in ("fillet", ""):
            return self.throat_mm * math.sqrt(2)
        return self.leg_mm


@dataclass(frozen=True)
class Plate:
    """A rectangle of steel; ``cut`` names the edges where the drawing breaks off and the steel goes on."""

    x0: float
    y0: float
    x1: float
    y1: float
    cut: frozenset[str]
    known: bool


@dataclass(frozen=True)
class Measure:
    """A dimension from ``start`` to ``end``; the line stands ``side`` (+1 left, -1 right of the way) of it."""

    start: Point
    end: Point
    words: str
    side: int
    known: bool = True
    beyond_mm: float = 0.0  # further out by this much, to clear what lies between


@dataclass
class Shape:
    """Steel, weld metal, where it cracks, where the arrow of the symbol points."""

    plates: list[Plate]
    welds: list[list[Point]]
    weld_known: bool
    toe: Point
    root: Point
    face: Point
    measures: list[Measure]
    toe_into: Point = (0.0, -1.0)
    root_into: Point = (math.sqrt(0.5), math.sqrt(0.5))
    both_sides: bool = False
    gaps: list[tuple[Point, Point]] = field(default_factory=list)


@dataclass(frozen=True)
class _Sizes:
    t1: float
    t2: float
    leg: float
    depth: float
    t1_known: bool
    t2_known: bool
    weld_known: bool

    @property
    def t1_words(self) -> str:
        return _size(self.t1, self.t1_known)

    @property
    def t2_words(self) -> str:
        return _size(self.t2, self.t2_known)


def _size(value: float, known: bool) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".") if known else "?"


def _sizes(weld: WeldSection) -> _Sizes:
    """The figures to draw with: the known ones, and stand-ins for the others."""
    known = [wall for wall in (weld.wall_mm, weld.other_wall_mm) if wall]
    t1 = weld.wall_mm or (known[0] if known else ASSUMED_WALL_MM)
    t2 = weld.other_wall_mm or (known[0] if known else ASSUMED_WALL_MM)
    thinner = min(t1, t2)
    groove = weld.weld_type in ("full penetration", "partial penetration")
    leg = weld.leg
    weld_known = bool(weld.weld_type) and (leg is not None or weld.weld_type == "full penetration")
    depth = weld.penetration_mm or 0.0
    if weld.weld_type == "partial penetration":
        depth = weld.penetration_mm or weld.throat_mm or 0.0
        weld_known = depth > 0
        depth = depth or thinner / 2
    if leg is None:
        leg = 0.0 if groove else ASSUMED_LEG_SHARE * thinner
    return _Sizes(t1, t2, leg, depth, weld.wall_mm is not None, weld.other_wall_mm is not None, weld_known)


def _side(face_x: float, sign: int, up: int, size: _Sizes, weld_type: str) -> list[Point]:
    """Weld metal on one side of an upright: toe, upper toe, and as deep under the upright as it penetrates."""
    half = abs(face_x)
    through = min(half, size.t2 / 2)  # an attachment cut along its length is welded through its thickness
    depth = through if weld_type == "full penetration" else min(size.depth, half)
    height = max(size.leg, depth) if weld_type != "fillet" else size.leg
    root = sign * (half - depth)
    points: list[Point] = [(root, 0.0), (face_x, up * height), (face_x + sign * size.leg, 0.0)]
    if not size.leg:
        points[-1] = (face_x, 0.0)
    return points


def _leg_measures(face_x: float, size: _Sizes, weld: WeldSection) -> list[Measure]:
    if not size.leg:
        return []
    words = _size(size.leg, size.weld_known)
    named = f"z {words}" if weld.leg_mm is not None or not size.weld_known else f"z ≈ {words}"
    return [Measure((face_x, 0), (face_x, size.leg), named, side=-1, known=size.weld_known, beyond_mm=size.leg)]


def _upright(weld: WeldSection, *, below: bool = False, length_mm: float | None = None) -> Shape:
    """Tee, cruciform and attachment: an upright standing on the main plate."""
    size = _sizes(weld)
    t2 = length_mm if length_mm else size.t2
    half = t2 / 2
    reach = half + size.leg + 1.1 * max(size.t1, size.leg, 0.5 * size.t2)
    rise = max(1.8 * size.leg, 1.5 * size.t1, 1.2 * size.t2)
    plates = [Plate(-reach, -size.t1, reach, 0, frozenset({"left", "right"}), size.t1_known)]
    top = frozenset() if length_mm else frozenset({"top"})
    plates.append(Plate(-half, 0, half, rise, top, bool(length_mm) or size.t2_known))
    inside = weld.tube and not length_mm
    sides = [1] if inside else [1, -1]
    welds = [_side(sign * half, sign, 1, size, weld.weld_type) for sign in sides]
    measures = _leg_measures(half, size, weld)
    measures.append(Measure((reach, -size.t1), (reach, 0), size.t1_words, side=-1, known=size.t1_known))
    if length_mm:
        ends, words = ((-half - size.leg, 0.0), (half + size.leg, 0.0)), _size(t2 + 2 * size.leg, True)
        measures.append(Measure(*ends, words, side=1, beyond_mm=rise))
        measures.pop(0) if size.leg else None
    else:
        measures.append(Measure((-half, rise), (half, rise), size.t2_words, side=1, known=size.t2_known))
    if below:
        plates.append(Plate(-half, -size.t1 - rise, half, -size.t1, frozenset({"bottom"}), size.t2_known))
        welds += [[(x, -size.t1 - y) for x, y in points] for points in welds]
    face = (half + size.leg * 0.5, size.leg * 0.5) if size.leg else (half, max(size.depth, half) * 0.6)
    toe = (half + size.leg, 0.0)
    return Shape(plates, welds, size.weld_known, toe, (welds[0][0][0], 0.0), face, measures, both_sides=not inside)


def _tee(weld: WeldSection) -> Shape:
    return _upright(weld)


def _cruciform(weld: WeldSection) -> Shape:
    return _upright(weld, below=True)


def _attachment(weld: WeldSection) -> Shape:
    """Cut along the stress, so that the length of the welded-on part shows."""
    if weld.attachment_mm is None:
        return _upright(weld)
    leg = weld.leg or 0.0
    return _upright(weld, length_mm=max(weld.attachment_mm - 2 * leg, 0.2 * weld.attachment_mm))


def _corner(weld: WeldSection) -> Shape:
    size = _sizes(weld)
    reach = size.leg + 1.8 * max(size.t1, size.leg)
    rise = max(1.8 * size.leg, 1.6 * size.t1)
    depth = size.t2 if weld.weld_type == "full penetration" else min(size.depth, size.t2)
    height = max(size.leg, depth) if weld.weld_type != "fillet" else size.leg
    plates = [
        Plate(-size.t2, -size.t1, reach, 0, frozenset({"right"}), size.t1_known),
        Plate(-size.t2, 0, 0, rise, frozenset({"top"}), size.t2_known),
    ]
    points = [(-depth, 0.0), (0.0, height), (size.leg, 0.0)]
    measures = [
        *_leg_measures(0.0, size, weld),
        Measure((reach, -size.t1), (reach, 0), size.t1_words, side=-1, known=size.t1_known),
        Measure((-size.t2, rise), (0, rise), size.t2_words, side=1, known=size.t2_known),
    ]
    face = (size.leg / 2, max(size.leg / 2, height * 0.4))
    return Shape(plates, [points], size.weld_known, (size.leg, 0.0), (-depth, 0.0), face, measures)


def _lap(weld: WeldSection) -> Shape:
    size = _sizes(weld)
    overlap = 2.2 * max(size.t1, size.t2)
    reach = size.leg + 1.2 * max(size.t1, size.leg)
    plates = [
        Plate(-overlap, -size.t1, reach, 0, frozenset({"right"}), size.t1_known),
        Plate(-overlap - reach, 0, 0, size.t2, frozenset({"left"}), size.t2_known),
    ]
    height = min(size.leg, size.t2)  # a fillet cannot climb higher than the edge it lies on
    near = [(0.0, 0.0), (0.0, height), (size.leg, 0.0)]
    far = [(-overlap, 0.0), (-overlap, -min(size.leg, size.t1)), (-overlap - size.leg, 0.0)]
    measures = [
        *_leg_measures(0.0, size, weld),
        Measure((reach, -size.t1), (reach, 0), size.t1_words, side=-1, known=size.t1_known),
        Measure((-overlap - reach, 0), (-overlap - reach, size.t2), size.t2_words, side=1, known=size.t2_known),
    ]
    face = (size.leg / 2, height / 2)
    shape = Shape(plates, [near, far], size.weld_known, (size.leg, 0.0), (0.0, 0.0), face, measures, both_sides=True)
    return shape


def _butt(weld: WeldSection) -> Shape:
    """Two plates end to end, their lower faces flush; the groove is schematic, its depth to scale."""
    size = _sizes(weld)
    deep = min(size.t1, size.t2)
    depth = deep if weld.weld_type != "partial penetration" else min(size.depth, deep)
    half = depth * math.tan(GROOVE_HALF_ANGLE) + 0.04 * deep
    reach = half + 1.2 * max(size.t1, size.t2)
    foot = 0.04 * deep
    plates = [
        Plate(-reach, 0, 0, size.t1, frozenset({"left"}), size.t1_known),
        Plate(0, 0, reach, size.t2, frozenset({"right"}), size.t2_known),
    ]
    level = deep - depth
    points = [(-foot, level), (-half, size.t1), (0.0, max(size.t1, size.t2)), (half, size.t2), (foot, level)]
    measures = [
        Measure((-reach, 0), (-reach, size.t1), size.t1_words, side=1, known=size.t1_known),
        Measure((reach, 0), (reach, size.t2), size.t2_words, side=-1, known=size.t2_known),
    ]
    if weld.weld_type == "partial penetration":
        words = f"s {_size(depth, size.weld_known)}"
        at = half + 0.3 * size.t2
        measures.append(Measure((at, size.t2 - depth), (at, size.t2), words, side=-1, known=size.weld_known))
    gaps = [((0.0, 0.0), (0.0, level))] if level > 0 else []
    known = size.weld_known or weld.weld_type == "full penetration"
    return Shape(
        plates, [points], known, (-half, size.t1), (0.0, level), (half * 0.4, max(size.t1, size.t2)), measures,
        root_into=(0.0, 1.0), gaps=gaps,
    )  # fmt: skip


SHAPES: dict[str, Callable[[WeldSection], Shape]] = {
    "tee": _tee,
    "cruciform": _cruciform,
    "attachment": _attachment,
    "corner": _corner,
    "lap": _lap,
    "butt": _butt,
}


def shape_of(weld: WeldSection) -> Shape:
    """The shape to draw; a joint type that is not known is drawn as a tee with nothing known about its weld."""
    shape = SHAPES.get(weld.joint_type, _tee)(weld)
    if not weld.joint_type:
        shape.weld_known = False
    return shape
