"""The pen's drawings on paper: everything the pen writes is understood, and nothing else is passed over."""

import io
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.pdfgen.canvas import Canvas

from assets_app.doors.paper import is_spelled_out, printable, typeface
from assets_app.register import drawing
from assets_app.register.drawing import SeenFinding, weld_section
from assets_app.register.drawing_bolts import STATES, BoltPattern, bolt_group
from assets_app.register.drawing_run import weld_run
from assets_app.register.pen import SEVERITY_MARKS, Pen
from assets_app.register.weld_shapes import WeldSection
from schedules.reports.drawn import DrawnSvg, path_steps


def put_on_paper(svg: str) -> bytes:
    typeface()
    out = io.BytesIO()
    canvas = Canvas(out, invariant=1)
    DrawnSvg(svg, 300).drawOn(canvas, 50, 50)
    canvas.save()
    return out.getvalue()


@pytest.mark.parametrize("joint", ["tee", "butt", "lap", "corner", "cruciform", "attachment", ""])
@pytest.mark.parametrize("weld", ["fillet", "full penetration", "partial penetration", ""])
@pytest.mark.parametrize("known", [True, False])
def test_every_weld_the_register_can_hold_is_drawn_on_paper(joint, weld, known):
    sizes = {"leg_mm": 8, "wall_mm": 12, "other_wall_mm": 10, "penetration_mm": 5} if known else {}
    findings = [
        SeenFinding(n, "crack", severity, place=place, depth_mm=n or None, clock_deg=30 * n, length_mm=9, is_crack=True)
        for n, (severity, place) in enumerate(zip(SEVERITY_MARKS, ["toe", "root", "toe", "", "root"], strict=True))
    ]
    section = weld_section(WeldSection(joint_type=joint, weld_type=weld, process="135", **sizes), findings)
    run = weld_run(findings, tube_diameter_mm=219 if known else None, length_mm=None)
    for each in (section, run):
        assert put_on_paper(each.svg).startswith(b"%PDF")


@pytest.mark.parametrize("pattern", ["ring", "grid", ""])
def test_every_state_of_a_bolt_is_drawn_on_paper(pattern):
    bolts = BoltPattern(bolt_count=12, pattern=pattern, ring_diameter_mm=400, rows=3, row_pitch_mm=60, size="M20")
    states = dict(enumerate((*STATES, "sound"), start=1))
    assert put_on_paper(bolt_group(bolts, states).svg).startswith(b"%PDF")


def test_a_line_type_that_paper_does_not_know_is_refused_rather_than_left_out():
    pen = Pen(100, 100)
    pen.line((0, 0), (9, 9), "new-line-type")
    with pytest.raises(KeyError, match="new-line-type"):
        put_on_paper(pen.svg("x", []))


def test_a_curve_is_refused_rather_than_left_out():
    with pytest.raises(KeyError):
        list(path_steps("M0 0C1 1 2 2 3 3"))


def test_paper_knows_every_line_type_of_the_joint_drawings():
    from schedules.reports import drawn

    used = set()
    for file in ("drawing", "drawing_bolts", "drawing_run", "pen"):
        text = (Path(drawing.__file__).parent / f"{file}.py").read_text()
        used |= {
            name
            for look in re.findall(r'"((?:wide|thin|guess|grave|late|crack)[a-z -]*)"', text)
            for name in look.split()
        }
    assert used - drawn._KNOWN == set()


@given(st.lists(st.tuples(st.floats(-500, 500), st.floats(-500, 500)), min_size=2, max_size=9), st.booleans())
def test_a_path_of_the_pen_is_read_back_as_it_was_drawn(points, closed):
    pen = Pen(100, 100)
    pen.path(points, "wide", closed=closed)
    path = re.search(r' d="([^"]+)"', pen.parts[0]).group(1)
    steps = list(path_steps(path))
    assert [step[0] for step in steps] == ["M"] + ["L"] * (len(points) - 1) + ["Z"] * closed
    for (_, x, y), (px, py) in zip(steps, points, strict=False):
        assert (x, y) == pytest.approx((px, py), abs=0.051)


@given(st.text(max_size=60))
def test_every_character_that_is_printed_is_in_the_typeface(text):
    for character in printable(text):
        assert character == "\n" or ord(character) in typeface()


def test_symbols_of_the_trade_greek_and_cyrillic_are_printed_and_other_scripts_spelled_out():
    plain = "Δσ = 80 MPa − 5.2·10⁻¹³ m², ⌀ 20 ≤ ∞ → ok ✓. ρωγμή στη ραφή; трещина у края шва; Zoë Łukasz Őri"
    assert printable(plain) == plain
    assert printable("e\u0301") == "é"
    assert printable("中 س") == "[U+4E2D] [U+0633]"
    assert (is_spelled_out(plain), is_spelled_out("a 中")) == (False, True)
