"""A CSV or XLSX file turned into headings and rows of text: bounded in size, nothing evaluated or silently guessed.

Row numbers are those a spreadsheet shows: the heading is row 1, an empty row counts.
"""

from __future__ import annotations

import csv
import io
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile, ZipInfo

from assets_app.refusals import Unprocessable
from engineering.figures import grouped

MOST_ROWS = 250_000
MOST_COLUMNS = 300
LONGEST_CELL = 10_000  # characters
LONGEST_LINE = 1_000_000  # characters
MOST_CELLS = 20_000_000  # of the rectangle an XLSX sheet spans
MOST_UNPACKED = 512 * 1024 * 1024  # bytes of an XLSX once unpacked
DELIMITERS = ",;\t"
XLSX_HEAD = b"PK\x03\x04"
_CELL = re.compile(rb"""\br=["']([A-Z]{1,3})([0-9]{1,8})["']""")


@dataclass(frozen=True)
class Sheet:
    """What stands in the file: headings, rows as (row number, cells as text), and what was assumed to read it."""

    headings: list[str]
    rows: list[tuple[int, list[str]]]
    notes: list[str] = field(default_factory=list)


def read(content: bytes, *, sheet: str = "") -> Sheet:
    """The first sheet (or ``sheet``) of an XLSX file, or a CSV file in UTF-8, UTF-16 with its mark, or Windows-1252.

    Refusals (``Unprocessable``, field ``file``): ``file_empty``, ``file_unreadable``, ``file_too_long``,
    ``file_too_wide``, ``heading_doubled``, ``heading_missing``.
    """
    if not content.strip():
        raise _refuse("file_empty", "The file is empty.")
    notes: list[str] = []
    found = _xlsx_rows(content, sheet, notes) if content.startswith(XLSX_HEAD) else _csv_rows(content, notes)
    return _sheet(found, notes)


def _refuse(code: str, message: str) -> Unprocessable:
    return Unprocessable(code, message, field="file")


def _sheet(found: Iterator[tuple[int, list[str]]], notes: list[str]) -> Sheet:
    first, headings = next(found, (1, []))
    headings = [" ".join(name.split()) for name in headings]
    while headings and not headings[-1]:
        headings.pop()
    if not any(headings):
        raise _refuse("heading_missing", f"Row {first} must name the columns; it names none.")
    if len(headings) > MOST_COLUMNS:
        raise _too_wide(len(headings))
    doubled = sorted({name for name in headings if name and headings.count(name) > 1})
    if doubled:
        raise _refuse("heading_doubled", f"Two columns are called {', '.join(doubled)}. Give each its own name.")
    rows: list[tuple[int, list[str]]] = []
    for number, cells in found:
        if not any(cells):
            continue
        if len(rows) >= MOST_ROWS:
            raise _refuse("file_too_long", f"More than {grouped(MOST_ROWS)} rows. Split the file.")
        rows.append((number, cells + [""] * (len(headings) - len(cells))))
    if not rows:
        raise _refuse("file_empty", "There is no row under the heading.")
    return Sheet(headings, rows, notes)


def _too_wide(columns: int) -> Unprocessable:
    return _refuse(
        "file_too_wide", f"{grouped(columns)} columns; at most {MOST_COLUMNS} are read. Is this the right file?"
    )


# CSV ------------------------------------------------------------------------------------------------------------------


def _csv_rows(content: bytes, notes: list[str]) -> Iterator[tuple[int, list[str]]]:
    text = _decoded(content, notes)
    if "\x00" in text:
        raise _refuse("file_unreadable", "The file holds NUL characters: it is no CSV, or was damaged on the way.")
    delimiter = _delimiter(text)
    if delimiter != ",":
        notes.append(f"Columns are parted by {'tabs' if delimiter == chr(9) else 'semicolons'}.")
    number = 0
    rows = csv.reader(_lines(text), delimiter=delimiter, strict=True)
    try:
        for number, cells in enumerate(rows, start=1):  # the number is wanted where reading breaks off
            if len(cells) > MOST_COLUMNS:
                raise _too_wide(len(cells))
            yield number, [cell.strip() for cell in cells]
    except csv.Error as error:
        raise _refuse("file_unreadable", f"Row {number + 1} is no CSV: {error}.") from error


def _decoded(content: bytes, notes: list[str]) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        notes.append("Read as UTF-16.")
        return _decode(content, "utf-16")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        notes.append("The file is not UTF-8 and was read as Windows-1252: check names with accents and signs.")
        return _decode(content, "cp1252")


