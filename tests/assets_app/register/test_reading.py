"""Files that are hostile, damaged or just unusual: read right, or refused with a clear word and nothing lost."""

from __future__ import annotations

import struct
import zipfile
from io import BytesIO

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from assets_app.refusals import Unprocessable
from assets_app.register import reading
from tests.assets_app.register.conftest import outcome


def refused(content: bytes, code: str) -> str:
    with pytest.raises(Unprocessable) as found:
        reading.read(content)
    assert found.value.code == code
    assert found.value.field == "file"
    return found.value.message


def workbook(fill, **options) -> bytes:
    target = BytesIO()
    book = xlsxwriter.Workbook(target, {"in_memory": True, **options})
    fill(book)
    book.close()
    return target.getvalue()


def repacked(content: bytes, name: str, data: bytes) -> bytes:
    """The workbook with one part put in place of its own."""
    target = BytesIO()
    with zipfile.ZipFile(BytesIO(content)) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.namelist():
            new.writestr(part, data if part == name else old.read(part))
    return target.getvalue()


SMALL = workbook(lambda book: book.add_worksheet().write_row(0, 0, ["asset_tag"]))
SHEET = "xl/worksheets/sheet1.xml"


# CSV ------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_delimiter_is_found_though_cells_hold_others(delimiter):
    text = delimiter.join(['"a, or b; or c"', "tag", "leg"]) + "\n" + delimiter.join(['"x"', "W-1", '"9,5 mm"'])
    sheet = reading.read(text.encode())
    assert sheet.headings == ["a, or b; or c", "tag", "leg"]
    assert sheet.rows == [(2, ["x", "W-1", "9,5 mm"])]


def test_row_numbers_are_those_a_spreadsheet_shows():
    sheet = reading.read(b'tag,note\nW-1,"two\nlines"\n\nW-2,x\n')
    assert [row for row, _ in sheet.rows] == [2, 4]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_utf_8_is_read_with_and_without_its_mark(mark):
    sheet = reading.read(mark + "tag\nStraße Ø8\n".encode())
    assert sheet.headings == ["tag"]
    assert sheet.rows[0][1] == ["Straße Ø8"]
    assert sheet.notes == []


def test_windows_1252_is_read_and_said():
    sheet = reading.read("tag\nStraße ½\n".encode("cp1252"))
    assert sheet.rows[0][1] == ["Straße ½"]
    assert "Windows-1252" in sheet.notes[0]


def test_utf_16_with_its_mark_is_read_and_said():
    sheet = reading.read("tag\nStraße\n".encode("utf-16"))
    assert sheet.rows[0][1] == ["Straße"]
    assert "UTF-16" in sheet.notes[0]


def test_a_picture_is_no_register():
    assert "Save it as CSV" in refused(b"\x89PNG\r\n\x1a\n\x81\x8d\x8f" * 20, "file_unreadable")


def test_nul_characters_are_refused():
    assert "NUL" in refused(b"tag\nW\x00-1\n", "file_unreadable")


@pytest.mark.parametrize("content", [b"", b"   \n\n", b"tag,name\n", b"tag,name\n,\n\n"])
def test_nothing_in_it_is_said(content):
    assert refused(content, "file_empty")


def test_an_empty_heading_is_said():
    assert refused(b",,\n1,2,3\n", "heading_missing")


def test_two_headings_alike_are_named():
    assert "leg" in refused(b"tag,leg,leg\nW-1,8,9\n", "heading_doubled")


def test_an_open_quote_is_refused_with_its_row():
    assert "Row 3" in refused(b'tag,name\nW-1,x\nW-2,"x\n', "file_unreadable")


def test_ten_million_columns_are_refused_at_once():
    assert refused(b"a," * 10_000_000 + b"\n1\n", "file_too_wide")


def test_a_row_of_too_many_cells_is_refused():
    assert refused(b"tag\n" + b"x," * 400 + b"\n", "file_too_wide")


def test_a_huge_cell_is_refused():
    assert refused(b"tag\n" + b"x" * 2_000_000 + b"\n", "file_too_wide")
    assert refused(b"tag\n" + b"x" * 200_000 + b"\n", "file_unreadable")


def test_too_many_rows_are_refused(monkeypatch):
    monkeypatch.setattr(reading, "MOST_ROWS", 3)
    assert refused(b"tag\n" + b"x\n" * 4, "file_too_long")


