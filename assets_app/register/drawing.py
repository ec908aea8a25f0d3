"""A welded joint drawn to scale: cross-section with its findings, welding symbol, and the run of the weld unrolled."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from assets_app.register.pen import Drawing, Pen, mm
from assets_app.register.weld_shapes import Plate, Point, Shape, WeldSection, shape_of

WIDTH, HEIGHT = 360.0, 306.0
CALLOUTS_Y = 281.0  # the line of the findings' numbers, below all steel and weld metal
BOLD_PX = 7.5  # width of a bold character of a number, generously
BOX = (60.0, 82.0, 300.0, 262.0)  # where the section stands: left, top, right, bottom; dimensions stand beside it
SYMBOL_AT = (212.0, 46.0)  # the reference line starts here


@dataclass(frozen=True)
class SeenFinding:
    """A finding as the drawing needs it. Sizes in mm, None where not measured."""

    number: int
    words: str
    severity: str
    place: str = ""
    depth_mm: float | None = None
    length_mm: float | None = None
    clock_deg: float | None = None
    position_mm: float | None = None
    is_crack: bool = False


class _Scale:
    """From millimetres (y up) to px of the canvas, one scale both ways."""

    def __init__(self, shape: Shape) -> None:
        xs = [x for plate in shape.plates for x in (plate.x0, plate.x1)]
        ys = [y for plate in shape.plates for y in (plate.y0, plate.y1)]
        left, top, right, bottom = BOX
        self.px_per_mm = min((right - left) / (max(xs) - min(xs)), (bottom - top) / (max(ys) - min(ys)))
        self._x = (left + right) / 2 - self.px_per_mm * (max(xs) + min(xs)) / 2
        self._y = bottom + self.px_per_mm * min(ys)

    def at(self, point: Point) -> Point:
        return self._x + point[0] * self.px_per_mm, self._y - point[1] * self.px_per_mm


def weld_section(weld: WeldSection, findings: Sequence[SeenFinding] = (), *, name: str = "weld") -> Drawing:
    """The cross-section to scale, with dimensions in mm, the welding symbol and the cracks where they are.

    What is not known is drawn dashed with a question mark, never to an invented size. Symbol: ISO 2553, system A.
    """
    shape = shape_of(weld)
    scale = _Scale(shape)
    pen = Pen(WIDTH, HEIGHT)
    for plate in shape.plates:
        _plate(pen, plate, scale)
    for points in shape.welds:
        pen.path([scale.at(p) for p in points], "weldmetal" if shape.weld_known else "guess", closed=True)
    for start, end in shape.gaps:
        pen.line(scale.at(start), scale.at(end), "wide")
    if not shape.weld_known:
        x, y = scale.at(shape.face)
        pen.text((x + 3, y - 3), "?", size=16)
    for measure in shape.measures:
        offset = measure.side * (14.0 + measure.beyond_mm * scale.px_per_mm)
        pen.dimension(scale.at(measure.start), scale.at(measure.end), measure.words, offset=offset, known=measure.known)
    _cracks(pen, shape, scale, findings)
    _symbol(pen, weld, shape, scale.at(shape.face))
    _scale_bar(pen, scale.px_per_mm)
    words = _section_words(weld, shape, findings)
    return Drawing(pen.svg(f"Cross-section of {name}", words, "joint-drawing"), words)


def _plate(pen: Pen, plate: Plate, scale: _Scale) -> None:
    corners = {"bl": (plate.x0, plate.y0), "br": (plate.x1, plate.y0), "tr": (plate.x1, plate.y1)}
    corners["tl"] = (plate.x0, plate.y1)
    p = {key: scale.at(value) for key, value in corners.items()}
    pen.path([p["bl"], p["br"], p["tr"], p["tl"]], "steel", closed=True)
    edges = {"left": ("bl", "tl"), "right": ("br", "tr"), "top": ("tl", "tr"), "bottom": ("bl", "br")}
    for edge, (a, b) in edges.items():
        if edge in plate.cut:
            pen.path(_break_line(p[a], p[b]), "thin")
        else:
            pen.line(p[a], p[b], "wide" if plate.known else "guess")


def _break_line(start: Point, end: Point) -> list[Point]:
    """The thin line with a zigzag by which a drawing breaks off."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = math.hypot(dx, dy) or 1.0
    ux, uy = dx / length, dy / length
    reach, zig = 4.0, min(5.0, length / 4)

    def along(share: float, aside: float) -> Point:
        return start[0] + dx * share - uy * aside, start[1] + dy * share + ux * aside

    half = zig / length / 2
    return [
        (start[0] - ux * reach, start[1] - uy * reach),
        along(0.5 - half, 0),
        along(0.5 - half / 3, zig),
        along(0.5 + half / 3, -zig),
        along(0.5 + half, 0),
        (end[0] + ux * reach, end[1] + uy * reach),
    ]


