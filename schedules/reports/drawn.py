"""The drawings of the pages on paper: the pen's SVG drawn by reportlab, line for line, in black and greys.

Only what ``register.pen`` writes is understood; anything else raises, so that a drawing is never quietly incomplete.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from xml.etree import ElementTree

from reportlab.lib.colors import Color, HexColor
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from assets_app.doors.paper import BOLD, PLAIN, printable

INK, INK_2, LINE, LINE_STRONG = "#000000", "#333333", "#999999", "#333333"
STEEL, WELD, SHEET, GRAVE = "#eeeeee", "#777777", "#ffffff", "#96101f"


@dataclass(frozen=True)
class Look:
    """How an element is drawn. Lengths in px of the drawing; None draws nothing."""

    stroke: str | None = None
    fill: str | None = None
    width: float = 1.0
    dash: tuple[float, ...] = ()
    bold: bool = False


# The print palette of drawings.css, in the same order: a later class wins over an earlier one.
_CLASSES: tuple[tuple[str, dict[str, object]], ...] = (
    ("soft", {"fill": INK_2}),
    ("wide", {"stroke": INK, "width": 1.6}),
    ("thin", {"stroke": LINE_STRONG, "width": 0.8}),
    ("faint", {"stroke": LINE, "width": 0.8}),
    ("guess", {"stroke": INK_2, "width": 1.2, "dash": (5, 3)}),
    ("steel", {"fill": STEEL}),
    ("weldmetal", {"fill": WELD, "stroke": INK, "width": 1.2}),
    ("solid", {"fill": INK, "stroke": None}),
    ("hollow", {"fill": SHEET, "stroke": INK}),
    ("hatch", {"stroke": LINE, "width": 1.0}),
    ("late", {"stroke": INK}),
    ("late-fill", {"fill": INK}),
    ("grave", {"stroke": GRAVE}),
    ("grave-fill", {"fill": GRAVE}),
    ("strong-line", {"stroke": INK, "width": 1.0}),
    ("symbol", {"stroke": INK, "width": 1.6}),
    ("crack", {"stroke": GRAVE, "width": 2.2}),
    ("strong", {"bold": True}),
    ("shank", {"stroke": INK, "width": 1.0, "fill": STEEL}),
    ("dash-dot", {"dash": (12, 3, 2, 3)}),
    ("fine", {"width": 1.2}),
    ("mark", {"width": 2.2}),
    ("mark-edge", {"stroke": SHEET, "width": 12.0}),
    ("mark-line", {"stroke": GRAVE, "width": 5.0}),
    ("severity", {}),
)
_KNOWN = {name for name, _ in _CLASSES}


class DrawnSvg(Flowable):
    """A drawing of the pen as wide as ``width`` pt, or narrower where ``most_height`` asks for it."""

    def __init__(self, svg: str, width: float, most_height: float = 1e9) -> None:
        super().__init__()
        self._root = ElementTree.fromstring(svg)  # noqa: S314 - our own pen wrote it
        _, _, wide, high = (float(part) for part in self._root.attrib["viewBox"].split())
        self.scale = min(width / wide, most_height / high)
        self.width, self.height = wide * self.scale, high * self.scale
        self.hAlign = "LEFT"

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        draw_svg(self.canv, self._root, self.height, self.scale)


def draw_svg(canvas: Canvas, root: ElementTree.Element, height: float, scale: float) -> None:
    """Draw at the canvas' origin, ``height`` pt high; y of the drawing runs down."""
    canvas.saveState()
    canvas.translate(0, height)
    canvas.scale(scale, -scale)
    canvas.setLineJoin(1)
    for child in root:
        _element(canvas, child, Look())
    canvas.restoreState()


def _element(canvas: Canvas, element: ElementTree.Element, inherited: Look) -> None:
    kind = element.tag.rpartition("}")[2]
    if kind in ("title", "image"):  # the photo under marks is drawn by who places it
        return
    look = _look(element, inherited)
    if kind == "g":
        canvas.saveState()
        _transform(canvas, element.attrib.get("transform", ""))
        for child in element:
            _element(canvas, child, look)
        canvas.restoreState()
        return
    _DRAW[kind](canvas, element.attrib, look, element.text or "")


def _look(element: ElementTree.Element, inherited: Look) -> Look:
    look = inherited
    names = element.attrib.get("class", "").split()
    unknown = set(names) - _KNOWN
    if unknown:
        raise KeyError(f"no look on paper for {', '.join(sorted(unknown))}")
    for name, change in _CLASSES:
        if name in names:
            look = replace(look, **change)
    plain: dict[str, object] = {}
    for attribute in ("stroke", "fill"):
        if attribute in element.attrib:
            value = element.attrib[attribute]
            plain[attribute] = None if value == "none" else INK if value == "currentColor" else value
    if "stroke-width" in element.attrib:
        plain["width"] = float(element.attrib["stroke-width"])
    return replace(look, **plain)


