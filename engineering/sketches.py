"""Small line drawings of joint details, made from coordinates: outline of the steel, weld filled in, arrows of stress.

Each is an SVG of 120 by 72 units without a colour of its own: it takes the colour of the text around it.
"""

from __future__ import annotations

from html import escape

from engineering.errors import InputError

Point = tuple[float, float]


def _outline(*points: Point) -> str:
    return f'<polygon points="{_list(points)}"/>'


def _weld(*points: Point) -> str:
    return f'<polygon points="{_list(points)}" fill="currentColor"/>'


def _line(*points: Point, dashed: bool = False) -> str:
    dash = ' stroke-dasharray="3 2"' if dashed else ""
    return f'<polyline points="{_list(points)}"{dash}/>'


def _circle(centre: Point, radius: float) -> str:
    return f'<circle cx="{centre[0]:g}" cy="{centre[1]:g}" r="{radius:g}"/>'


def _box(left: float, top: float, right: float, bottom: float) -> str:
    return _outline((left, top), (right, top), (right, bottom), (left, bottom))


def _arrow(tail: Point, tip: Point) -> str:
    """A stress arrow along the x or the y axis, with a head of 3 units."""
    (x0, y0), (x1, y1) = tail, tip
    if y0 == y1:
        back = x1 - 3 if x1 > x0 else x1 + 3
        head = ((back, y1 - 2), tip, (back, y1 + 2))
    else:
        back = y1 - 3 if y1 > y0 else y1 + 3
        head = ((x1 - 2, back), tip, (x1 + 2, back))
    return _line(tail, tip) + _line(*head)


def _pull(y: float) -> str:
    """Stress pulling left and right at height y."""
    return _arrow((12, y), (2, y)) + _arrow((108, y), (118, y))


def _list(points: tuple[Point, ...]) -> str:
    return " ".join(f"{x:g},{y:g}" for x, y in points)


def _bolt(x: float, top: float, bottom: float) -> str:
    """A bolt upright through plates from top to bottom: head, shank, nut."""
    return _box(x - 6, top - 6, x + 6, top) + _box(x - 5, bottom, x + 5, bottom + 5) + _box(x - 3, top, x + 3, bottom)


_DRAWINGS = {
    "plain": ("Plain plate under stress", _box(16, 28, 104, 44) + _pull(36)),
    "butt": (
        "Butt weld across the stress",
        _box(16, 28, 56, 44)
        + _box(64, 28, 104, 44)
        + _weld((52, 28), (60, 25), (68, 28), (63, 44), (60, 46), (57, 44))
        + _pull(36),
    ),
    "tee_fillet": (
        "Tee joint with fillet welds",
        _box(16, 50, 104, 62)
        + _box(54, 12, 66, 50)
        + _weld((54, 42), (54, 50), (46, 50))
        + _weld((66, 42), (66, 50), (74, 50))
        + _arrow((60, 11), (60, 2)),
    ),
    "cruciform": (
        "Cross joint with fillet welds",
        _box(54, 6, 66, 66)
        + _box(16, 30, 54, 42)
        + _box(66, 30, 104, 42)
        + _weld((54, 22), (54, 30), (46, 30))
        + _weld((54, 50), (54, 42), (46, 42))
        + _weld((66, 22), (66, 30), (74, 30))
        + _weld((66, 50), (66, 42), (74, 42))
        + _pull(36),
    ),
    "longitudinal_attachment": (
        "Attachment along the stress",
        _box(16, 48, 104, 60)
        + _box(38, 20, 82, 48)
        + _weld((32, 48), (38, 48), (38, 41))
        + _weld((88, 48), (82, 48), (82, 41))
        + _line((38, 45), (82, 45), dashed=True)
        + _pull(54),
    ),
    "transverse_attachment": (
        "Attachment across the stress",
        _box(16, 48, 104, 60)
        + _box(55, 14, 65, 48)
        + _weld((55, 41), (55, 48), (48, 48))
        + _weld((65, 41), (65, 48), (72, 48))
        + _pull(54),
    ),
    "cover_plate": (
        "End of a cover plate",
        _box(16, 44, 104, 60) + _box(44, 32, 104, 44) + _weld((44, 32), (44, 44), (33, 44)) + _pull(52),
    ),
    "tube_butt": (
        "Tubes butt welded end to end",
        _line((56, 20), (16, 20), (16, 52), (56, 52))
        + _line((64, 20), (104, 20), (104, 52), (64, 52))
        + _line((16, 36), (104, 36), dashed=True)
        + _weld((56, 20), (60, 17), (64, 20), (64, 52), (60, 55), (56, 52))
        + _pull(30),
    ),
    "tube_plate_fillet": (
        "Tube fillet welded to a plate",
        _box(84, 8, 94, 64)
        + _box(16, 22, 84, 50)
        + _line((16, 26), (84, 26), dashed=True)
        + _line((16, 46), (84, 46), dashed=True)
        + _weld((76, 22), (84, 22), (84, 14))
        + _weld((76, 50), (84, 50), (84, 58))
        + _arrow((12, 36), (2, 36)),
    ),
    "bolt_tension": (
        "Bolt in tension",
        _box(30, 24, 90, 36)
        + _box(30, 36, 90, 48)
        + _bolt(60, 24, 48)
        + _arrow((38, 23), (38, 10))
        + _arrow((38, 49), (38, 62))
        + _arrow((82, 23), (82, 10))
        + _arrow((82, 49), (82, 62)),
    ),
    "bolt_shear": (
        "Bolt in shear",
        _box(16, 26, 80, 36) + _box(40, 36, 104, 46) + _bolt(60, 26, 46) + _arrow((14, 31), (3, 31))
        + _arrow((106, 41), (117, 41)),
    ),
    "slip_resistant": (
        "Preloaded joint that holds by friction",
        _box(16, 30, 58, 42)
        + _box(62, 30, 104, 42)
        + _box(30, 22, 90, 30)
        + _box(30, 42, 90, 50)
        + _bolt(44, 22, 50)
        + _bolt(76, 22, 50)
        + _pull(36),
    ),
}  # fmt: skip

SKETCHES = tuple(_DRAWINGS)


def sketch_svg(sketch: str) -> str:
    """The drawing called ``sketch`` as SVG text: 120 by 72 units, strokes in the colour of the text, with a title.

    Errors: ``InputError`` (``unknown_row``) lists the names there are.
    """
    if sketch not in _DRAWINGS:
        raise InputError("sketch", f"no sketch {sketch!r}; known: {', '.join(SKETCHES)}", code="unknown_row")
    title, drawing = _DRAWINGS[sketch]
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 120 72" role="img" fill="none" stroke="currentColor"'
        ' stroke-width="1.2" stroke-linejoin="round" stroke-linecap="round">'
        f"<title>{escape(title)}</title>{drawing}</svg>"
    )
