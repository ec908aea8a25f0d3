"""How labels lie on a sheet, and what fits on one. Lengths in mm from the upper left corner. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields

from assets_app.refusals import Unprocessable

PAGES: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1
QUIET_MODULES = 4  # clear margin on each side of a QR code: ISO/IEC 18004:2015, 6.3.8 (from memory)
LEAST_MODULE_MM = 0.35  # what a phone still reads at arm's length (common practice, no source)
PAD_MM = 1.5  # from the label's edge to anything printed: sheets feed that far out (common practice, no source)
LEAST_TEXT_MM = 14.0  # width left for the tag beside the code
LINE_MM = 5.0  # height left for the tag below the code
LINES_MM = 9.0  # likewise, for the tag and the asset, where the code stays large enough
SLACK_MM = 0.05  # sheets are sold by rounded figures
MOST_ACROSS = 40  # labels in a row or column


@dataclass(frozen=True)
class Grid:
    """A sheet of labels, mm."""

    page: str
    label_width_mm: float
    label_height_mm: float
    columns: int
    rows: int
    margin_left_mm: float = 0.0
    margin_top_mm: float = 0.0
    gap_x_mm: float = 0.0
    gap_y_mm: float = 0.0

    @property
    def labels(self) -> int:
        return self.columns * self.rows


# Common sheet sizes; whoever has another gives its figures.
GRIDS: dict[str, Grid] = {
    "a4-21": Grid("A4", 63.5, 38.1, 3, 7, 7.2, 15.1, 2.5, 0.0),
    "a4-24": Grid("A4", 70.0, 37.0, 3, 8, 0.0, 0.5),
    "a4-12": Grid("A4", 97.0, 42.4, 2, 6, 8.0, 21.3),
    "a4-20-square": Grid("A4", 45.0, 45.0, 4, 5, 7.5, 18.0, 5.0, 9.0),
    "letter-30": Grid("Letter", 66.675, 25.4, 3, 10, 4.8, 12.7, 3.175, 0.0),
    "letter-10": Grid("Letter", 101.6, 50.8, 2, 5, 4.0, 12.7, 4.75, 0.0),
}
GRID_WORDS = {
    name: f"{grid.page}, {grid.labels} labels of {grid.label_width_mm:.4g} × {grid.label_height_mm:.4g} mm"
    for name, grid in GRIDS.items()
}


@dataclass(frozen=True)
class Place:
    """Where one label lies: the sheet from 0, and its upper left corner in mm."""

    sheet: int
    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class Fit:
    """What stands where on a label: side of the code with its quiet zone, and the box of the words, in mm."""

    code_mm: float
    code_x_mm: float
    text_x_mm: float
    text_y_mm: float
    text_width_mm: float
    text_height_mm: float


def check(grid: Grid) -> None:
    """Refuse (``labels_do_not_fit``) a grid that its sheet cannot hold; ``field`` names the figure at fault."""
    if grid.page not in PAGES:
        raise _refusal("page", f"There is no sheet {grid.page!r}: {' or '.join(PAGES)}.")
    for each in fields(grid):
        _check_figure(each.name, getattr(grid, each.name))
    width, height = PAGES[grid.page]
    _check_across(
        "width", "left", "columns", grid.columns, grid.label_width_mm, grid.margin_left_mm, grid.gap_x_mm, width
    )
    _check_across("height", "top", "rows", grid.rows, grid.label_height_mm, grid.margin_top_mm, grid.gap_y_mm, height)


def _check_figure(name: str, value: float | str) -> None:
    if isinstance(value, str):
        return
    if not math.isfinite(value):
        raise _refusal(name, "Give a number.")
    if name in ("columns", "rows"):
        if not 1 <= value <= MOST_ACROSS or value != int(value):
            raise _refusal(name, f"Give a whole number from 1 to {MOST_ACROSS}.")
    elif name.startswith("label") and value <= 0:
        raise _refusal(name, "A label has a size above 0 mm.")
    elif value < 0:
        raise _refusal(name, "It cannot be less than 0 mm.")


def _check_across(
    size: str, margin: str, many: str, count: int, label: float, start: float, gap: float, page: float
) -> None:
    """One direction of the sheet; the field named is the first of label, margin and number that is at fault."""
    if label > page + SLACK_MM:
        raise _refusal(f"label_{size}_mm", f"The sheet is only {page:g} mm in {size}.")
    if start + label > page + SLACK_MM:
        raise _refusal(f"margin_{margin}_mm", f"With this margin not one label fits on {page:g} mm of {size}.")
    needed = start + count * label + (count - 1) * gap
    if needed > page + SLACK_MM:
        raise _refusal(many, f"{count} of them need {needed:.1f} mm in {size}, and the sheet has {page:g} mm.")


def check_start(grid: Grid, start_at: int) -> None:
    """Refuse (``labels_do_not_fit``) a first label that the sheet does not have. Labels count from 1, row by row."""
    if not 1 <= start_at <= grid.labels:
        raise _refusal("start_at", f"The sheet has labels 1 to {grid.labels}.")


def places(grid: Grid, count: int, start_at: int = 1) -> Iterator[Place]:
    """Where ``count`` labels lie, row by row, the first on label ``start_at`` of the first sheet."""
    check(grid)
    check_start(grid, start_at)
    for index in range(start_at - 1, start_at - 1 + count):
        sheet, on_sheet = divmod(index, grid.labels)
        row, column = divmod(on_sheet, grid.columns)
        x = grid.margin_left_mm + column * (grid.label_width_mm + grid.gap_x_mm)
        y = grid.margin_top_mm + row * (grid.label_height_mm + grid.gap_y_mm)
        yield Place(sheet, x, y)


def fit(grid: Grid, modules: int) -> Fit:
    """Code and words on one label. ``modules``: of the code's side, without the quiet zone.

    The words stand beside the code on a wide label and below it on another. Refuses (``labels_do_not_fit``) a label on
    which a module of the code would be smaller than ``LEAST_MODULE_MM``.
    """
    width, height = grid.label_width_mm - 2 * PAD_MM, grid.label_height_mm - 2 * PAD_MM
    total = modules + 2 * QUIET_MODULES
    least = total * LEAST_MODULE_MM
    beside = width - height >= LEAST_TEXT_MM or width - LEAST_TEXT_MM >= height - LINE_MM
    room_x, room_y = (width - LEAST_TEXT_MM, height) if beside else (width, height - LINE_MM)
    for name, room, spare in (
        ("label_height_mm", room_y, grid.label_height_mm),
        ("label_width_mm", room_x, grid.label_width_mm),
    ):
        if room < least:
            need = spare + least - room
            raise _refusal(name, f"Too small for a code that a phone can read: at least {need:.1f} mm are needed.")
    if beside:
        side = min(room_x, room_y)
        return Fit(side, PAD_MM, PAD_MM + side, PAD_MM, width - side, height)
    side = min(room_x, room_y, max(least, height - LINES_MM))
    return Fit(side, PAD_MM + (width - side) / 2, PAD_MM, PAD_MM + side, width, height - side)


def _refusal(field: str, message: str) -> Unprocessable:
    return Unprocessable("labels_do_not_fit", message, field=field)
