"""The sheet of every report: a drawing's frame, the title block at its foot with caution, hashes and page x of y."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.core.files.storage import default_storage
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, KeepTogether, PageTemplate, Paragraph, Spacer, Table

from assets_app.doors.paper import BOLD, PLAIN, marked_up, printable, typeface
from schedules.reports.content import DrawnJoint, PrintedPhoto
from schedules.reports.drawn import DrawnSvg

WIDTH, HEIGHT = A4
EDGE = 12 * mm
FOOT = 27 * mm  # height of the title block
INSIDE = 5 * mm
TEXT_WIDTH = WIDTH - 2 * (EDGE + INSIDE)
GREY, INK = HexColor("#666666"), HexColor("#000000")


def _style(name: str, size: float, **more: object) -> ParagraphStyle:
    facts = {"fontName": PLAIN, "fontSize": size, "leading": size * 1.35, "splitLongWords": 1} | more
    return ParagraphStyle(name, **facts)


BODY = _style("body", 8.5, spaceAfter=2)
SAID = _style("said", 8.5, spaceAfter=2, keepWithNext=1)  # what its table goes on from
SMALL = _style("small", 7, textColor=GREY)
CELL = _style("cell", 7.5)
HEAD = _style("head", 7, fontName=BOLD)
HASH = _style("hash", 5.5, textColor=GREY)
TITLE = _style("title", 16, fontName=BOLD, spaceAfter=2)
SECTION = _style("section", 11, fontName=BOLD, spaceBefore=10, spaceAfter=3, keepWithNext=1)
PART = _style("part", 9, fontName=BOLD, spaceBefore=6, spaceAfter=2, keepWithNext=1)
GRAVE = _style(
    "grave", 9, fontName=BOLD, borderWidth=1.5, borderColor=INK, borderPadding=5, spaceBefore=13, spaceAfter=13,
    leftIndent=6, rightIndent=6, keepWithNext=1,
)  # fmt: skip


@dataclass(frozen=True)
class Block:
    """What stands in the title block on every page."""

    title: str
    subject: str
    record: str
    content_hash: str
    caution: str


class _Counted(Canvas):
    """Knows how many pages there are before it writes the first: pages are kept until the end."""

    block: Block

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self._kept: list[dict[str, object]] = []

    def showPage(self) -> None:
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        kept = self._kept
        for number, state in enumerate(kept, start=1):
            self.__dict__.update(state)
            _title_block(self, self.block, number, len(kept))
            super().showPage()
        super().save()


Told = Callable[[int, int], None]


def build(block: Block, story: list[Flowable], told: Told | None = None) -> bytes:
    """The PDF: no date of its own, fixed metadata, so that the same content gives the same bytes."""
    typeface()
    maker = type("_Sheets", (_Counted,), {"block": block})
    out = io.BytesIO()
    document = BaseDocTemplate(
        out,
        pagesize=A4,
        invariant=1,
        title=printable(f"{block.title}, {block.subject}"),
        author="Soundjoint",
        subject=printable(block.record),
        creator="Soundjoint",
        pageCompression=1,
    )
    frame = Frame(
        *(EDGE + INSIDE, EDGE + FOOT, TEXT_WIDTH, HEIGHT - 2 * EDGE - FOOT - 1 * mm),
        *(0, 3 * mm, 0, 3 * mm),
    )
    document.addPageTemplates([PageTemplate(id="sheet", frames=[frame])])
    pieces = len(story)
    if told:
        document.setProgressCallBack(lambda kind, value: told(value, pieces) if kind == "PROGRESS" else None)
    document.build(story, canvasmaker=maker)
    return out.getvalue()


def _title_block(canvas: Canvas, block: Block, number: int, of: int) -> None:
    canvas.saveState()
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.7)
    canvas.rect(EDGE, EDGE, WIDTH - 2 * EDGE, HEIGHT - 2 * EDGE)
    top, left, right = EDGE + FOOT - 3 * mm, EDGE + 3 * mm, WIDTH - EDGE
    canvas.line(EDGE, top, right, top)
    canvas.setLineWidth(0.4)
    canvas.line(EDGE, top - 9 * mm, right, top - 9 * mm)
    canvas.line(right - 30 * mm, top, right - 30 * mm, top - 9 * mm)
    canvas.setFont(BOLD, 8)
    canvas.drawString(left, top - 4 * mm, _cut(f"Soundjoint · {block.title}", BOLD, 8, right - 33 * mm - left))
    canvas.setFont(PLAIN, 7.5)
    canvas.drawString(left, top - 7.5 * mm, _cut(block.subject, PLAIN, 7.5, right - 33 * mm - left))
    canvas.drawCentredString(right - 15 * mm, top - 5.7 * mm, f"page {number} of {of}")
    width = right - left - 3 * mm
    lines = [
        (block.caution, PLAIN, 6.6, INK),
        (block.record, PLAIN, 5.6, GREY),
        (f"What this document says, SHA-256 {block.content_hash}", PLAIN, 5.6, GREY),
    ]
    y = top - 9 * mm
    for text, font, size, colour in lines:
        y -= 3.9 * mm
        canvas.setFillColor(colour)
        canvas.setFont(font, size)
        canvas.drawString(left, y, _cut(text, font, size, width))
    canvas.restoreState()


def _cut(text: str, font: str, size: float, width: float) -> str:
    shown = printable(text)
    if stringWidth(shown, font, size) <= width:
        return shown
    while shown and stringWidth(shown + "…", font, size) > width:
        shown = shown[:-1]
    return shown + "…"


# Parts of a page ------------------------------------------------------------------------------------------------------


def text(words: object, style: ParagraphStyle = BODY) -> Paragraph:
    return Paragraph(marked_up(words), style)


def pairs(rows: Sequence[tuple[str, str]]) -> Table:
    """Name and value. A long value splits over pages."""
    cells = [[text(name, SMALL), text(value, BODY)] for name, value in rows]
    return _table(cells, [34 * mm, TEXT_WIDTH - 34 * mm], head=False)


def table(heads: Sequence[str], rows: Sequence[Sequence[object]], shares: Sequence[float]) -> Table:
    """Lines only; ``shares`` of the width."""
    cells = [[text(head, HEAD) for head in heads]]
    cells += [[cell if isinstance(cell, Flowable) else text(cell, CELL) for cell in row] for row in rows]
    total = sum(shares)
    return _table(cells, [TEXT_WIDTH * share / total for share in shares], head=True)


def _table(cells: list[list[Flowable]], widths: list[float], *, head: bool) -> Table:
    made = Table(cells, colWidths=widths, repeatRows=1 if head else 0, splitInRow=1, hAlign="LEFT")
    style: list[tuple[object, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 5),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ("LINEBELOW", (0, 0), (-1, -1), 0.3, HexColor("#bbbbbb")),
    ]
    if head:
        style.append(("LINEBELOW", (0, 0), (-1, 0), 0.8, INK))
    made.setStyle(style)
    return made


def drawings(drawn: Sequence[DrawnJoint]) -> list[Flowable]:
    """Drawings beside each other, their words below."""
    if not drawn:
        return []
    each = (TEXT_WIDTH - 8 * mm) / 2
    most = (68 if len(drawn) > 1 else 52) * mm  # one alone is a ring of bolts: two such joints to a page
    cells = [[DrawnSvg(one.svg, each, most), Spacer(1, 2), text(one.caption, SMALL)] for one in drawn]
    if len(cells) == 1:
        cells.append([Spacer(1, 1)])
    beside = Table([cells], colWidths=[TEXT_WIDTH / 2] * 2, hAlign="LEFT")
    beside.setStyle([("VALIGN", (0, 0), (-1, -1), "BOTTOM"), ("LEFTPADDING", (0, 0), (-1, -1), 0)])
    said = [text(f"{words}.", SMALL) for one in drawn for words in one.words]
    return [beside, *said]


class _AsItIs(ImageReader):
    """A JPEG goes into the PDF as its file is. It is known there by its bytes: by its pixels, as is usual, every photo
    would be unpacked for that, and fourteen megabytes of each stay until the end."""

    _dataA = None  # a JPEG has no transparency

    def getRGBData(self) -> bytes:
        file = self.jpeg_fh()
        return file.getvalue() if file else super().getRGBData()


class _Photo(Flowable):
    """A photo and the marks over it."""

    def __init__(self, photo: PrintedPhoto, width: float, most_height: float) -> None:
        super().__init__()
        self._photo = photo
        wide, high = photo.width or 4, photo.height or 3
        scale = min(width / wide, most_height / high)
        self.width, self.height = wide * scale, high * scale
        self.hAlign = "LEFT"

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        try:
            with default_storage.open(self._photo.file, "rb") as file:
                image = _AsItIs(io.BytesIO(file.read()))
            self.canv.drawImage(image, 0, 0, self.width, self.height)
        except OSError:  # said, not left out: the record names a photo that is not there
            self.canv.rect(0, 0, self.width, self.height)
            self.canv.setFont(BOLD, 8)
            self.canv.drawCentredString(self.width / 2, self.height / 2, "the file of this photo is missing")
        if self._photo.marks_svg:
            self.canv.saveState()
            inside = self.canv.beginPath()
            inside.rect(0, 0, self.width, self.height)
            self.canv.clipPath(inside, stroke=0, fill=0)  # as on the page; the caption says every mark in words
            DrawnSvg(self._photo.marks_svg, self.width).drawOn(self.canv, 0, 0)
            self.canv.restoreState()


def photos(printed: Sequence[PrintedPhoto], left_out: int) -> list[Flowable]:
    """Two beside each other; below each its caption and the hash of its original, over pages where it is long."""
    each = (TEXT_WIDTH - 6 * mm) / 2
    head = text("Photos", PART)
    story: list[Flowable] = [] if printed else [head]
    for index in range(0, len(printed), 2):
        pair = printed[index : index + 2]
        pictures: list[Flowable] = [_Photo(photo, each, 62 * mm) for photo in pair]
        below = [[text(one.caption, CELL), text(f"original SHA-256 {one.sha256}", HASH)] for one in pair]
        if len(pair) == 1:
            pictures, below = [*pictures, Spacer(1, 1)], [*below, [Spacer(1, 1)]]
        rows = Table([pictures, below], colWidths=[TEXT_WIDTH / 2] * 2, hAlign="LEFT", splitInRow=1)
        rows.setStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 1), (-1, 1), 0),
            ]
        )
        story.append(KeepTogether([*([] if index else [head]), rows]))
    if left_out:
        story.append(text(f"{left_out} {'more ' if printed else ''}photos are in the register and not printed here."))
    return story
