"""How a number is written for people: thousands parted by a narrow gap at which no line breaks, ``1 284 310``."""

from __future__ import annotations

from decimal import Decimal

GAP = "\u202f"


def grouped(value: float | Decimal, form: str = ".0f") -> str:
    """``value`` by a form of Python's format language (``.0f``: whole), its thousands parted."""
    return f"{value:,{form}}".replace(",", GAP)
