"""Pictures for the demo: drawn welds and bolts with a scale, plainly drawings and saying so."""

from __future__ import annotations

import io
from functools import cache

from PIL import Image, ImageDraw

from schedules.demo.places import chance

SIZE = (640, 480)
PX_PER_MM = 8
CRACK_FROM, TOE = 200, 300  # px
STEEL, WELD, DARK, PAPER = "#9aa3ab", "#c7ccd1", "#20262c", "#f4f1ea"


@cache
def weld(number: int, crack_mm: float = 0.0) -> bytes:
    """A fillet weld seen from above, its ripples, a scale in mm and, where asked for, a crack at the toe."""
    image, pen = _sheet("weld, drawn")
    dice = chance("photo", number)
    top, toe = 170, TOE
    pen.rectangle((0, 60, SIZE[0], toe + 60), fill=STEEL)
    pen.rectangle((0, top, SIZE[0], toe), fill=WELD)
    for x in range(-30, SIZE[0], 14):
        bow = 10 + dice.randint(-2, 2)
        pen.arc((x - bow, top, x + bow, toe), -80, 80, fill="#8b9299", width=2)
    if crack_mm:
        _crack(pen, toe, crack_mm, number)
    _scale(pen)
    return _png(image)


def end_of_crack(crack_mm: float) -> tuple[float, float]:
    """Where the crack of ``weld`` ends, in shares of the picture's width and height."""
    return (CRACK_FROM + crack_mm * PX_PER_MM) / SIZE[0], TOE / SIZE[1]


@cache
def bolts(count: int, lost: int) -> bytes:
    """A row of bolt heads from above with their witness marks; the one lost is an empty hole."""
    image, pen = _sheet("bolts, drawn")
    pen.rectangle((0, 80, SIZE[0], 360), fill=STEEL)
    shown = min(count, 6)
    for place in range(shown):
        x, y = 80 + place * 96, 220
        if place + 1 == lost:
            pen.ellipse((x - 20, y - 20, x + 20, y + 20), fill=DARK)
            continue
        pen.ellipse((x - 36, y - 36, x + 36, y + 36), fill="#b5bcc3", outline=DARK)
        pen.regular_polygon((x, y, 28), 6, fill=WELD, outline=DARK)
        pen.line((x, y, x + 52, y - 30), fill="#b4541a", width=4)
    _scale(pen)
    return _png(image)


def _sheet(words: str) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    image = Image.new("RGB", SIZE, PAPER)
    pen = ImageDraw.Draw(image)
    pen.text((12, 12), f"Larkmoor demo: {words}, not a photograph", fill=DARK)
    return image, pen


def _crack(pen: ImageDraw.ImageDraw, toe: int, crack_mm: float, number: int) -> None:
    dice = chance("crack", number)
    x, y = float(CRACK_FROM), float(toe)
    end = x + crack_mm * PX_PER_MM
    points = [(x, y)]
    while x < end:
        x, y = min(end, x + 9), toe + dice.uniform(-3, 3)
        points.append((x, y))
    pen.line(points, fill="#111111", width=3)
    for mark in (points[0][0], points[-1][0]):
        pen.line((mark, toe + 12, mark, toe + 34), fill="#b4541a", width=2)


def _scale(pen: ImageDraw.ImageDraw) -> None:
    y = 420
    pen.line((40, y, 40 + 50 * PX_PER_MM, y), fill=DARK, width=2)
    for mm in range(0, 51):
        length = 16 if mm % 10 == 0 else 9 if mm % 5 == 0 else 5
        pen.line((40 + mm * PX_PER_MM, y, 40 + mm * PX_PER_MM, y - length), fill=DARK)
        if mm % 10 == 0:
            pen.text((36 + mm * PX_PER_MM, y + 6), f"{mm}", fill=DARK)
    pen.text((52 + 50 * PX_PER_MM, y - 8), "mm", fill=DARK)


def _png(image: Image.Image) -> bytes:
    file = io.BytesIO()
    image.save(file, "PNG")
    return file.getvalue()