def _cracks(pen: Pen, shape: Shape, scale: _Scale, findings: Sequence[SeenFinding]) -> None:
    """Cracks at toe and root, the deepest known one to scale, the numbers of all on a leader below the steel."""
    rightwards = 1 if shape.toe[0] >= shape.root[0] else -1  # of the toe; so no leader crosses the weld or the other
    for place, start, into, side in (
        ("toe", shape.toe, shape.toe_into, rightwards),
        ("root", shape.root, shape.root_into, -rightwards),
    ):
        here = [f for f in findings if f.is_crack and (f.place or "toe").startswith(place)]
        if not here:
            continue
        depths = [f.depth_mm for f in here if f.depth_mm]
        wall = _wall(shape)
        depth = min(max(depths), wall) if depths else 0.25 * wall
        jag = [(0.0, 0.0), (0.07, 0.3), (-0.06, 0.55), (0.05, 0.8), (0.0, 1.0)]
        run = [
            (start[0] + depth * (t * into[0] - s * into[1]), start[1] + depth * (t * into[1] + s * into[0]))
            for s, t in jag
        ]
        pen.path([scale.at(p) for p in run], "crack" if depths else "guess grave")
        pen.circle(scale.at(run[-1]), 1.6, "grave-fill")
        label = numbers([f.number for f in here]) + ("" if depths else " ?")
        _callout(pen, scale.at(run[-1] if place == "toe" else start), label, side)


def _wall(shape: Shape) -> float:
    return shape.plates[0].y1 - shape.plates[0].y0


def _callout(pen: Pen, point: Point, label: str, side: int) -> None:
    """A leader from ``point`` down out of the steel, to the right (``side`` 1) or the left (-1), and the label."""
    wide = len(label) * BOLD_PX
    end = point[0] + side * 18
    end = min(end, WIDTH - 6 - wide) if side > 0 else max(end, 6 + wide)
    pen.line(point, (end, CALLOUTS_Y - 5), "thin strong-line")
    pen.text((end + side * 4, CALLOUTS_Y), label, size=12, anchor="start" if side > 0 else "end", look="strong")


def numbers(of: Sequence[int]) -> str:
    """The numbers of findings beside one mark; more than four are counted, for the words name each."""
    told = ", ".join(str(number) for number in (of if len(of) <= 4 else of[:3]))
    return told if len(of) <= 4 else f"{told} +{len(of) - 3}"


def _scale_bar(pen: Pen, px_per_mm: float) -> None:
    length = next((c for c in (100, 50, 20, 10, 5, 2, 1) if c * px_per_mm <= 110), 1)
    y, x = HEIGHT - 10, 12.0
    end = x + length * px_per_mm
    pen.line((x, y), (end, y), "wide")
    for tick in (x, end):
        pen.line((tick, y - 4), (tick, y + 4), "thin")
    pen.text((end + 7, y + 4), f"{length} mm", size=12, look="soft")


# Welding symbol -------------------------------------------------------------------------------------------------------


def symbol_size(weld: WeldSection) -> str:
    """What stands left of the symbol: ``a5.6`` or ``z8`` of a fillet, ``s6`` of a partial penetration, ``?``."""
    if weld.weld_type == "full penetration":
        return ""
    if weld.weld_type == "partial penetration":
        depth = weld.penetration_mm or weld.throat_mm
        return f"s{mm(depth)}" if depth else "s?"
    if weld.throat_mm:
        return f"a{mm(weld.throat_mm)}"
    return f"z{mm(weld.leg_mm)}" if weld.leg_mm else "?"


def _symbol(pen: Pen, weld: WeldSection, shape: Shape, target: Point) -> None:
    x, y = SYMBOL_AT
    tail = "/".join(word for word in (weld.process, weld.quality_level) if word)
    end = x + 96
    pen.path([target, (x, y), (end, y)], "thin strong-line")
    _arrow_head(pen, target, (x, y))
    centre = x + 50
    symmetric = shape.both_sides and weld.joint_type != "lap"
    if not symmetric:
        pen.path([(x, y + 5), (end, y + 5)], "guess")  # identification line of system A
    _elementary(pen, weld, centre, y, up=True)
    if symmetric:
        _elementary(pen, weld, centre, y, up=False)
    size = symbol_size(weld)
    pen.text((centre - 12, y - 6), size, anchor="end", size=14)
    if tail:
        pen.path([(end + 10, y - 10), (end, y), (end + 10, y + 10)], "thin strong-line")
        pen.text((end + 12, y - 14), tail, size=12, anchor="end", look="soft")


