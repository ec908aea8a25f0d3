"""Sheets of labels as a PDF. The same labels on the same grid give the same bytes."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import segno
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from assets_app.doors.paper import BOLD, PLAIN, printable, typeface
from assets_app.labels import rules
from assets_app.labels.rules import Fit, Grid, Place
from assets_app.refusals import Unprocessable

LEAST_PT, LEAST_READ_PT, LARGEST_PT, SMALL_PT = 6.0, 8.0, 15.0, 6.5  # two lines of 8 before three of 15
LEADING = 1.18


@dataclass(frozen=True)
class Label:
    """What one label says: the address in the code, and the words beside it."""

    address: str
    tag: str
    asset_tag: str
    name: str = ""
    site: str = ""


@dataclass(frozen=True)
class _Words:
    """The tag, broken into lines, in the largest size that fits."""

    lines: list[str]
    size: float


def sheet(labels: Sequence[Label], grid: Grid, *, start_at: int = 1, outlines: bool = False) -> bytes:
    """The sheets. ``start_at``: first free label of a part-used sheet, from 1, row by row; ``outlines`` draws the cuts.

    Refuses (``labels_do_not_fit``, with the field) a grid beyond its sheet, a label too small for its code or its tag.
    """
    typeface()
    rules.check(grid)
    rules.check_start(grid, start_at)
    width, height = (side * mm for side in rules.PAGES[grid.page])
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(width, height), invariant=1, pageCompression=1)
    canvas.setTitle("Joint labels")
    canvas.setAuthor("Soundjoint")
    sheet_number = 0
    for label, place in zip(labels, rules.places(grid, len(labels), start_at), strict=True):
        if place.sheet != sheet_number:
            canvas.showPage()
            sheet_number = place.sheet
        _label(canvas, label, place, grid, page_height=height, outlines=outlines)
    canvas.save()
    return out.getvalue()


def check(labels: Sequence[Label], grid: Grid, *, start_at: int = 1) -> None:
    """Refuse what ``sheet`` would refuse, without drawing it: addresses of one length have codes of one size."""
    typeface()
    rules.check(grid)
    rules.check_start(grid, start_at)
    for length in {len(label.address) for label in labels}:
        code = segno.make_qr("x" * length, error="m")
        fit = rules.fit(grid, len(code.matrix))
        for label in labels:
            _tag_words(printable(label.tag), fit.text_width_mm * mm, fit.text_height_mm * mm)


def _label(canvas: Canvas, label: Label, place: Place, grid: Grid, *, page_height: float, outlines: bool) -> None:
    code = segno.make_qr(label.address, error="m")
    modules = list(code.matrix)
    fit = rules.fit(grid, len(modules))
    canvas.saveState()
    canvas.translate(place.x_mm * mm, page_height - place.y_mm * mm)  # from the label's upper left corner, y up
    if outlines:
        canvas.setLineWidth(0.25)
        canvas.setStrokeGray(0.6)
        canvas.rect(0, -grid.label_height_mm * mm, grid.label_width_mm * mm, grid.label_height_mm * mm)
    _code(canvas, modules, fit.code_x_mm * mm, -rules.PAD_MM * mm, fit.code_mm * mm)
    _words(canvas, label, fit)
    canvas.restoreState()


def _code(canvas: Canvas, modules: Sequence[Sequence[int]], left: float, top: float, side: float) -> None:
    """Dark runs of each row as one path, so that no hairline opens between modules."""
    step = side / (len(modules) + 2 * rules.QUIET_MODULES)
    path = canvas.beginPath()
    for row, line in enumerate(modules, start=rules.QUIET_MODULES):
        column = 0
        while column < len(line):
            end = column
            while end < len(line) and line[end]:
                end += 1
            if end > column:
                x = left + (column + rules.QUIET_MODULES) * step
                path.rect(x, top - (row + 1) * step, (end - column) * step, step)
            column = end + 1
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)


def _words(canvas: Canvas, label: Label, fit: Fit) -> None:
    width, height = fit.text_width_mm * mm, fit.text_height_mm * mm
    words = _tag_words(printable(label.tag), width, height)
    small = [printable(text) for text in (label.asset_tag, label.name, label.site) if text]
    room = int((height - len(words.lines) * words.size * LEADING) / (SMALL_PT * LEADING))
    small = small[: max(room, 0)]
    block = len(words.lines) * words.size * LEADING + len(small) * SMALL_PT * LEADING
    y = -fit.text_y_mm * mm - (height - block) / 2
    left = fit.text_x_mm * mm
    centred = left + width / 2 if fit.text_y_mm > rules.PAD_MM else None
    for text, font, size in [(line, BOLD, words.size) for line in words.lines] + [(t, PLAIN, SMALL_PT) for t in small]:
        y -= size * LEADING
        shown = _cut(text, font, size, width)
        canvas.setFont(font, size)
        if centred is None:
            canvas.drawString(left, y + size * 0.25, shown)
        else:
            canvas.drawCentredString(centred, y + size * 0.25, shown)


def _tag_words(tag: str, width: float, height: float) -> _Words:
    """The whole tag, never cut: by it the joint is found when the code cannot be read."""
    for most_lines, least in ((2, LEAST_READ_PT), (12, LEAST_PT)):
        size = LARGEST_PT
        while size >= least:
            lines = _wrapped(tag, size, width)
            wide = any(stringWidth(line, BOLD, size) > width for line in lines)
            if len(lines) <= most_lines and len(lines) * size * LEADING <= height and not wide:
                return _Words(lines, size)
            size -= 0.5
    raise Unprocessable("labels_do_not_fit", f"Too small for the tag {tag!r}.", field="label_width_mm")


def _wrapped(tag: str, size: float, width: float) -> list[str]:
    """Lines broken after a space, a dash or a stroke, else anywhere."""
    lines, rest = [], tag
    while stringWidth(rest, BOLD, size) > width:
        cut = next((n for n in range(len(rest) - 1, 0, -1) if stringWidth(rest[:n], BOLD, size) <= width), 1)
        kind = max(rest.rfind(mark, 0, cut) for mark in " -/_.")
        cut = kind + 1 if kind >= cut // 3 else cut
        lines.append(rest[:cut].strip())
        rest = rest[cut:].strip()
    return [*lines, rest] if rest else lines


def _cut(text: str, font: str, size: float, width: float) -> str:
    if stringWidth(text, font, size) <= width:
        return text
    while text and stringWidth(text + "…", font, size) > width:
        text = text[:-1]
    return text + "…"
