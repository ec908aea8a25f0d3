"""A CSV or Parquet file of samples, looked at first and then streamed: bounded in memory, nothing guessed silently.

CSV is parsed by pyarrow, as is Parquet, batch by batch; only the wanted column is ever turned into numbers. A cell that
is empty or says NaN is a lost sample. Row numbers count from 1, the heading and what stands above it included.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, BinaryIO, NoReturn

import pyarrow as pa
import pyarrow.csv as arrow_csv
import pyarrow.parquet as parquet

from assets_app.refusals import Unprocessable
from engineering.errors import FloatArray
from engineering.figures import grouped

MOST_SAMPLES = 50_000_000
MOST_COLUMNS = 1_000
LONGEST_NAME = 120
BATCH = 65_536  # samples of a Parquet batch
BLOCK = 1 << 20  # bytes of a CSV block; a longer line is no row
_HEAD = 1 << 16  # bytes looked at before a CSV is read
_FATTEST = 64  # bytes a sample may take once unpacked: more is no column of numbers
_DAMAGE = (pa.ArrowException, OSError, MemoryError, ValueError, OverflowError)  # what a broken file may raise
_LOST = ["", "NaN", "nan", "NAN", "NA", "N/A", "#N/A", "null", "NULL", "-", "--", "---"]
_PACKED = (b"PK\x03\x04", b"\x1f\x8b", b"BZh", b"\xfd7zXZ", b"7z\xbc\xaf")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_ROW = re.compile(r"[Rr]ow #(\d+)")
_VALUE = re.compile(r"invalid value '(.{0,40})", re.DOTALL)
_TIMES = frozenset(["t", "s", "time", "timestamp", "seconds", "date", "sample", "index", "no", "no.", "n", ""])
_UNITS = {
    "mpa": "mpa", "n/mm2": "mpa", "n/mm^2": "mpa", "n/mm²": "mpa",
    "um/m": "microstrain", "µm/m": "microstrain", "ue": "microstrain", "µe": "microstrain", "µε": "microstrain",
    "microstrain": "microstrain", "ustrain": "microstrain", "µstrain": "microstrain",
}  # fmt: skip


@dataclass(frozen=True)
class Layout:
    """How a file is to be read. ``rows`` is None where only reading it through tells."""

    kind: str
    column: str
    raw_column: str
    rows: int | None = None
    unit: str = ""
    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf8"
    skip: int = 0
    skip_after_heading: int = 0
    notes: list[str] = field(default_factory=list)


def look_at(file: BinaryIO, column: str) -> Layout:
    """How the file is laid out, and where the wanted column stands (``""``: the only one of numbers).

    Refusals (``Unprocessable``): field ``file``: ``file_empty``, ``file_unreadable``, ``file_too_wide``,
    ``file_too_long``, ``heading_missing``, ``decimal_unclear``; field ``column``: ``column_unknown``,
    ``column_missing``, ``column_doubled``, ``column_not_numbers``.
    """
    file.seek(0)
    head = file.read(_HEAD)
    file.seek(0)
    if not head.strip():
        raise _refuse("file_empty", "The file is empty.")
    if head.startswith(b"PAR1"):
        return _look_at_parquet(file, column)
    if head.startswith(_PACKED):
        raise _refuse("file_unreadable", "This file is packed, or a workbook. Send it as CSV or Parquet.")
    return _look_at_csv(head, column)


def chunks(file: BinaryIO, layout: Layout) -> Iterator[FloatArray]:
    """The column's samples in time order, NaN where one was lost, in pieces of at most some 100,000.

    Refusals as ``look_at``, and ``number_unreadable`` and ``row_uneven`` naming the row.
    """
    file.seek(0)
    read = _parquet_chunks if layout.kind == "parquet" else _csv_chunks
    total = 0
    for values in read(file, layout):
        total += len(values)
        if total > MOST_SAMPLES:
            raise _too_long()
        yield values


def _refuse(code: str, message: str, at: str = "file") -> Unprocessable:
    return Unprocessable(code, message, field=at)


def _too_long() -> Unprocessable:
    return _refuse("file_too_long", f"More than {grouped(MOST_SAMPLES)} samples. Split the recording.")


def _choose(names: Sequence[str], wanted: str, numeric: Sequence[bool]) -> int:
    """Place of the wanted column; with none named, the only one of numbers that is not time."""
    plain = [_plain(name) for name in names]
    wanted = _plain(wanted)
    listed = ", ".join(name or "(no name)" for name in plain[:20])
    if not wanted:
        usual = [k for k, name in enumerate(plain) if numeric[k] and name.lower() not in _TIMES]
        if len(usual) == 1:
            return usual[0]
        raise _refuse("column_missing", f"Name the column to count. The file has {listed}.", "column")
    found = [k for k, name in enumerate(plain) if name == wanted]
    found = found or [k for k, name in enumerate(plain) if name.lower() == wanted.lower()]
    if not found:
        raise _refuse("column_unknown", f"There is no column {wanted[:60]!r}. The file has {listed}.", "column")
    if len(found) > 1:
        raise _refuse("column_doubled", f"Two columns are called {wanted[:60]!r}. Give each its own name.", "column")
    return found[0]


def _plain(name: str) -> str:
    return " ".join(name.split())[:LONGEST_NAME]


def _unit_of(text: str) -> str:
    """The unit a text names, alone or in brackets at its end; ``""`` where it names none that is known."""
    inside = re.search(r"[\[(]([^\])]*)[\])]\s*$", text)
    plain = (inside.group(1) if inside else text).strip().lower().replace("\u03bc", "µ")
    return _UNITS.get(plain, "")


# Parquet --------------------------------------------------------------------------------------------------------------


def _open_parquet(file: BinaryIO) -> parquet.ParquetFile:
    return parquet.ParquetFile(
        file,
        pre_buffer=False,  # else a whole row group is read ahead
        buffer_size=BLOCK,
        page_checksum_verification=True,
        thrift_string_size_limit=10_000_000,
        thrift_container_size_limit=1_000_000,
    )


def _look_at_parquet(file: BinaryIO, column: str) -> Layout:
    try:
        opened = _open_parquet(file)
        return _parquet_layout(opened.schema_arrow, opened.metadata, column)
    except _DAMAGE as error:
        raise _refuse("file_unreadable", "This Parquet file is damaged or locked.") from error


def _parquet_layout(schema: pa.Schema, about: Any, column: str) -> Layout:
    if len(schema.names) > MOST_COLUMNS:
        raise _refuse(
            "file_too_wide", f"{grouped(len(schema.names))} columns; at most {grouped(MOST_COLUMNS)} are read."
        )
    numeric = [pa.types.is_floating(kind) or pa.types.is_integer(kind) for kind in schema.types]
    place = _choose(schema.names, column, numeric)
    name = schema.names[place]
    if not numeric[place]:
        raise _refuse("column_not_numbers", f"Column {name[:60]!r} holds {schema.types[place]}, no numbers.", "column")
    if about.num_rows > MOST_SAMPLES:
        raise _too_long()
    if about.num_rows < 1:
        raise _refuse("file_empty", "There is no sample in the file.")
    _guard_parquet(about)
    return Layout("parquet", _plain(name), name, rows=about.num_rows, unit=_unit_of(name))


def _guard_parquet(about: Any) -> None:
    """Refuse a file that says it unpacks to far more than its numbers need.

    Only whole row groups are asked: asking a damaged file for one column's part ends the process within pyarrow 26.
    """
    for number in range(about.num_row_groups):
        group = about.row_group(number)
        if group.total_byte_size > group.num_columns * (_FATTEST * group.num_rows + BLOCK):
            raise _refuse("file_unreadable", "The file unpacks to far more than its numbers need.")


def _parquet_chunks(file: BinaryIO, layout: Layout) -> Iterator[FloatArray]:
    try:
        with _open_parquet(file) as opened:
            for batch in opened.iter_batches(BATCH, columns=[layout.raw_column], use_threads=False):
                values = batch.column(0).cast(pa.float64(), safe=False)
                yield values.to_numpy(zero_copy_only=False)
    except _DAMAGE as error:
        raise _refuse("file_unreadable", "This Parquet file is damaged: its samples cannot be read.") from error


# CSV ------------------------------------------------------------------------------------------------------------------


def _look_at_csv(head: bytes, column: str) -> Layout:
    notes: list[str] = []
    text, encoding = _decoded(head, notes)
    if "\x00" in text:
        raise _refuse("file_unreadable", "This is no text: send the recording as CSV or Parquet.")
    lines = text.splitlines()
    if len(head) == _HEAD:
        lines = lines[:-1]  # the last one is cut
    if not lines:
        raise _refuse("file_too_wide", f"The first line is longer than {grouped(_HEAD)} characters.")
    skip = next((k for k, line in enumerate(lines) if line.strip() and not line.startswith("#")), len(lines))
    if skip:
        notes.append(f"{skip} {'line' if skip == 1 else 'lines'} above the heading passed over.")
    heading, delimiter = _heading(lines[skip] if skip < len(lines) else "")
    rows = [row for row in csv.reader(lines[skip + 1 : skip + 2001], delimiter=delimiter) if row]
    units = rows[0] if len(rows) > 1 and _is_words(rows[0]) else []
    body = rows[1:] if units else rows
    if not body:
        raise _refuse("file_empty", "There is no sample under the heading.")
    numeric = [len(body[0]) > k and bool(_NUMBER.fullmatch(body[0][k].strip())) for k in range(len(heading))]
    place = _choose(heading, column, numeric)
    if units:
        said = units[place].strip() if place < len(units) else ""
        notes.append(f"The row under the heading holds no samples ({said[:40]!r}) and was passed over.")
    if delimiter != "," and len(heading) > 1:
        notes.append({";": "Columns are parted by semicolons.", "\t": "Columns are parted by tabs."}.get(delimiter, ""))
    decimal = _decimal(body, place, delimiter)
    if decimal == ",":
        notes.append("The comma was read as the decimal sign.")
    return Layout(
        "csv",
        _plain(heading[place]),
        heading[place],
        unit=(_unit_of(units[place]) if place < len(units) else "") or _unit_of(heading[place]),
        delimiter=delimiter,
        decimal=decimal,
        encoding=encoding,
        skip=skip,
        skip_after_heading=1 if units else 0,
        notes=[note for note in notes if note],
    )


def _decoded(head: bytes, notes: list[str]) -> tuple[str, str]:
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        notes.append("Read as UTF-16.")
        return codecs.getincrementaldecoder("utf-16")("replace").decode(head), "utf-16"
    try:
        return codecs.getincrementaldecoder("utf-8-sig")().decode(head), "utf8"
    except UnicodeDecodeError:
        notes.append("The file is not UTF-8 and was read as Latin-1.")
        return head.decode("latin-1"), "latin-1"


def _heading(line: str) -> tuple[list[str], str]:
    """Names of the columns and what parts them; a single column may have the comma as its decimal sign."""
    bare = re.sub(r'"[^"]*"', "", line)
    delimiter = max(";\t,|", key=bare.count)
    if not bare.count(delimiter):
        delimiter = ";"
    names = next(csv.reader([line], delimiter=delimiter), [])
    if len(names) > MOST_COLUMNS:
        raise _refuse("file_too_wide", f"{grouped(len(names))} columns; at most {grouped(MOST_COLUMNS)} are read.")
    if not any(name.strip() for name in names) or all(_NUMBER.fullmatch(name.strip()) for name in names):
        raise _refuse("heading_missing", "The first row must name the columns; here it holds numbers or nothing.")
    return names, delimiter


def _is_words(row: list[str]) -> bool:
    """No cell is a number, and not all are empty: units, not samples."""
    cells = [cell.strip() for cell in row]
    return any(cell not in _LOST for cell in cells) and not any(_NUMBER.fullmatch(cell) for cell in cells)


def _decimal(rows: list[list[str]], place: int, delimiter: str) -> str:
    """The decimal sign of the column; where its first rows hold whole numbers only, that of its neighbours."""
    own = [row[place].strip() for row in rows if place < len(row)]
    points, commas = sum("." in cell for cell in own), sum("," in cell for cell in own)
    if points and commas:
        raise _refuse(
            "decimal_unclear",
            "Some numbers have a point and some a comma. Write them without signs between thousands.",
        )
    if points or commas or delimiter == ",":
        return "," if commas else "."
    others = [cell.strip() for row in rows for cell in row if _NUMBER.fullmatch(cell.strip())]
    return "," if any("," in cell for cell in others) else "."


def _csv_chunks(file: BinaryIO, layout: Layout) -> Iterator[FloatArray]:
    try:
        with arrow_csv.open_csv(file, **_csv_options(layout)) as opened:
            for batch in opened:
                yield batch.column(0).to_numpy(zero_copy_only=False)
    except _DAMAGE as error:
        _explain(error)


def _csv_options(layout: Layout) -> dict[str, Any]:
    return {
        "read_options": arrow_csv.ReadOptions(
            use_threads=False,
            block_size=BLOCK,
            skip_rows=layout.skip,
            skip_rows_after_names=layout.skip_after_heading,
            encoding=layout.encoding,
        ),
        "parse_options": arrow_csv.ParseOptions(delimiter=layout.delimiter),
        "convert_options": arrow_csv.ConvertOptions(
            column_types={layout.raw_column: pa.float64()},
            include_columns=[layout.raw_column],
            null_values=_LOST,
            decimal_point=layout.decimal,
        ),
    }


def _explain(error: Exception) -> NoReturn:
    """The parser's complaint in a technician's words, with the row of the file."""
    said = str(error)
    row, value = _ROW.search(said), _VALUE.search(said)
    where = f"Row {row.group(1)} (empty ones not counted)" if row else "A row"
    if value:
        shown = value.group(1).rstrip("'")
        raise _refuse("number_unreadable", f"{where}: {shown!r} is no number. Leave a lost sample empty.") from error
    if "straddling" in said:
        raise _refuse("file_too_wide", f"A line is longer than {grouped(BLOCK)} characters.") from error
    if "columns, got" in said:
        raise _refuse("row_uneven", f"{where} has more or fewer cells than the heading.") from error
    raise _refuse("file_unreadable", "This file cannot be read as CSV: was it damaged on the way?") from error