def _elementary(pen: Pen, weld: WeldSection, x: float, y: float, *, up: bool) -> None:
    """Fillet: a triangle with its upright at the left; V and bevel for butt welds; a dashed triangle if not known."""
    d = -1 if up else 1
    if weld.weld_type in ("fillet", ""):
        look = "symbol" if weld.weld_type else "guess"
        pen.path([(x - 8, y), (x - 8, y + d * 17), (x + 9, y)], look, closed=not weld.weld_type)
    elif weld.joint_type == "butt":
        pen.path([(x - 10, y + d * 17), (x, y), (x + 10, y + d * 17)], "symbol")
    else:
        pen.path([(x - 5, y + d * 17), (x - 5, y)], "symbol")
        pen.path([(x + 9, y + d * 17), (x - 5, y)], "symbol")


def _arrow_head(pen: Pen, tip: Point, origin: Point) -> None:
    dx, dy = tip[0] - origin[0], tip[1] - origin[1]
    length = math.hypot(dx, dy) or 1.0
    ux, uy = dx / length, dy / length
    back = (tip[0] - 10 * ux, tip[1] - 10 * uy)
    pen.path([tip, (back[0] - 3 * uy, back[1] + 3 * ux), (back[0] + 3 * uy, back[1] - 3 * ux)], "solid", closed=True)


# The same in words ----------------------------------------------------------------------------------------------------


def _section_words(weld: WeldSection, shape: Shape, findings: Sequence[SeenFinding]) -> list[str]:
    kind = f"{weld.joint_type} joint" if weld.joint_type else "joint type not known, drawn as a tee"
    bead = {"fillet": "fillet weld", "": "weld type not known"}.get(weld.weld_type, f"{weld.weld_type} weld")
    words = [f"{kind}, {bead}".capitalize()]
    sizes = [
        _size_words("leg", weld.leg_mm) if weld.weld_type != "full penetration" else "",
        _size_words("throat", weld.throat_mm) if weld.weld_type == "fillet" else "",
        _size_words("penetration", weld.penetration_mm) if weld.weld_type == "partial penetration" else "",
        _size_words("wall where the toe cracks", weld.wall_mm),
        _size_words("other wall", weld.other_wall_mm),
    ]
    words.append(", ".join(size for size in sizes if size).capitalize())
    if weld.leg_mm is None and weld.leg is not None:
        words.append(f"Leg drawn from the throat as a flat equal-legged fillet, about {mm(weld.leg)} mm")
    if shape.both_sides:
        words.append("Both sides are drawn alike: the register holds one size")
    if weld.weld_type.endswith("penetration"):
        words.append("The groove is drawn schematically; its depth is to scale")
    words += [finding_words(finding) for finding in findings]
    words += _guessed(shape, [finding for finding in findings if finding.is_crack])
    return words


def _guessed(shape: Shape, cracks: Sequence[SeenFinding]) -> list[str]:
    """What the drawing does not show as it was told."""
    no_place = [f.number for f in cracks if not f.place]
    deep = [f.number for f in cracks if f.depth_mm and f.depth_mm > _wall(shape)]
    words = []
    if no_place:
        words.append(f"Drawn at the toe, though not said whether toe or root: finding {_listed(no_place)}")
    if deep:
        words.append(f"Drawn to the wall's thickness, though told deeper: finding {_listed(deep)}")
    return words


def _listed(of: Sequence[int]) -> str:
    return ", ".join(str(number) for number in of)


def _size_words(name: str, value: float | None) -> str:
    return f"{name} {mm(value)} mm" if value is not None else f"{name} not known"


def finding_words(finding: SeenFinding) -> str:
    """``Finding 2: crack, hold now, at the toe, 3 mm deep, at 4:00 o'clock``."""
    parts = [f"Finding {finding.number}: {finding.words}", finding.severity]
    if finding.place:
        parts.append(f"at the {finding.place}")
    if finding.depth_mm is not None:
        parts.append(f"{mm(finding.depth_mm)} mm deep")
    if finding.length_mm is not None:
        parts.append(f"{mm(finding.length_mm)} mm long")
    if finding.clock_deg is not None:
        parts.append(f"at {clock(finding.clock_deg)} o'clock")
    elif finding.position_mm is not None:
        parts.append(f"{mm(finding.position_mm)} mm from the datum end")
    else:
        parts.append("position along the weld not known")
    return ", ".join(parts)


def clock(degrees: float) -> str:
    """Degrees clockwise from the top as a clock position: 120 is ``4:00``; to the nearest five minutes of the dial."""
    steps = round((degrees % 360) / 2.5) % 144
    hour, minute = divmod(steps * 5, 60)
    return f"{hour or 12}:{minute:02d}"
