"""One cell: a value, or an error that names what is wrong and what to do; and the mapping that leads to it."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assets_app.refusals import Unprocessable
from assets_app.register import mapping
from assets_app.register.columns import FIELDS, CellError, Ways
from assets_app.register.gathering import gather
from assets_app.register.reading import Sheet
from tests.assets_app.register.conftest import outcome

TODAY = date(2026, 6, 15)
WAYS = Ways("mm", ("%d/%m/%y", "%Y-%m-%d"), 40)
EVERY = [(target, name) for target, fields in FIELDS.items() for name in fields]


def take(target, name, text, ways=WAYS):
    return FIELDS[target][name].take(text, ways).value


def plan(tables, headings, *rows):
    built = mapping.build(tables, headings)
    return gather(Sheet(list(headings), [(n, list(row)) for n, row in enumerate(rows, start=2)]), built, today=TODAY)


@settings(max_examples=600, deadline=None)
@given(st.sampled_from(EVERY), st.text(min_size=1, max_size=80))
def test_any_text_is_a_value_or_a_named_error(where, text):
    _, error = outcome(lambda: FIELDS[where[0]][where[1]].take(text, WAYS), CellError)
    assert error is None or (error.what and error.do)


@settings(max_examples=200)
@given(st.dates(date(1950, 1, 1), date(2040, 12, 31)))
def test_a_day_written_with_a_two_digit_year_comes_back_within_the_pivot(day):
    assert take("programme", "last_look_on", day.strftime("%d/%m/%y")) == day
    assert take("programme", "last_look_on", day.isoformat()) == day


@settings(max_examples=200)
@given(st.floats(0.01, 5000, allow_nan=False))
def test_a_length_in_inches_is_the_same_length_in_millimetres(inches):
    assert take("weld", "leg_mm", f"{inches:.6f} in") == pytest.approx(float(f"{inches:.6f}") * 25.4, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "mm"),
    [("3/8 in", 9.525), ("10 mm", 10), ("9,5", 9.5), ('1 1/2"', 38.1), ("10mm", 10), ("1.2 cm", 12)],
)
def test_lengths_are_read_as_people_write_them(text, mm):
    assert take("weld", "leg_mm", text) == pytest.approx(mm)


@pytest.mark.parametrize("text", ["0", "-3 mm", "nan", "inf", "8-10", "1,000 mm", "12 ga", "eight", "8 kg"])
def test_what_is_no_single_positive_length_is_refused(text):
    with pytest.raises(CellError):
        take("weld", "leg_mm", text)


def test_a_two_digit_year_without_a_pivot_is_refused():
    with pytest.raises(CellError, match="two-digit"):
        take("programme", "last_look_on", "16/7", Ways(dated=2))


@pytest.mark.parametrize("text", ["31/02/20", "2020-13-01", "45/01/2020", "03/04/2020", "1066-10-14"])
def test_a_day_that_is_none_or_could_be_two_is_refused(text):
    with pytest.raises(CellError):
        take("programme", "last_look_on", text)


def test_words_are_found_by_value_or_label_in_any_case():
    assert take("joint", "load_path", "Single Load Path") == take("joint", "load_path", "SINGLE") == "single"
    with pytest.raises(CellError, match="multiple"):
        take("joint", "load_path", "both")


# The mapping ----------------------------------------------------------------------------------------------------------

ASSET = {"tag": "no", "kind": {"value": "ride"}}


@pytest.mark.parametrize(
    ("tables", "word"),
    [
        ({"asset": {"tag": "number"}}, "no column number"),
        ({"asset": {"name": "no"}}, "which asset"),
        ({"asset": ASSET, "joint": {"name": "no"}}, "needs a tag"),
        ({"asset": ASSET, "weld": {"leg_mm": "leg"}}, "belongs to a joint"),
        ({"asset": ASSET, "ship": {}}, "cannot have ship"),
        ({"asset": ASSET | {"colour": "no"}}, "cannot have colour"),
        ({"asset": ASSET, "dates": {"formats": ["%d/%m/%y"]}}, "need a pivot"),
        ({"asset": ASSET, "dates": {"pivot": 140}}, "two-digit"),
        ({"asset": {"tag": {"column": "no", "value": "x"}}}, "needs one of"),
        ({"asset": {"tag": {"columns": []}}}, "list of column names"),
        ({"asset": ASSET, "doubled": {"same_key": "guess"}}, "refuse or number"),
        ({"asset": ASSET, "joint": {"tag": "no"}, "programme": {"source": "no"}}, "needs a method"),
    ],
)
def test_a_mapping_that_cannot_be_is_refused_with_the_place(tables, word):
    with pytest.raises(Unprocessable, match=word) as found:
        mapping.build(tables, ["no", "leg"])
    assert found.value.code == "mapping_wrong"


def test_a_wrong_constant_is_refused_once_and_not_row_by_row():
    with pytest.raises(Unprocessable, match=r"asset\.kind"):
        plan({"asset": {"tag": "no", "kind": {"value": "rocket"}}}, ["no"], ["R-1"], ["R-2"])


@settings(max_examples=200)
@given(st.text(max_size=200))
def test_any_text_is_a_mapping_or_is_refused_by_name(text):
    _, error = outcome(lambda: mapping.build(mapping.parse(text), ["no"]), Unprocessable)
    assert error is None or error.code == "mapping_wrong"


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
tables_of = st.dictionaries(
    st.sampled_from(["asset", "joint", "weld", "programme", "dates", "empty", "units", "file", "doubled"]),
    st.dictionaries(st.sampled_from(["tag", "kind", "formats", "words", "pivot", "method"]), json_values, max_size=3)
    | json_values,
    max_size=4,
)


@settings(max_examples=300)
@given(tables_of)
def test_any_tables_are_a_mapping_or_are_refused_by_name(tables):
    _, error = outcome(lambda: plan(tables, ["no", "leg"], ["R-1", "8"]), Unprocessable)
    assert error is None or error.code == "mapping_wrong"


def test_values_are_mapped_and_empty_words_are_empty():
    tables = {
        "empty": {"words": ["NA"]},
        "asset": ASSET | {"place": {"column": "where", "values": {"N": "north end"}}},
    }
    made = plan(tables, ["no", "where"], ["R-1", "n"], ["R-2", "na"], ["R-3", "middle"])
    assert [given.values.get("place") for given in made.things["asset"].values()] == ["north end", None, "middle"]


def test_a_year_without_a_month_counts_from_the_first_of_january():
    tables = {
        "dates": {"pivot": 40},
        "asset": ASSET,
        "joint": {"tag": {"value": "ALL"}, "kind": {"value": "weld"}},
        "programme": [{"method": {"value": "VT"}, "last_look_on": {"year": "yr", "month": "mo"}}],
    }
    made = plan(tables, ["no", "yr", "mo"], ["R-1", "16", ""], ["R-2", "16", "7"], ["R-3", "", "7"])
    looks = [given.values.get("last_look_on") for given in made.things["programme"].values()]
    assert looks == [date(2016, 1, 1), date(2016, 7, 1), None]


def test_a_row_of_more_cells_than_headings_is_refused_not_cut():
    made = plan({"asset": ASSET}, ["no"], ["R-1", "lost"])
    assert made.errors.listed[0]["row"] == 2
    assert not made.things["asset"]


def test_words_around_a_cell_are_never_a_template():
    made = plan({"asset": ASSET | {"note": {"column": "x", "words": "{}: {0.__class__}"}}}, ["no", "x"], ["R-1", "{}"])
    assert made.things["asset"][("R-1",)].values["note"] == "{}: {0.__class__}"


def test_many_errors_are_all_counted_and_the_first_ones_listed():
    made = plan({"asset": {"tag": "no", "kind": "kind"}}, ["no", "kind"], *[[f"R-{n}", "x"] for n in range(1500)])
    assert made.errors.total == 1500
    assert len(made.errors.listed) == 1000
