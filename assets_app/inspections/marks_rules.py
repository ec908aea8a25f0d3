"""What a mark on a photo may be, how it is drawn, and which photos show the same position. Pure.

A length is a line with the size that the person measured at the steel. Nothing is measured on the photo: a photo has no
scale, and none is worked out from a length that somebody typed.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from assets_app.refusals import Unprocessable
from assets_app.register.drawing import clock
from assets_app.register.pen import Pen, Point, mm
from engineering import units
from engineering.errors import InputError

SHAPES = ("arrow", "ring", "length", "text")
LONGEST_TEXT = 80
MOST_MARKS = 40  # standing ones on a photo
LEAST_REACH = 0.01  # of the photo's width: below it nobody sees which way an arrow points
CANVAS = 1000.0  # width of the drawing over a photo; its height follows the photo
HEAD, BAR, TEXT_SIZE = 34.0, 22.0, 36.0
LONGEST_LINE = 42  # characters of the bold words across a photo


@dataclass(frozen=True)
class Mark:
    """A mark in shares of the photo's width and height, 0 to 1 from its upper left corner."""

    shape: str
    x: float
    y: float
    x2: float | None = None
    y2: float | None = None
    text: str = ""


def check(mark: Mark) -> None:
    """Refuse ``mark_shape``, ``mark_outside``, ``mark_needs_end``, ``mark_too_small``, ``mark_needs_words``,
    ``mark_words_too_long``, ``mark_needs_size``; the field is named."""
    if mark.shape not in SHAPES:
        raise Unprocessable("mark_shape", f"A mark is one of {', '.join(SHAPES)}.", field="shape")
    ends = {"x": mark.x, "y": mark.y, "x2": mark.x2, "y2": mark.y2}
    for name, value in ends.items():
        if value is not None and not (math.isfinite(value) and 0 <= value <= 1):
            raise Unprocessable("mark_outside", "The mark lies outside the photo: give 0 to 1.", field=name)
    if len(mark.text) > LONGEST_TEXT:
        message = f"The words may have at most {LONGEST_TEXT} characters."
        raise Unprocessable("mark_words_too_long", message, field="text")
    if mark.shape == "text":
        if not mark.text.strip():
            raise Unprocessable("mark_needs_words", "Write the words.", field="text")
        return
    if mark.x2 is None or mark.y2 is None:
        raise Unprocessable("mark_needs_end", f"Say {_END[mark.shape]}.", field="x2" if mark.x2 is None else "y2")
    if math.dist((mark.x, mark.y), (mark.x2, mark.y2)) < LEAST_REACH:
        raise Unprocessable("mark_too_small", "The two points lie on each other.", field="x2")
    if mark.shape == "length":
        _check_size(mark.text)


_END = {"arrow": "where the arrow comes from", "ring": "a point on the ring", "length": "where the length ends"}


def _check_size(typed: str) -> None:
    """A size above 0 with its unit: without one it could be read in two ways on the photo."""
    message = "Write the size that you measured, with its unit, such as 12 mm or 3/8 in. None is read off the photo."
    try:
        size_mm = units.parse_length_mm(typed)
    except InputError:
        size_mm = 0.0
    if size_mm <= 0 or typed.strip()[-1].isdigit():
        raise Unprocessable("mark_needs_size", message, field="text")


# The drawing over a photo ---------------------------------------------------------------------------------------------


def overlay(marks: Sequence[Mark], width: int, height: int, *, href: str = "", name: str = "photo") -> str:
    """The marks over a photo of ``width`` x ``height`` px as SVG; ``href`` lays the photo itself underneath.

    Every line is drawn twice, a light edge below a dark line, so that it shows on any photo.
    """
    pen = Pen(CANVAS, CANVAS * (height / width if width and height else 0.75))
    if href:
        size = f'width="{pen.width:g}" height="{pen.height:.1f}"'
        pen.parts.append(f'<image href="{href}" x="0" y="0" {size}/>')
    for mark in marks:
        for look in ("mark-edge", "mark-line"):
            _draw(pen, mark, look)
    return pen.svg(name, words(marks), "photo-marks")


