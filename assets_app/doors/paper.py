"""What every PDF shares: its typeface, and which characters that typeface can print."""

from __future__ import annotations

import re
import unicodedata
from functools import cache
from xml.sax.saxutils import escape

from reportlab import rl_config
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

PLAIN, BOLD = "Vera", "VeraBd"  # shipped with reportlab
# Characters of the trade that the typeface lacks.
_INSTEAD = {
    "Δ": "delta ",
    "σ": "sigma",
    "τ": "tau",
    "λ": "lambda",
    "π": "pi",
    "→": "to",
    "✓": "yes",
    "\u2212": "-",
    "\u202f": "\u00a0",
    "\u2009": "\u00a0",
}
_RAISED = re.compile("[⁻⁰¹²³⁴⁵⁶⁷⁸⁹ⁿ]+")
_LOWERED = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹ⁿ", "-0123456789n")


@cache
def typeface() -> frozenset[int]:
    """Register the typeface with reportlab, once a process; the code points it can print."""
    # Streams stay bytes: to write those of a photo as letters took more time than all else of its page.
    rl_config.useA85 = 0
    for name in (PLAIN, BOLD):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
    return frozenset(pdfmetrics.getFont(PLAIN).face.charToGlyph)


def printable(text: object) -> str:
    """``text`` in characters that can be printed. An accent that cannot is left off; any other character is written as
    its code point, ``[U+4E2D]``, never as an empty box."""
    return "".join(_one(character) for character in _RAISED.sub(_exponent, str(text)))


def marked_up(text: object) -> str:
    """``printable``, safe inside a paragraph of reportlab, its line breaks kept."""
    return escape(printable(text)).replace("\n", "<br/>")


def _exponent(run: re.Match[str]) -> str:
    """``⁻⁴`` as ``^-4``; a raised run that the typeface has stays."""
    raised = run.group()
    if all(ord(each) in typeface() for each in raised):
        return raised
    return f"^{raised.translate(_LOWERED)}"


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
