"""What every PDF shares: its typeface, and which characters that typeface can print."""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path
from xml.sax.saxutils import escape

from reportlab import rl_config
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"
FOLDER = Path(__file__).parent / "typeface"
_INSTEAD = {"\u202f": "\u00a0", "\u2009": "\u00a0"}  # spaces that are narrower on a screen


@cache
def typeface() -> frozenset[int]:
    """Register the typeface with reportlab, once a process; the code points it can print."""
    # Streams stay bytes: to write those of a photo as letters took more time than all else of its page.
    rl_config.useA85 = 0
    for name in (PLAIN, BOLD):
        pdfmetrics.registerFont(TTFont(name, FOLDER / f"{name}.ttf"))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
    return frozenset(pdfmetrics.getFont(PLAIN).face.charToGlyph)


def printable(text: object) -> str:
    """``text`` in characters that can be printed. An accent that cannot is left off; any other character is written as
    its code point, ``[U+4E2D]``, never as an empty box. So is what runs from right to left: nothing here shapes it."""
    return "".join(_one(character) for character in unicodedata.normalize("NFC", str(text)))


def is_spelled_out(text: str) -> bool:
    """Whether a character of it is written as its code point."""
    return any(_one(character) == _named(character) for character in set(unicodedata.normalize("NFC", text)))


def marked_up(text: object) -> str:
    """``printable``, safe inside a paragraph of reportlab, its line breaks kept."""
    return escape(printable(text)).replace("\n", "<br/>")


def _one(character: str) -> str:
    if character == "\n" or (ord(character) in typeface() and character.isprintable()):
        return character
    if character in _INSTEAD:
        return _INSTEAD[character]
    if not character.isprintable():
        return " " if character.isspace() or unicodedata.category(character) in ("Cc", "Cf") else _named(character)
    base = unicodedata.normalize("NFKD", character)
    if base != character and all(ord(each) in typeface() or unicodedata.combining(each) for each in base):
        return "".join(each for each in base if not unicodedata.combining(each))
    return "" if unicodedata.combining(character) else _named(character)


def _named(character: str) -> str:
    return f"[U+{ord(character):04X}]"
