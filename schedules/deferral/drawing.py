"""The backlog by age, drawn: how much is put off with a signature, how much is overdue in silence."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from assets_app.register.pen import Drawing, Pen
from engineering.figures import grouped
from schedules.deferral.rules import AgeBand

WIDTH, LEFT, ROW, BAR = 720, 130, 40, 18
LETTER = 7.2  # px of the words behind a bar, on the wide side for the fonts in use
NARROW_WIDTH, NARROW_ROW = 340, 62


def age_bands(bands: Sequence[AgeBand], currency: str) -> Drawing:
    """Bars to one scale: hatched silent, plain signed for; the known cost stands behind each."""
    pen = Pen(WIDTH, ROW * len(bands) + 34)
    longest = max((band.count for band in bands), default=0) or 1
    widest = max((len(said(band, currency)) for band in bands), default=0)
    unit = (WIDTH - LEFT - 16 - LETTER * widest) / longest
    _legend(pen, LEFT)
    for place, band in enumerate(bands):
        y = 30 + place * ROW
        pen.text((LEFT - 10, y + BAR - 4), band.words, anchor="end")
        end = _bar(pen, band, LEFT, y, unit)
        pen.text((end + 8, y + BAR - 4), said(band, currency), look="soft")
    pen.line((LEFT, 24), (LEFT, 30 + ROW * len(bands)), "strong-line")
    words = sentences(bands, currency)
    return Drawing(pen.svg("Backlog by days since it was due", words, "backlog for-wide"), words)


def age_bands_narrow(bands: Sequence[AgeBand], currency: str) -> Drawing:
    """The same for a phone: words above each bar."""
    pen = Pen(NARROW_WIDTH, NARROW_ROW * len(bands) + 34)
    longest = max((band.count for band in bands), default=0) or 1
    unit = (NARROW_WIDTH - 4) / longest
    _legend(pen, 2)
    for place, band in enumerate(bands):
        y = 50 + place * NARROW_ROW
        pen.text((2, y - 8), f"{band.words}: {said(band, currency)}")
        _bar(pen, band, 2, y, unit)
        pen.line((2, y + BAR + 4), (NARROW_WIDTH - 2, y + BAR + 4), "faint")
    words = sentences(bands, currency)
    return Drawing(pen.svg("Backlog by days since it was due", words, "backlog for-narrow"), words)


def said(band: AgeBand, currency: str) -> str:
    """``3 works, at least 4 200 GBP``."""
    if not band.count:
        return "none"
    works = f"{band.count} work{'s' if band.count > 1 else ''}"
    return f"{works}, {cost_words(band, currency)}"


def cost_words(band: AgeBand, currency: str) -> str:
    if not band.cost:
        return "cost not known"
    return f"{'at least ' if band.unpriced else ''}{money(band.cost)} {currency}".strip()


def money(amount: Decimal) -> str:
    """Whole units, thin gaps in thousands."""
    return grouped(amount)


def sentences(bands: Sequence[AgeBand], currency: str) -> list[str]:
    return [
        f"{band.words}: {band.silent} overdue with no signature, {band.signed} put off with one"
        + (f"; {cost_words(band, currency)}." if band.count else ".")
        for band in bands
    ]


def _bar(pen: Pen, band: AgeBand, x: float, y: float, unit: float) -> float:
    """Silent first, hatched and heavy: it is what must not be overlooked. Returns where the bar ends."""
    silent, signed = band.silent * unit, band.signed * unit
    if band.silent:
        pen.rect(x, y, silent, BAR, "short")
        pen.hatch(x, y, silent, BAR)
    if band.signed:
        pen.rect(x + silent, y, signed, BAR, "steel thin")
    return x + silent + signed


def _legend(pen: Pen, x: float) -> None:
    pen.rect(x, 4, 16, 12, "short")
    pen.hatch(x, 4, 16, 12)
    pen.text((x + 22, 15), "overdue, no signature")
    pen.rect(x + 180, 4, 16, 12, "steel thin")
    pen.text((x + 202, 15), "put off, signed for")
