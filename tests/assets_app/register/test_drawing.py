"""Drawings of joints: to scale, unknowns visibly unknown, every word said."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assets_app.register.drawing import SeenFinding, clock, symbol_size, weld_section
from assets_app.register.drawing_bolts import BoltPattern, bolt_group, layout
from assets_app.register.drawing_run import LEFT, RIGHT, weld_run
from assets_app.register.weld_shapes import SHAPES, WeldSection
from engineering import bolt_patterns as engineering_bolts

NUMBER = r"-?\d+(?:\.\d+)?"
SVG = "{http://www.w3.org/2000/svg}"
CRACK = SeenFinding(1, "crack", "hold now", "toe", 3.0, 24.0, 120.0, None, True)


def elements(drawing, look: str) -> list[ET.Element]:
    """Elements whose class has ``look`` among its words."""
    root = ET.fromstring(drawing.svg)
    return [e for e in root.iter() if look in e.get("class", "").split()]


def points(element: ET.Element) -> list[tuple[float, float]]:
    numbers = [float(n) for n in re.findall(NUMBER, element.get("d", ""))]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def height(element: ET.Element) -> float:
    ys = [y for _, y in points(element)]
    return max(ys) - min(ys)


def texts(drawing) -> list[str]:
    return [e.text or "" for e in ET.fromstring(drawing.svg).iter(f"{SVG}text")]


@pytest.mark.parametrize("leg", [2.0, 3.0, 6.0, 10.0])
def test_a_thin_weld_looks_thin_against_the_wall_it_lies_on(leg):
    drawing = weld_section(WeldSection("tee", "fillet", leg_mm=leg, wall_mm=12.0, other_wall_mm=10.0))
    wall = elements(drawing, "steel")[0]
    for weld in elements(drawing, "weldmetal"):
        assert height(weld) / height(wall) == pytest.approx(leg / 12.0, rel=0.02)


def test_the_scale_bar_measures_what_it_says():
    drawing = weld_section(WeldSection("tee", "fillet", leg_mm=6, wall_mm=12.0, other_wall_mm=10.0))
    px_per_mm = height(elements(drawing, "steel")[0]) / 12.0
    bar = ET.fromstring(drawing.svg).findall(f".//{SVG}line[@class='wide']")[-1]
    length = float(bar.get("x2")) - float(bar.get("x1"))
    said = next(t for t in texts(drawing) if re.fullmatch(r"\d+ mm", t))
    assert length / px_per_mm == pytest.approx(float(said.split()[0]), rel=0.02)


def test_an_unknown_leg_is_dashed_with_a_question_mark_and_no_weld_metal():
    drawing = weld_section(WeldSection("tee", "fillet", wall_mm=12.0, other_wall_mm=10.0))
    assert not elements(drawing, "weldmetal")
    assert "z ?" in texts(drawing)
    assert any("Leg not known" in line for line in drawing.words)


def test_an_unknown_wall_shows_a_question_mark_in_place_of_a_figure():
    drawing = weld_section(WeldSection("butt", "full penetration", other_wall_mm=10.0))
    assert "?" in texts(drawing)
    assert "12" not in texts(drawing)
    assert any("wall where the toe cracks not known" in line.lower() for line in drawing.words)


def test_nothing_known_still_draws_and_says_so():
    drawing = weld_section(WeldSection())
    assert "joint type not known" in drawing.words[0].lower()
    assert not elements(drawing, "weldmetal")


def test_a_leg_taken_from_the_throat_is_marked_as_about():
    """Flat equal-legged fillet: the throat is the height of a right triangle on its longest side, z = a * sqrt(2)."""
    weld = WeldSection("tee", "fillet", throat_mm=5.0, wall_mm=12.0, other_wall_mm=10.0)
    assert weld.leg == pytest.approx(math.hypot(5.0, 5.0))
    assert "z ≈ 7.1" in texts(weld_section(weld))


@pytest.mark.parametrize(
    ("weld", "size"),
    [
        (WeldSection("tee", "fillet", leg_mm=8.0), "z8"),
        (WeldSection("tee", "fillet", leg_mm=8.0, throat_mm=5.6), "a5.6"),
        (WeldSection("butt", "partial penetration", penetration_mm=6.0), "s6"),
        (WeldSection("butt", "partial penetration"), "s?"),
        (WeldSection("butt", "full penetration"), ""),
        (WeldSection("tee", "fillet"), "?"),
    ],
)
def test_the_symbol_carries_the_size_that_is_known(weld, size):
    """Letters a (throat), z (leg), s (penetration) as in ISO 2553; from memory, the standard was not at hand."""
    assert symbol_size(weld) == size


sizes = st.none() | st.floats(0.5, 120.0)


@given(
    joint=st.sampled_from([*SHAPES, ""]),
    kind=st.sampled_from(["fillet", "full penetration", "partial penetration", ""]),
    leg=sizes,
    throat=sizes,
    depth=sizes,
    wall=sizes,
    other=sizes,
    tube=st.booleans(),
)
def test_any_figures_draw_well_formed_steel_within_the_paper(joint, kind, leg, throat, depth, wall, other, tube):
    weld = WeldSection(joint, kind, leg, throat, depth, wall, other, None, tube)
    drawing = weld_section(weld, [CRACK, replace(CRACK, number=2, place="root", depth_mm=900.0)])
    for plate in elements(drawing, "steel"):
        assert all(0 <= x <= 360 and 0 <= y <= 306 for x, y in points(plate))
    lowest = max(y for look in ("steel", "weldmetal") for part in elements(drawing, look) for _, y in points(part))
    numbers = [e for e in elements(drawing, "strong") if e.tag == f"{SVG}text"]
    assert [e.text for e in numbers] == ["1", "2"]
    assert all(float(e.get("y")) - 12 > lowest for e in numbers), "a number lies on steel or weld metal"
    assert re.fullmatch("Drawn to the wall's thickness, though told deeper: finding (1, )?2", drawing.words[-1])


def test_a_crack_is_drawn_to_its_depth():
    weld = WeldSection("tee", "fillet", leg_mm=8, wall_mm=12.0, other_wall_mm=10.0)
    drawing = weld_section(weld, [CRACK])
    px_per_mm = height(elements(drawing, "steel")[0]) / 12.0
    assert height(elements(drawing, "crack")[0]) == pytest.approx(3.0 * px_per_mm, abs=0.2)


def test_a_crack_of_unknown_depth_is_dashed_with_a_question_mark():
    unknown = SeenFinding(4, "crack", "hold now", "root", is_crack=True)
    drawing = weld_section(WeldSection("tee", "fillet", leg_mm=8, wall_mm=12.0), [unknown])
    assert not elements(drawing, "crack")
    assert "4 ?" in texts(drawing)


def test_names_from_the_register_are_escaped():
    drawing = weld_section(WeldSection(process="<script>"), name='"><script>alert(1)</script>')
    assert "<script" not in drawing.svg
    ET.fromstring(drawing.svg)


@pytest.mark.parametrize(
    ("degrees", "said"),
    [(0, "12:00"), (90, "3:00"), (120, "4:00"), (270, "9:00"), (359.9, "12:00"), (15, "12:30"), (375, "12:30")],
)
def test_degrees_read_as_a_clock(degrees, said):
    assert clock(degrees) == said


def test_a_finding_on_a_tube_lies_at_its_clock_position_and_length():
    drawing = weld_run([CRACK], tube_diameter_mm=200.0, length_mm=None)
    line = elements(drawing, "crack")[0]
    x0, x1 = float(line.get("x1")), float(line.get("x2"))
    assert (x0 + x1) / 2 == pytest.approx(LEFT + (RIGHT - LEFT) / 3, abs=0.1)
    assert (x1 - x0) / (RIGHT - LEFT) == pytest.approx(24.0 / (math.pi * 200.0), abs=0.001)


def test_a_crack_over_twelve_o_clock_goes_on_at_the_other_end():
    over = SeenFinding(1, "crack", "hold now", clock_deg=0.0, length_mm=60.0, is_crack=True)
    lines = elements(weld_run([over], tube_diameter_mm=200.0, length_mm=None), "crack")
    drawn = sum(float(e.get("x2")) - float(e.get("x1")) for e in lines)
    assert len(lines) == 2
    assert drawn / (RIGHT - LEFT) == pytest.approx(60.0 / (math.pi * 200.0), abs=0.001)


def test_a_finding_without_a_position_is_named_as_not_placed():
    lost = SeenFinding(7, "undercut", "watch", position_mm=500.0)
    for length in (None, 400.0):
        words = weld_run([lost], tube_diameter_mm=None, length_mm=length).words
        assert any("Not placed" in line and "7" in line for line in words)


def test_what_was_told_by_distance_on_a_tube_has_a_strip_of_its_own_and_no_clock_position():
    far = replace(CRACK, number=2, clock_deg=None, position_mm=172.0)
    drawing = weld_run([CRACK, far, replace(far, number=3, position_mm=900.0)], tube_diameter_mm=219.0, length_mm=None)
    _, line = elements(drawing, "crack")
    middle = (float(line.get("x1")) + float(line.get("x2"))) / 2
    assert middle == pytest.approx(LEFT + (RIGHT - LEFT) * 172.0 / (math.pi * 219.0), abs=0.1)
    assert "on the clock: not known" in texts(drawing)
    assert any("Finding 2: told by distance" in line for line in drawing.words)
    assert "finding 3, told at a distance that lies beyond the weld, which is 688 mm long" in drawing.words[-1]


@given(st.lists(st.floats(0, 400), min_size=1, max_size=60))
def test_flags_of_however_many_findings_stand_clear_of_each_other_on_the_paper(places):
    found = [SeenFinding(n, "crack", "watch", position_mm=at) for n, at in enumerate(places, start=1)]
    drawing = weld_run(found, tube_diameter_mm=None, length_mm=400.0)
    flags = [e for e in elements(drawing, "strong") if e.tag == f"{SVG}text"]
    free = 0.0
    for flag in sorted(flags, key=lambda e: float(e.get("x"))):
        start = float(flag.get("x"))
        assert start - 17 >= free - 0.1
        free = start + 7.5 * len(flag.text)
    assert free <= 360
    counted = sum(int(one[1:]) if one[0] == "+" else 1 for e in flags for one in e.text.replace(",", "").split())
    assert counted == len(places)


def test_round_a_tube_of_unknown_diameter_the_clock_places_it_and_no_length_is_drawn():
    drawing = weld_run([CRACK], tube_diameter_mm=None, length_mm=None, as_tube=True)
    assert "diameter not known" in texts(drawing)
    assert not elements(drawing, "crack")
    assert elements(drawing, "guess")
    assert not any("Not placed" in line for line in drawing.words)


def test_bolt_one_of_a_ring_is_at_the_top_and_the_numbers_go_clockwise():
    plan = layout(BoltPattern(12, "ring", 400.0, size="M20"))
    assert plan.points[0] == pytest.approx((0, 200))
    assert plan.points[3] == pytest.approx((200, 0))


def test_drawn_neighbours_are_the_neighbours_that_the_loads_are_computed_with():
    drawn = layout(BoltPattern(12, "ring", 400.0)).points
    computed = engineering_bolts.ring(12, 400.0).positions_mm
    for k in range(12):
        assert math.dist(drawn[0], drawn[k]) == pytest.approx(math.dist(computed[0], computed[k]))
    grid = layout(BoltPattern(8, "grid", rows=2, row_pitch_mm=80.0, column_pitch_mm=70.0)).points
    assert grid == [pytest.approx(tuple(p)) for p in engineering_bolts.grid(4, 2, 70.0, 80.0).positions_mm]


def test_every_bolt_is_drawn_once_and_a_missing_one_is_an_empty_hole():
    drawing = bolt_group(BoltPattern(12, "ring", 400.0, size="M20"), {3: "missing", 5: "loose"})
    groups = {e.get("data-bolt"): e for e in ET.fromstring(drawing.svg).iter(f"{SVG}g") if e.get("data-bolt")}
    assert list(groups) == [str(k) for k in range(1, 13)]
    looks = {number: {c.get("class") for c in group} for number, group in groups.items()}
    assert "shank" in looks["1"]
    assert "shank" not in looks["3"]
    assert any("Missing: bolt 3" in line for line in drawing.words)
    assert any("Loose: bolt 5" in line for line in drawing.words)


def test_bolts_too_close_for_their_numbers_are_numbered_now_and_then_and_that_is_said():
    drawing = bolt_group(BoltPattern(72, "ring", 1800.0, size="M12"), {})
    assert [said for said in texts(drawing) if said.isdigit()] == [str(k) for k in range(1, 73, 2)]
    assert "only numbers 1, 3, 5 and so on are written" in drawing.words[1]


def test_a_group_of_unknown_pattern_is_not_to_scale_and_says_so():
    drawing = bolt_group(BoltPattern(6), {})
    assert any("not to scale" in line for line in drawing.words)
    assert "not to scale" in texts(drawing)


def test_an_unknown_number_of_bolts_draws_no_bolt():
    drawing = bolt_group(BoltPattern(), {})
    assert "data-bolt" not in drawing.svg
    assert drawing.words == ["Number of bolts not known"]


@given(count=st.integers(1, 72), diameter=st.floats(20, 5000))
def test_any_ring_stays_on_the_paper(count, diameter):
    drawing = bolt_group(BoltPattern(count, "ring", diameter, size="M16"), {})
    for circle in elements(drawing, "shank"):
        assert 0 <= float(circle.get("cx")) <= 360
        assert 0 <= float(circle.get("cy")) <= 330