def _decode(content: bytes, encoding: str) -> str:
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as error:
        raise _refuse(
            "file_unreadable", "This is neither a text in UTF-8 or Windows-1252 nor an XLSX file. Save it as CSV UTF-8."
        ) from error


def _delimiter(text: str) -> str:
    heading = next(_lines(text), "")
    heading = re.sub(r'"[^"]*"', "", heading)
    return max(DELIMITERS, key=heading.count)


def _lines(text: str) -> Iterator[str]:
    for line in io.StringIO(text, newline=""):
        if len(line) > LONGEST_LINE:
            raise _refuse("file_too_wide", f"A line of {grouped(len(line))} characters is no row of a register.")
        yield line


# XLSX -----------------------------------------------------------------------------------------------------------------


def _xlsx_rows(content: bytes, sheet: str, notes: list[str]) -> Iterator[tuple[int, list[str]]]:
    from python_calamine import CalamineError, CalamineWorkbook

    _guard_xlsx(content)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        names = book.sheet_names
        if sheet and sheet not in names:
            raise _refuse("sheet_unknown", f"There is no sheet {sheet!r}; there are {', '.join(names)}.")
        if not names:
            raise _refuse("file_empty", "The workbook has no sheet.")
        chosen = sheet or names[0]
        if len(names) > 1:
            notes.append(f"Read sheet {chosen!r}; the file also has {', '.join(n for n in names if n != chosen)}.")
        page = book.get_sheet_by_name(chosen)
        width = (page.end or (0, 0))[1] + 1
        if width > MOST_COLUMNS:
            raise _too_wide(width)
        for number, cells in enumerate(page.to_python(skip_empty_area=False), start=1):
            yield number, [_cell_text(cell) for cell in cells]
    except (CalamineError, OSError, ValueError) as error:
        raise _refuse("file_unreadable", f"This XLSX file cannot be read: {error}.") from error


def _cell_text(cell: Any) -> str:
    """A cell as a person would type it: whole numbers without a point, dates as 2026-03-31."""
    if isinstance(cell, str):
        return cell.replace("\x00", "").strip()
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(sep=" ")
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def _guard_xlsx(content: bytes) -> None:
    """Unpack once, counting: a packed bomb, or a sheet with one cell a million rows down, must not reach the reader."""
    try:
        with ZipFile(io.BytesIO(content)) as packed:
            left = MOST_UNPACKED
            for info in packed.infolist():
                left = _guard_part(content, info, left)
    except (BadZipFile, zlib.error, IndexError, OverflowError, NotImplementedError) as error:
        raise _refuse("file_unreadable", "This is no XLSX file, or it was damaged on the way.") from error


def _guard_part(content: bytes, info: ZipInfo, left: int) -> int:
    if info.flag_bits & 1 or info.compress_type not in (ZIP_STORED, ZIP_DEFLATED):
        raise _refuse("file_unreadable", "The workbook is locked by a password or packed in an unusual way. Save anew.")
    start = info.header_offset
    start += 30 + int.from_bytes(content[start + 26 : start + 28], "little")
    start += int.from_bytes(content[info.header_offset + 28 : info.header_offset + 30], "little")
    packed = content[start : start + info.compress_size]
    is_sheet = info.filename.startswith("xl/worksheets/")
    widest, deepest, tail = 0, 0, b""
    for chunk in _unpacked(packed, deflated=info.compress_type == ZIP_DEFLATED):
        left -= len(chunk)
        if left < 0:
            raise _refuse("file_too_long", f"Unpacked, the file is larger than {MOST_UNPACKED // 1024**2} MB.")
        if is_sheet:
            for letters, row in _CELL.findall(tail + chunk):
                widest, deepest = max(widest, _column(letters)), max(deepest, int(row))
            tail = chunk[-24:]
    if widest > MOST_COLUMNS:
        raise _too_wide(widest)
    if widest * deepest > MOST_CELLS or deepest > MOST_ROWS * 2:
        raise _refuse(
            "file_too_long", f"The sheet reaches down to row {grouped(deepest)}. Delete what stands far below."
        )
    return left


def _unpacked(packed: bytes, *, deflated: bool) -> Iterator[bytes]:
    if not deflated:
        yield packed
        return
    unpack = zlib.decompressobj(-15)
    chunk = unpack.decompress(packed, 1 << 20)
    while chunk:
        yield chunk
        chunk = unpack.decompress(unpack.unconsumed_tail, 1 << 20)


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number
