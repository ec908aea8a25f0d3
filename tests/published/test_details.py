"""Detail categories against the tables of EN 1993-1-9:2005 as read in public copies, and against AS 4100."""

import pytest

from engineering import details

pytestmark = pytest.mark.published


@pytest.mark.parametrize(
    ("detail_id", "printed"),
    [
        ("bolt-tension", 50), ("butt-flush", 112), ("butt-low", 90), ("butt-high", 80), ("butt-one-side-tested", 71),
        ("butt-one-side", 36), ("butt-backing", 71), ("butt-backing-edge", 50), ("butt-step", 71),
        ("long-attachment-tapered", 71), ("long-attachment-radius", 80), ("edge-gusset-large-radius", 90),
        ("edge-gusset-radius", 71), ("edge-gusset-small-radius", 50), ("edge-gusset", 40), ("stud", 80),
        ("cruciform-root", 36), ("fillet-throat-shear", 80), ("lap-plate", 45), ("cover-plate-ground", 56),
        ("fillet-shear-flow", 80), ("tube-socket-butt", 71), ("tube-socket-fillet", 40), ("tube-attached", 71),
    ],
)  # fmt: skip
def test_category_of_en_1993_1_9_tables_8_1_to_8_6_in_a_public_copy(detail_id, printed):
    assert details.detail(detail_id)["category"] == printed


@pytest.mark.parametrize(
    ("length", "printed"), [(50, 80), (51, 71), (80, 71), (81, 63), (100, 63), (101, 56), (900, 56)]
)
def test_attachment_along_the_stress_en_1993_1_9_table_8_4_detail_1(length, printed):
    assert details.size_dependent("long_attachment", length_mm=length)["category"] == printed


@pytest.mark.parametrize(("length", "printed"), [(50, 80), (51, 71), (80, 71)])
def test_attachment_across_the_stress_en_1993_1_9_table_8_4_details_6_to_8(length, printed):
    assert details.size_dependent("transverse_attachment", length_mm=length)["category"] == printed


@pytest.mark.parametrize(
    ("length", "thickness", "printed"),
    [
        (49, 10, 80), (80, 10, 71), (100, 10, 63), (120, 10, 56), (121, 20, 56), (400, 20, 56), (200, 21, 50),
        (201, 30, 50), (300, 31, 45), (301, 50, 45), (301, 51, 40),
    ],
)  # fmt: skip
def test_cross_joint_toe_en_1993_1_9_table_8_5_detail_1(length, thickness, printed):
    assert details.size_dependent("cruciform", length_mm=length, thickness_mm=thickness)["category"] == printed


@pytest.mark.parametrize(
    ("flange", "cover", "printed"),
    [(20, 12, 56), (30, 12, 50), (50, 12, 45), (51, 12, 40), (20, 20, 50), (30, 30, 45), (50, 60, 40), (51, 60, 36)],
)
def test_cover_plate_end_en_1993_1_9_table_8_5_detail_6(flange, cover, printed):
    assert details.cover_plate(flange, cover)["category"] == printed


@pytest.mark.parametrize(
    ("family", "wall", "printed"),
    [
        ("tube_butt", 9, 90), ("tube_butt", 7, 71), ("box_butt", 9, 71), ("box_butt", 7, 56),
        ("tube_plate_butt", 9, 56), ("tube_plate_butt", 7, 50), ("box_plate_butt", 9, 50),
        ("tube_plate_fillet", 7, 40), ("box_plate_fillet", 7, 36),
    ],
)  # fmt: skip
def test_hollow_sections_agree_with_as_4100_2020_table_11_5_1_d(family, wall, printed):
    assert details.size_dependent(family, thickness_mm=wall)["category"] == printed
