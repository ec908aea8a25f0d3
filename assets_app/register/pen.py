"""The pen of every drawing: SVG elements from plain numbers, with a title and the same said in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

Point = tuple[float, float]

# The marks of a severity in a 16 x 16 box; the line grows heavier with the severity.
SEVERITY_MARKS: dict[str, str] = {
    "record": '<circle cx="8" cy="8" r="3" fill="currentColor"/>',
    "watch": '<circle cx="8" cy="8" r="6" fill="none" stroke="currentColor" stroke-width="1.5"/>',
    "plan repair": (
        '<g fill="none" stroke="currentColor" stroke-width="2"><circle cx="8" cy="8" r="6"/><path d="M2 8h12"/></g>'
    ),
    "repair before use": (
        '<path d="M1.5 13.5 14.5 8 1.5 2.5z" fill="none" stroke="currentColor" stroke-width="2.5" '
        'stroke-linejoin="round"/>'
    ),
    "hold now": '<path d="M5 .5h6L15.5 5v6L11 15.5H5L.5 11V5z" fill="currentColor"/>',
}


@dataclass(frozen=True)
class Drawing:
    """What a drawing function hands back: the SVG, and sentences that say the same."""

    svg: SafeString
    words: list[str]


def mm(value: float) -> str:
    """A length as a drawing writes it: at most one decimal, no trailing zero."""
    return f"{value:.1f}".rstrip("0").rstrip(".")


def _n(value: float) -> str:
    """A coordinate in px: one decimal is finer than any screen or printer needs."""
    if not math.isfinite(value):
        raise ValueError("a coordinate of a drawing must be finite")
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


@dataclass
class Pen:
    """Collects elements on a canvas of ``width`` x ``height`` px; y runs down."""

    width: float
    height: float
    parts: list[str] = field(default_factory=list)

    def line(self, start: Point, end: Point, look: str, extra: str = "") -> None:
        ends = f'x1="{_n(start[0])}" y1="{_n(start[1])}" x2="{_n(end[0])}" y2="{_n(end[1])}"'
        self.parts.append(f'<line {ends} class="{look}"{extra}/>')

    def path(self, points: Sequence[Point], look: str, *, closed: bool = False) -> None:
        run = "L".join(f"{_n(x)} {_n(y)}" for x, y in points)
        self.parts.append(f'<path d="M{run}{"Z" if closed else ""}" class="{look}"/>')

    def rect(self, x: float, y: float, width: float, height: float, look: str) -> None:
        size = f'width="{_n(max(width, 0))}" height="{_n(max(height, 0))}"'
        self.parts.append(f'<rect x="{_n(x)}" y="{_n(y)}" {size} class="{look}"/>')

    def circle(self, centre: Point, radius: float, look: str) -> None:
        self.parts.append(f'<circle cx="{_n(centre[0])}" cy="{_n(centre[1])}" r="{_n(radius)}" class="{look}"/>')

    def text(self, at: Point, words: str, *, size: float = 13, anchor: str = "start", look: str = "") -> None:
        style = f' class="{look}"' if look else ""
        place = f'x="{_n(at[0])}" y="{_n(at[1])}" font-size="{_n(size)}" text-anchor="{anchor}"'
        self.parts.append(f"<text {place}{style}>{escape(words)}</text>")

    def severity(self, centre: Point, severity: str, size: float = 14) -> None:
        """The mark of a severity, centred; its hue comes from the style sheet by ``data-severity``."""
        x, y = centre[0] - size / 2, centre[1] - size / 2
        scale = f"translate({_n(x)} {_n(y)}) scale({size / 16:.3f})"
        mark = SEVERITY_MARKS[severity]
        self.parts.append(f'<g class="severity" data-severity="{severity}" transform="{scale}">{mark}</g>')

    def hatch(self, x: float, y: float, width: float, height: float, step: float = 6) -> None:
        """Diagonal hatching of a rectangle, cut at its edges."""
        if width <= 0 or height <= 0:
            return
        strokes = []
        first = math.ceil((x - height + y) / step)  # strokes stand on one grid, so neighbours join
        last = math.floor((x + width + y) / step)
        for k in range(first, last + 1):
            offset = k * step  # the line px + py = offset + height, rising to the right
            low = max(x, offset + height - (y + height))
            high = min(x + width, offset + height - y)
            if high > low:
                strokes.append(f"M{_n(low)} {_n(offset + height - low)}L{_n(high)} {_n(offset + height - high)}")
        self.parts.append(f'<path d="{"".join(strokes)}" class="hatch"/>')

    def dimension(self, start: Point, end: Point, words: str, *, offset: float, known: bool = True) -> None:
        """A dimension line beside ``start``-``end``, ``offset`` px to its left, with oblique ticks and its words."""
        dx, dy = end[0] - start[0], end[1] - start[1]
        length = math.hypot(dx, dy) or 1.0
        nx, ny = dy / length * offset, -dx / length * offset
        a, b = (start[0] + nx, start[1] + ny), (end[0] + nx, end[1] + ny)
        look = "thin" if known else "guess"
        self.line(start, (a[0] + nx * 0.15, a[1] + ny * 0.15), "faint")
        self.line(end, (b[0] + nx * 0.15, b[1] + ny * 0.15), "faint")
        self.line(a, b, look)
        for px, py in (a, b):
            self.line((px - 3, py + 3), (px + 3, py - 3), "thin")
        middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        if abs(dx) >= abs(dy):
            self.text((middle[0], middle[1] + (-5 if ny <= 0 else 14)), words, anchor="middle")
        else:
            self.text((middle[0] + (6 if nx >= 0 else -6), middle[1] + 4), words, anchor="start" if nx >= 0 else "end")

    def svg(self, title: str, words: Sequence[str], look: str = "") -> SafeString:
        """The whole drawing. Its accessible name is the title and the first sentences."""
        name = escape(". ".join([title, *words[:4]]))
        box = f'viewBox="0 0 {_n(self.width)} {_n(self.height)}"'
        head = f'<svg xmlns="http://www.w3.org/2000/svg" {box} class="sj {look}" role="img" aria-label="{name}">'
        body = "".join(self.parts)
        return mark_safe(f"{head}<title>{escape(title)}</title>{body}</svg>")  # noqa: S308 - every word went through escape
