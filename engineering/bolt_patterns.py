"""The usual patterns of bolts: a ring about a circle, a grid of columns and rows. Units: mm, degrees."""

from __future__ import annotations

import math

import numpy as np

from engineering import bolts
from engineering.bolt_group import Group
from engineering.errors import InputError, finite, one, positive

_MOST_BOLTS = 100_000  # far above any flange; a count mistyped must not fill the memory


def _whole(argument: str, count: int) -> int:
    """``count`` as a number of bolts, 1 to 100,000; NaN, text, a list, a fraction or more raises ``InputError``."""
    number = finite(argument, count)
    if number.ndim != 0 or number < 1 or number > _MOST_BOLTS or number % 1 != 0:
        reason = f"needs a whole number of bolts from 1 to {_MOST_BOLTS}, got {count!r}"
        raise InputError(argument, reason, code="not_positive")
    return int(number)


def ring(
    count: int,
    diameter_mm: float,
    start_deg: float = 0.0,
    *,
    size: bolts.Size | str = "M20",
    property_class: bolts.PropertyClass | str = "8.8",
) -> Group:
    """``count`` bolts of ``size`` and ``property_class`` evenly on a circle of ``diameter_mm`` about the origin.

    The first stands at ``start_deg`` from +x.
    """
    count = _whole("count", count)
    radius = one(positive, "diameter_mm", diameter_mm) / 2
    angle = math.radians(one(finite, "start_deg", start_deg)) + 2 * np.pi * np.arange(count) / count
    return Group(radius * np.column_stack([np.cos(angle), np.sin(angle)]), None, size, property_class)


def grid(
    columns: int,
    rows: int,
    pitch_x_mm: float,
    pitch_y_mm: float,
    *,
    size: bolts.Size | str = "M20",
    property_class: bolts.PropertyClass | str = "8.8",
) -> Group:
    """``columns`` × ``rows`` bolts of ``size`` and ``property_class`` about the origin, row by row from the lower left.

    ``pitch_x_mm`` and ``pitch_y_mm`` apart.
    """
    columns, rows = _whole("columns", columns), _whole("rows", rows)
    x = (np.arange(columns) - (columns - 1) / 2) * one(positive, "pitch_x_mm", pitch_x_mm)
    y = (np.arange(rows) - (rows - 1) / 2) * one(positive, "pitch_y_mm", pitch_y_mm)
    return Group(np.column_stack([np.tile(x, rows), np.repeat(y, columns)]), None, size, property_class)
