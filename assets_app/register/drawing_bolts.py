"""A bolt group drawn by position: every bolt with its number and its state."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from assets_app.register.pen import Drawing, Pen, mm

WIDTH, HEIGHT = 360.0, 330.0
MARGIN = 42.0
HEAD_SHARE = 1.5  # width across flats of a hexagon head over the bolt's diameter, about (common practice)
NUMBER_PX = 18.0  # what a number of two digits needs beside its neighbour
TOUCH_RADIUS = 26.0  # px of the drawing: 44 px and more across on a phone
STATES = ("missing", "broken", "loose", "gap", "movement")  # from the worst; anything else is drawn as sound


@dataclass(frozen=True)
class BoltPattern:
    """What the register knows of a bolt group. Lengths in mm; None or an empty word means not known."""

    bolt_count: int | None = None
    pattern: str = ""
    ring_diameter_mm: float | None = None
    rows: int | None = None
    row_pitch_mm: float | None = None
    column_pitch_mm: float | None = None
    positions: Sequence[tuple[float, float]] = ()
    size: str = ""

    @property
    def diameter_mm(self) -> float | None:
        """Nominal diameter from a size such as M20."""
        digits = self.size[1:].split("x")[0] if self.size[:1] in "Mm" else ""
        try:
            return float(digits)
        except ValueError:
            return None


@dataclass(frozen=True)
class _Layout:
    points: list[tuple[float, float]]  # mm, y up
    to_scale: bool
    words: str


def layout(bolts: BoltPattern) -> _Layout:
    """Positions of the bolts. Ring: number 1 at the top, then clockwise; grid: row by row from the lower left."""
    count = bolts.bolt_count or len(bolts.positions)
    if bolts.pattern == "custom" and bolts.positions:
        return _Layout([(float(x), float(y)) for x, y in bolts.positions], True, "placed by coordinates")
    if bolts.pattern == "grid" and bolts.rows and count:
        return _grid(bolts, count)
    known = bolts.pattern == "ring" and bool(bolts.ring_diameter_mm)
    radius = (bolts.ring_diameter_mm or 200.0) / 2
    turns = [2 * math.pi * k / count for k in range(count)] if count else []
    points = [(radius * math.sin(turn), radius * math.cos(turn)) for turn in turns]
    if known:
        return _Layout(points, True, f"on a ring of {mm(radius * 2)} mm, number 1 at the top, then clockwise")
    return _Layout(points, False, "pattern not known, drawn as a ring, not to scale")


def _grid(bolts: BoltPattern, count: int) -> _Layout:
    rows = bolts.rows or 1
    columns = math.ceil(count / rows)
    pitch_x = bolts.column_pitch_mm or bolts.row_pitch_mm or 60.0
    pitch_y = bolts.row_pitch_mm or bolts.column_pitch_mm or 60.0
    known = (columns == 1 or bolts.column_pitch_mm is not None) and (rows == 1 or bolts.row_pitch_mm is not None)
    points = [
        ((k % columns - (columns - 1) / 2) * pitch_x, (k // columns - (rows - 1) / 2) * pitch_y) for k in range(count)
    ]
    scale_words = f"pitch {mm(pitch_x)} by {mm(pitch_y)} mm" if known else "pitch not known, not to scale"
    return _Layout(points, known, f"in {rows} rows of {columns}, number 1 at the lower left, row by row; {scale_words}")


def bolt_group(bolts: BoltPattern, states: Mapping[int, str], *, name: str = "bolts", touch: bool = False) -> Drawing:
    """The group to scale seen along the bolts; ``states`` gives the state of a bolt by its number from 1.

    ``touch`` lays a wide clear disc over each bolt, for a gloved finger.
    """
    plan = layout(bolts)
    pen = Pen(WIDTH, HEIGHT)
    words = _words(bolts, plan, states)
    if not plan.points:
        pen.circle((WIDTH / 2, HEIGHT / 2), 100, "guess")
        pen.text((WIDTH / 2, HEIGHT / 2), "number of bolts not known", anchor="middle")
        return Drawing(pen.svg(f"Bolt group {name}", words, "bolt-drawing"), words)
    scale, places = _fit(plan)
    around = bolts.pattern not in ("grid", "custom")
    if around:
        radius = math.hypot(*plan.points[0]) * scale
        pen.circle((WIDTH / 2, HEIGHT / 2), radius, "thin dash-dot" if plan.to_scale else "guess")
    diameter = bolts.diameter_mm
    size = (diameter or 0) * scale if plan.to_scale else 0.0
    size = min(max(size, 7.0), 46.0) if diameter else 16.0
    each = math.ceil(NUMBER_PX / max(_nearest(places), 1.0))
    reach = min(TOUCH_RADIUS, _nearest(places) / 2) if touch else 0.0
    for number, place in enumerate(places, start=1):
        pen.parts.append(f'<g data-bolt="{number}">')
        _bolt(pen, place, size, states.get(number, ""), known=diameter is not None)
        if reach:
            pen.circle(place, reach, "touch")
        pen.parts.append("</g>")
        state = states.get(number, "")
        if (number - 1) % each == 0:
            out = size / 2 * HEAD_SHARE + (16 if state == "loose" else 12)
            _number(pen, place, out, number, bool(state), around=around)
    _measure(pen, bolts, plan)
    if each > 1:
        words.insert(1, f"So close together that only numbers 1, {1 + each}, {1 + 2 * each} and so on are written")
    return Drawing(pen.svg(f"Bolt group {name}", words, "bolt-drawing"), words)


def _fit(plan: _Layout) -> tuple[float, list[tuple[float, float]]]:
    """px per mm, and the places in px."""
    xs, ys = [x for x, _ in plan.points], [y for _, y in plan.points]
    wide, high = max(xs) - min(xs), max(ys) - min(ys)
    scale = min((WIDTH - 2 * MARGIN) / wide if wide else 9e9, (HEIGHT - 2 * MARGIN) / high if high else 9e9)
    scale = scale if scale < 9e9 else 1.0
    cx, cy = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2
    return scale, [(WIDTH / 2 + (x - cx) * scale, HEIGHT / 2 - (y - cy) * scale) for x, y in plan.points]


def _nearest(places: list[tuple[float, float]]) -> float:
    """Least distance between two bolts, px; a lone bolt has the paper to itself."""
    pairs = ((a, b) for index, a in enumerate(places) for b in places[index + 1 :])
    return min((math.dist(a, b) for a, b in pairs), default=WIDTH)


def _bolt(pen: Pen, at: tuple[float, float], size: float, state: str, *, known: bool) -> None:
    """Sound: head and shank. Missing: an empty dashed hole. Broken: barred twice. Loose: open turn. Others: marked."""
    x, y = at
    r = size / 2
    if state == "missing":
        pen.circle(at, r, "guess grave")
        pen.line((x - r, y + r), (x + r, y - r), "grave fine")
    else:
        _head(pen, at, r * HEAD_SHARE, "hollow" if known else "guess")
        pen.circle(at, r, "shank" if state != "broken" else "hollow")
    if state == "broken":
        pen.path([(x - r, y - r), (x + r * 0.2, y - r * 0.2), (x - r * 0.2, y + r * 0.2), (x + r, y + r)], "crack")
    if state == "loose":
        _turn(pen, at, r * HEAD_SHARE + 5)
    if state in ("gap", "movement"):
        for side in (-1, 1):
            pen.line((x + side * (r * 1.5 + 4), y - r), (x + side * (r * 1.5 + 4), y + r), "late mark")


def _number(pen: Pen, at: tuple[float, float], out: float, number: int, marked: bool, *, around: bool) -> None:
    """Outside the ring, or at the upper right of a bolt in a grid."""
    x, y = at
    dx, dy = x - WIDTH / 2, y - HEIGHT / 2
    away = math.hypot(dx, dy)
    if not around or away == 0:
        dx, dy, away = 0.8, -0.8, 1.0
    tx, ty = x + dx / away * out, y + dy / away * out
    pen.text((tx, ty + 4), str(number), size=12, anchor="middle", look="strong" if marked else "soft")


def _head(pen: Pen, at: tuple[float, float], radius: float, look: str) -> None:
    corner = radius / math.cos(math.pi / 6)
    turns = [math.pi / 6 + math.pi / 3 * k for k in range(6)]
    pen.path([(at[0] + corner * math.cos(t), at[1] + corner * math.sin(t)) for t in turns], look, closed=True)


def _turn(pen: Pen, at: tuple[float, float], radius: float) -> None:
    """Three quarters of a turn with an open end: the sign of a nut that goes round."""
    turns = [math.pi * (0.3 + 0.09 * k) for k in range(17)]
    run = [(at[0] + radius * math.cos(t), at[1] + radius * math.sin(t)) for t in turns]
    pen.path(run, "late mark")
    x, y = run[-1]
    pen.path([(x - 5, y - 2), (x, y), (x - 1, y - 6)], "late mark")


def _measure(pen: Pen, bolts: BoltPattern, plan: _Layout) -> None:
    if bolts.pattern == "ring" and plan.to_scale:
        pen.text((WIDTH / 2, HEIGHT / 2 - 4), f"ø {mm(bolts.ring_diameter_mm or 0)}", anchor="middle")
    elif not plan.to_scale:
        pen.text((WIDTH / 2, HEIGHT - 6), "not to scale", anchor="middle", look="soft")
    size = bolts.size or "size ?"
    y = HEIGHT / 2 + 14 if bolts.pattern != "grid" and bolts.pattern != "custom" else 16
    pen.text((WIDTH / 2, y), f"{len(plan.points)} × {size}", anchor="middle", look="soft")


def _words(bolts: BoltPattern, plan: _Layout, states: Mapping[int, str]) -> list[str]:
    count = len(plan.points)
    words = [f"{count} bolts {bolts.size or 'of unknown size'}, {plan.words}" if count else "Number of bolts not known"]
    for state in STATES:
        numbers = [str(number) for number in sorted(states) if states[number] == state]
        if numbers:
            words.append(f"{state.capitalize()}: bolt {', '.join(numbers)}")
    if count and not states:
        words.append("No open finding at any bolt")
    return words
