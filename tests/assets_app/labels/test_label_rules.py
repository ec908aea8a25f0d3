"""How labels lie on a sheet, and what is refused."""

import subprocess
import sys
from dataclasses import fields, replace
from itertools import pairwise
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assets_app.labels import pdf
from assets_app.labels.rules import GRIDS, LEAST_MODULE_MM, PAGES, QUIET_MODULES, Grid, fit, places
from assets_app.refusals import Unprocessable

ADDRESS = "https://joints.larkmoor.example/j/Yb0cC9dDf1eEg2hHi3jJkA/"
MODULES = 33  # of a code for an address as long as ours
A4 = GRIDS["a4-21"]


def labels(count=3, tag="W-001", **more):
    return [pdf.Label(f"{ADDRESS[:-3]}{n:02d}/", tag, "R-01", **more) for n in range(count)]


def refused(call):
    with pytest.raises(Unprocessable) as refusal:
        call()
    assert refusal.value.code == "labels_do_not_fit"
    return refusal.value.field


@pytest.mark.parametrize("name", GRIDS)
def test_every_sheet_offered_lies_on_its_paper_and_holds_a_readable_code(name):
    grid = GRIDS[name]
    width, height = PAGES[grid.page]
    for place in places(grid, grid.labels):
        assert place.sheet == 0
        assert place.x_mm + grid.label_width_mm <= width + 0.05
        assert place.y_mm + grid.label_height_mm <= height + 0.05
    assert fit(grid, MODULES).code_mm / (MODULES + 2 * QUIET_MODULES) >= LEAST_MODULE_MM


@given(st.integers(1, 8), st.integers(1, 12), st.floats(0, 3), st.floats(0, 3), st.integers(1, 200), st.integers(1, 96))
def test_no_two_labels_overlap_and_each_sheet_is_filled_before_the_next(columns, rows, gap_x, gap_y, count, start):
    grid = Grid("A4", 20, 20, columns, rows, 1, 1, gap_x, gap_y)
    if start > grid.labels:
        assert refused(lambda: list(places(grid, count, start))) == "start_at"
        return
    laid = list(places(grid, count, start))
    assert len({(p.sheet, p.x_mm, p.y_mm) for p in laid}) == count
    assert [p.sheet for p in laid] == sorted(p.sheet for p in laid)
    assert max(p.sheet for p in laid) == (start - 1 + count - 1) // grid.labels
    for one, two in pairwise(laid):
        apart = abs(one.x_mm - two.x_mm) >= 20 or abs(one.y_mm - two.y_mm) >= 20
        assert one.sheet != two.sheet or apart


def test_a_part_used_sheet_begins_at_its_first_free_label():
    first = next(places(A4, 1, start_at=5))
    assert (first.x_mm, first.y_mm) == pytest.approx((7.2 + 63.5 + 2.5, 15.1 + 38.1))


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"label_width_mm": 211}, "label_width_mm"),
        ({"label_width_mm": 0}, "label_width_mm"),
        ({"label_width_mm": nan}, "label_width_mm"),
        ({"label_height_mm": inf}, "label_height_mm"),
        ({"label_height_mm": -3}, "label_height_mm"),
        ({"columns": 4}, "columns"),
        ({"columns": 0}, "columns"),
        ({"rows": 8}, "rows"),
        ({"rows": 10**9}, "rows"),
        ({"margin_left_mm": 150}, "margin_left_mm"),
        ({"margin_top_mm": -1}, "margin_top_mm"),
        ({"gap_x_mm": 10}, "columns"),
        ({"gap_y_mm": nan}, "gap_y_mm"),
        ({"page": "A3"}, "page"),
        ({"label_height_mm": 12, "rows": 1}, "label_height_mm"),
        ({"label_width_mm": 16, "columns": 1}, "label_width_mm"),
    ],
)
def test_labels_that_do_not_fit_are_refused_naming_the_figure(change, field):
    assert refused(lambda: pdf.sheet(labels(), replace(A4, **change))) == field
    assert refused(lambda: pdf.check(labels(), replace(A4, **change))) == field


@pytest.mark.parametrize("start", [0, -1, 22, 10**9])
def test_a_first_label_that_the_sheet_does_not_have_is_refused(start):
    assert refused(lambda: pdf.sheet(labels(), A4, start_at=start)) == "start_at"


def test_a_tag_that_would_have_to_be_cut_is_refused():
    small = Grid("A4", 32, 18, 1, 1)
    pdf.sheet(labels(1, "W-1"), small)
    assert refused(lambda: pdf.sheet(labels(1, "W" * 64), small)) == "label_width_mm"
    assert refused(lambda: pdf.check(labels(1, "W" * 64), small)) == "label_width_mm"


@given(st.text(min_size=1, max_size=20), st.text(max_size=40))
def test_any_words_make_a_sheet(tag, name):
    assert pdf.sheet(labels(1, tag, name=name), GRIDS["letter-10"]).startswith(b"%PDF")


def test_the_same_labels_give_the_same_bytes_here_and_in_another_process():
    here = pdf.sheet(labels(30, name="column foot"), A4, start_at=4)
    assert here == pdf.sheet(labels(30, name="column foot"), A4, start_at=4)
    code = (
        "import sys; from assets_app.labels import pdf; from assets_app.labels.rules import GRIDS;"
        f"rows = [pdf.Label({ADDRESS[:-3]!r} + f'{{n:02d}}/', 'W-001', 'R-01', name='column foot') for n in range(30)];"
        "sys.stdout.buffer.write(pdf.sheet(rows, GRIDS['a4-21'], start_at=4))"
    )
    there = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout
    assert there == here
    assert here != pdf.sheet(labels(30, name="column foot"), A4, start_at=5)


def test_a_grid_has_no_figure_that_is_not_checked():
    numbers = [each.name for each in fields(Grid) if each.name != "page"]
    for name in numbers:
        assert refused(lambda name=name: pdf.sheet(labels(), replace(A4, **{name: -1}))) == name