def _transform(canvas: Canvas, text: str) -> None:
    for name, inside in re.findall(r"(\w+)\(([^)]*)\)", text):
        numbers = [float(part) for part in inside.replace(",", " ").split()]
        if name == "translate":
            canvas.translate(numbers[0], numbers[1])
        elif name == "scale":
            canvas.scale(numbers[0], numbers[-1])
        else:
            raise KeyError(f"no {name} on paper")


def _apply(canvas: Canvas, look: Look) -> tuple[int, int]:
    """Set the pens; (stroke, fill) flags for reportlab."""
    if look.stroke:
        canvas.setStrokeColor(_colour(look.stroke))
        canvas.setLineWidth(look.width)
        canvas.setDash(list(look.dash))
    if look.fill:
        canvas.setFillColor(_colour(look.fill))
    return int(look.stroke is not None), int(look.fill is not None)


def _colour(text: str) -> Color:
    return HexColor(text)


def _line(canvas: Canvas, told: dict[str, str], look: Look, _: str) -> None:
    if _apply(canvas, look)[0]:
        canvas.line(float(told["x1"]), float(told["y1"]), float(told["x2"]), float(told["y2"]))


def _rect(canvas: Canvas, told: dict[str, str], look: Look, _: str) -> None:
    stroke, fill = _apply(canvas, look)
    box = (float(told[name]) for name in ("x", "y", "width", "height"))
    if stroke or fill:
        canvas.rect(*box, stroke=stroke, fill=fill)


def _circle(canvas: Canvas, told: dict[str, str], look: Look, _: str) -> None:
    stroke, fill = _apply(canvas, look)
    if stroke or fill:
        canvas.circle(float(told["cx"]), float(told["cy"]), float(told["r"]), stroke=stroke, fill=fill)


def _path(canvas: Canvas, told: dict[str, str], look: Look, _: str) -> None:
    stroke, fill = _apply(canvas, look)
    if not stroke and not fill:
        return
    path = canvas.beginPath()
    for command, x, y in path_steps(told["d"]):
        if command == "M":
            path.moveTo(x, y)
        elif command == "L":
            path.lineTo(x, y)
        else:
            path.close()
    canvas.drawPath(path, stroke=stroke, fill=fill)


def _text(canvas: Canvas, told: dict[str, str], look: Look, words: str) -> None:
    """Text stands upright, so the drawing is turned back for it."""
    font = BOLD if look.bold or look.width > 2 else PLAIN
    size = float(told["font-size"])
    edge = look.stroke == SHEET
    canvas.saveState()
    canvas.translate(float(told["x"]), float(told["y"]))
    canvas.scale(1, -1)
    canvas.setFillColor(_colour(look.fill or look.stroke or INK))
    canvas.setFont(font, size)
    canvas.setDash([])
    if edge:
        canvas.setStrokeColor(_colour(SHEET))
        canvas.setLineWidth(8)
    write = {"middle": canvas.drawCentredString, "end": canvas.drawRightString}.get(
        told.get("text-anchor", "start"), canvas.drawString
    )
    write(0, 0, printable(words), mode=2 if edge else 0)
    canvas.restoreState()


_DRAW: dict[str, Callable[[Canvas, dict[str, str], Look, str], None]] = {
    "line": _line,
    "rect": _rect,
    "circle": _circle,
    "path": _path,
    "text": _text,
}

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_TOKEN = re.compile(rf"[A-Za-z]|{_NUMBER}")
_ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "Z": 0}


def path_steps(text: str) -> Iterator[tuple[str, float, float]]:
    """The steps of a path of straight lines as absolute ``M``, ``L`` and ``Z``; a curve raises ``KeyError``."""
    tokens = _TOKEN.findall(text)
    x = y = start_x = start_y = 0.0
    at, command = 0, ""
    while at < len(tokens):
        if tokens[at].isalpha():
            command = tokens[at]
            at += 1
        count = _ARGUMENTS[command.upper()]
        numbers = [float(token) for token in tokens[at : at + count]]
        at += count
        base_x, base_y = (x, y) if command.islower() else (0.0, 0.0)
        kind = command.upper()
        if kind == "Z":
            x, y = start_x, start_y
            yield "Z", x, y
            continue
        x = base_x + numbers[0] if kind in "MLH" else x
        y = base_y + numbers[-1] if kind in "MLV" else y
        if kind == "M":
            start_x, start_y = x, y
            command = "l" if command == "m" else "L"  # further pairs are lines
            yield "M", x, y
        else:
            yield "L", x, y
