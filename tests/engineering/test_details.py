"""The catalogue of details: complete rows, sizes, drawings."""

import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engineering import details, sn_curves
from engineering.errors import InputError
from engineering.tables import build


@pytest.mark.parametrize("row", details.catalogue(), ids=lambda row: row.id)
def test_every_detail_can_be_rated_and_drawn(row):
    assert row["reference"].startswith("EN 1993-1-9:2005 Table 8.")
    assert row["m"] == (5 if row["kind"] == "shear" else 3)
    assert row["size"] in ("none", "transverse_butt", "bolt_tension", "eccentric_step")
    assert sn_curves.cycles_to_failure(row["category"], row["category"], kind=row["kind"]) == pytest.approx(2e6)
    details.sketch_svg(row["sketch"])


def test_every_sketch_is_used_by_some_detail():
    assert {row["sketch"] for row in details.catalogue()} == set(details.SKETCHES)


@pytest.mark.parametrize("sketch", details.SKETCHES)
def test_a_sketch_takes_the_colour_of_the_text_and_stays_inside_its_frame(sketch):
    root = ET.fromstring(details.sketch_svg(sketch))
    assert root.get("viewBox") == "0 0 120 72"
    paints = {element.get(name) for element in root.iter() for name in ("fill", "stroke")} - {None}
    assert paints <= {"none", "currentColor"}
    for element in root.iter():
        for pair in (element.get("points") or "").split():
            x, y = map(float, pair.split(","))
            assert 0 <= x <= 120
            assert 0 <= y <= 72


def test_sketches_differ_from_each_other():
    assert len({details.sketch_svg(sketch) for sketch in details.SKETCHES}) == len(details.SKETCHES)


def test_an_unknown_detail_or_sketch_lists_what_there_is():
    with pytest.raises(InputError, match="bolt-tension"):
        details.detail("bolt-in-bending")
    with pytest.raises(InputError, match="cruciform"):
        details.sketch_svg("starfish")


@given(length=st.floats(0.1, 1000), thickness=st.floats(0.1, 200))
def test_every_cross_joint_has_exactly_one_category(length, thickness):
    assert details.size_dependent("cruciform", length_mm=length, thickness_mm=thickness)["category"] in range(40, 81)


@given(length=st.floats(0.1, 1000), more=st.floats(0, 500))
def test_a_longer_attachment_never_has_a_better_category(length, more):
    shorter = details.size_dependent("long_attachment", length_mm=length)
    assert details.size_dependent("long_attachment", length_mm=length + more)["category"] <= shorter["category"]


def test_a_cross_joint_of_50_mm_goes_into_the_lower_row():
    assert details.size_dependent("cruciform", length_mm=50)["category"] == 71


@pytest.mark.parametrize(
    ("family", "sizes", "argument"),
    [
        ("transverse_attachment", {"length_mm": 80.1}, "length_mm"),
        ("tube_butt", {"thickness_mm": 12.6}, "thickness_mm"),
        ("tube_plate_fillet", {"thickness_mm": 8.1}, "thickness_mm"),
        ("cruciform", {"length_mm": 150}, "thickness_mm"),
        ("cruciform", {"thickness_mm": 10}, "length_mm"),
        ("long_attachment", {}, "length_mm"),
        ("long_attachment", {"length_mm": 0}, "length_mm"),
        ("long_attachment", {"length_mm": float("nan")}, "length_mm"),
        ("sponson", {"length_mm": 10}, "family"),
    ],
)
def test_a_size_without_a_category_is_refused_by_name(family, sizes, argument):
    with pytest.raises(InputError) as caught:
        details.size_dependent(family, **sizes)
    assert caught.value.argument == argument


def test_an_office_may_bring_its_own_catalogue():
    row = {"id": "own-bracket", "category": 50, "kind": "direct", "family": "bracket", "l_upto_mm": 100}
    own = build("own", {"title": "t", "source": "s", "edition": "e", "status": "common practice", "rows": [row]})
    assert details.size_dependent("bracket", length_mm=60, table=own)["category"] == 50
    assert details.families(own) == ["bracket"]
    with pytest.raises(InputError):
        details.detail("bolt-tension", own)