def words(marks: Sequence[Mark]) -> list[str]:
    """Each mark as a sentence, for who cannot see the drawing."""
    return [_sentence(mark) for mark in marks]


def _sentence(mark: Mark) -> str:
    where = f"{mark.x * 100:.0f} % from the left, {mark.y * 100:.0f} % from the top"
    if mark.shape == "length" and mark.x2 is not None and mark.y2 is not None:
        end = f"{mark.x2 * 100:.0f} % from the left, {mark.y2 * 100:.0f} % from the top"
        return f"Length from {where}, to {end}: {mark.text}, as measured at the steel"
    said = {"arrow": "Arrow to", "ring": "Ring round", "length": "Length at", "text": "Words at"}[mark.shape]
    return f"{said} {where}{': ' + mark.text if mark.text else ''}"


def _draw(pen: Pen, mark: Mark, look: str) -> None:
    tip = (mark.x * pen.width, mark.y * pen.height)
    if mark.x2 is None or mark.y2 is None:
        _words(pen, tip, mark.text, look)
        return
    end = (mark.x2 * pen.width, mark.y2 * pen.height)
    if mark.shape == "ring":
        radius = math.dist(tip, end)
        pen.circle(tip, radius, look)
        _words(pen, (tip[0] + radius * 0.75 + 10, tip[1] - radius * 0.75 - 10), mark.text, look)
    elif mark.shape == "length":
        _length(pen, tip, end, look)
        middle = ((tip[0] + end[0]) / 2 + 14, (tip[1] + end[1]) / 2 - 20)
        _words(pen, middle, mark.text, look)
    else:
        _arrow(pen, tip, end, look)
        below = TEXT_SIZE if end[1] > tip[1] else -8.0
        _words(pen, (end[0], end[1] + below), mark.text, look)


def _arrow(pen: Pen, tip: Point, tail: Point, look: str) -> None:
    length = math.dist(tip, tail)
    ux, uy = (tail[0] - tip[0]) / length, (tail[1] - tip[1]) / length
    back = (tip[0] + HEAD * ux, tip[1] + HEAD * uy)
    half = HEAD * 0.4
    pen.path([tail, tip], look)
    pen.path([(back[0] - half * uy, back[1] + half * ux), tip, (back[0] + half * uy, back[1] - half * ux)], look)


def _length(pen: Pen, start: Point, end: Point, look: str) -> None:
    """A line with a bar across at each end."""
    length = math.dist(start, end)
    across = ((end[1] - start[1]) / length * BAR, (start[0] - end[0]) / length * BAR)
    pen.path([start, end], look)
    for at in (start, end):
        pen.path([(at[0] - across[0], at[1] - across[1]), (at[0] + across[0], at[1] + across[1])], look)


def _words(pen: Pen, at: Point, text: str, look: str) -> None:
    """Kept on the photo: in lines as long as it is wide, to the left and up where they would run off its edges."""
    lines = textwrap.wrap(text, LONGEST_LINE)
    if not lines:
        return
    reach = max(map(len, lines)) * pen.width / LONGEST_LINE  # about as wide as they are
    x = at[0] if at[0] + reach <= pen.width else max(pen.width - reach, 8.0)
    lowest = pen.height - 10 - (len(lines) - 1) * TEXT_SIZE
    y = max(min(at[1], lowest), TEXT_SIZE)
    for number, line in enumerate(lines):
        pen.text((x, y + number * TEXT_SIZE), line, size=TEXT_SIZE, look=look)


# Which photos show the same position ----------------------------------------------------------------------------------

WHOLE = "the joint as a whole"


def position_words(*, place: str, clock_deg: float | None, position_mm: float | None, bolts: Sequence[int]) -> str:
    """Where a finding is, as one position: ``toe, 3:00 o'clock``, ``bolt 4, 5``; a finding without one is the joint."""
    parts = [place] if place else []
    if clock_deg is not None:
        parts.append(f"{clock(clock_deg)} o'clock")
    elif position_mm is not None:
        parts.append(f"{mm(position_mm)} mm from the datum end")
    if bolts:
        parts.append("bolt " + ", ".join(str(number) for number in sorted(bolts)))
    return ", ".join(parts) or WHOLE