@settings(max_examples=300)
@given(st.binary(max_size=400))
def test_any_bytes_are_read_or_refused_by_name(content):
    sheet, error = outcome(lambda: reading.read(content), Unprocessable)
    if sheet:
        assert all(len(cells) >= len(sheet.headings) for _, cells in sheet.rows)
    else:
        assert error.code
        assert error.message


@settings(max_examples=200)
@given(st.lists(st.lists(st.text(max_size=8), min_size=2, max_size=2), min_size=1, max_size=5))
def test_what_a_spreadsheet_writes_comes_back(rows):
    import csv
    import io

    rows = [["".join(c for c in cell if c.isprintable()).strip() for cell in row] for row in rows]
    target = io.StringIO()
    csv.writer(target, quoting=csv.QUOTE_ALL).writerows([["a", "b"], *rows])
    kept = [row for row in rows if any(row)]
    sheet, error = outcome(lambda: reading.read(target.getvalue().encode()), Unprocessable)
    assert error is None or (error.code == "file_empty" and not kept)
    assert error or [cells for _, cells in sheet.rows] == kept


# XLSX -----------------------------------------------------------------------------------------------------------------


def test_a_workbook_of_two_sheets_says_which_was_read():
    def fill(book):
        for name in ("joints", "other"):
            book.add_worksheet(name).write_column(0, 0, ["tag", name])

    content = workbook(fill)
    sheet = reading.read(content)
    assert sheet.rows == [(2, ["joints"])]
    assert "other" in sheet.notes[0]
    assert reading.read(content, sheet="other").rows == [(2, ["other"])]
    with pytest.raises(Unprocessable) as found:
        reading.read(content, sheet="third")
    assert found.value.code == "sheet_unknown"


def test_figures_and_words_come_as_a_person_would_type_them():
    sheet = reading.read(workbook(lambda b: b.add_worksheet().write_row(0, 0, ["tag", "leg", "yes"]) or
                                  b.worksheets()[0].write_row(1, 0, [101.0, 9.5, True])))  # fmt: skip
    assert sheet.rows == [(2, ["101", "9.5", "yes"])]


def test_a_formula_counts_by_its_stored_value_and_is_never_worked_out():
    def fill(book):
        page = book.add_worksheet()
        page.write_row(0, 0, ["tag", "leg"])
        page.write_string(1, 0, "=cmd|' /C calc'!A0")
        page.write_formula(1, 1, "=1+1", None, 8)

    assert reading.read(workbook(fill)).rows == [(2, ["=cmd|' /C calc'!A0", "8"])]


def test_a_bomb_is_refused_before_it_unpacks(monkeypatch):
    monkeypatch.setattr(reading, "MOST_UNPACKED", 50_000_000)
    bomb = repacked(SMALL, SHEET, b"<row>" + b" " * (reading.MOST_UNPACKED + 10))
    assert len(bomb) < 200_000
    assert refused(bomb, "file_too_long")


def test_a_bomb_that_lies_about_its_size_is_refused(monkeypatch):
    monkeypatch.setattr(reading, "MOST_UNPACKED", 1_000_000)
    bomb = bytearray(repacked(SMALL, SHEET, b" " * 5_000_000))
    place = bomb.rindex(SHEET.encode()) - 46
    assert bomb[place : place + 4] == b"PK\x01\x02"
    bomb[place + 24 : place + 28] = struct.pack("<I", 10)
    assert refused(bytes(bomb), "file_too_long")


@pytest.mark.parametrize(("cell", "code"), [("XFD1048576", "file_too_wide"), ("B1048576", "file_too_long")])
def test_one_cell_far_away_is_refused_before_the_sheet_is_spread_out(cell, code):
    row = cell.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    data = (
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        f'<row r="1"><c r="A1"><v>1</v></c></row><row r="{row}"><c r="{cell}"><v>1</v></c></row>'
        "</sheetData></worksheet>"
    )
    assert refused(repacked(SMALL, SHEET, data.encode()), code)


def test_a_zip_that_is_no_workbook_is_refused():
    target = BytesIO()
    with zipfile.ZipFile(target, "w") as made:
        made.writestr("hello.txt", "hello")
    assert refused(target.getvalue(), "file_unreadable")


def test_a_cut_off_workbook_is_refused():
    assert refused(SMALL[: len(SMALL) // 2], "file_unreadable")


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(SMALL) - 1), st.integers(0, 255))
def test_a_workbook_with_a_changed_byte_is_read_or_refused_by_name(place, value):
    content = bytearray(SMALL)
    content[place] = value
    sheet, error = outcome(lambda: reading.read(bytes(content)), Unprocessable)
    assert sheet or error.code
