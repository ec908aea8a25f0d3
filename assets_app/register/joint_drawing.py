"""A joint of the register as the drawings take it, and the drawing on which a person touches where a finding is."""

from __future__ import annotations

from dataclasses import dataclass

from assets_app.register.drawing_bolts import BoltPattern, bolt_group
from assets_app.register.drawing_run import weld_run
from assets_app.register.models import BoltGroup, Joint, Weld
from assets_app.register.pen import Drawing
from assets_app.register.weld_shapes import WeldSection


def section_of(weld: Weld | None) -> WeldSection:
    """What the register knows of the cross-section; nothing where there is no weld row."""
    if weld is None:
        return WeldSection()
    return WeldSection(
        joint_type=weld.joint_type,
        weld_type=weld.weld_type,
        leg_mm=weld.leg_mm,
        throat_mm=weld.throat_mm,
        penetration_mm=weld.penetration_mm,
        wall_mm=weld.wall_mm,
        other_wall_mm=weld.other_wall_mm,
        attachment_mm=weld.attachment_mm,
        tube=weld.tube_diameter_mm is not None,
        process=weld.process,
        quality_level=weld.quality_level,
    )


def pattern_of(bolts: BoltGroup | None) -> BoltPattern:
    """What the register knows of the bolts; nothing where there is no row of them."""
    if bolts is None:
        return BoltPattern()
    return BoltPattern(
        bolt_count=bolts.bolt_count,
        pattern=bolts.pattern,
        ring_diameter_mm=bolts.ring_diameter_mm,
        rows=bolts.rows,
        row_pitch_mm=bolts.row_pitch_mm,
        column_pitch_mm=bolts.column_pitch_mm,
        positions=tuple((float(x), float(y)) for x, y in bolts.positions),
        size=bolts.size,
    )


@dataclass(frozen=True)
class TouchDrawing:
    """A drawing to touch. ``field`` is the form's field that it fills; ``run_mm`` the length of a plate's weld,
    ``diameter_mm`` the outer diameter of a tube, each None where it is not that or not known."""

    field: str
    drawing: Drawing
    hint: str
    run_mm: float | None = None
    diameter_mm: float | None = None


def touch_drawing(joint: Joint) -> TouchDrawing | None:
    """Bolts by number, clock on a tube, distance on a plate; None where too little is known to place it."""
    if joint.kind == Joint.Kind.BOLTED:
        pattern = pattern_of(getattr(joint, "bolt_group", None))
        if not pattern.bolt_count and not pattern.positions:
            return None
        return TouchDrawing("bolts", bolt_group(pattern, {}, name=joint.tag, touch=True), "Touch the bolts.")
    weld = getattr(joint, "weld", None)
    if weld is None:
        return None
    tube, length = weld.tube_diameter_mm, weld.length_mm
    if not tube and not length:
        return unmeasured_touch(joint.tag)
    drawing = weld_run((), tube_diameter_mm=tube, length_mm=length, name=joint.tag)
    if tube:
        return TouchDrawing("clock_deg", drawing, "Touch where it is round the tube.", diameter_mm=tube)
    return TouchDrawing("position", drawing, "Touch where it is along the weld.", length)


def unmeasured_touch(name: str = "the weld") -> TouchDrawing:
    """A weld of which nobody knows how long it runs: if it goes round a tube, the clock says where all the same."""
    drawing = weld_run((), tube_diameter_mm=None, length_mm=None, name=name, as_tube=True)
    return TouchDrawing("clock_deg", drawing, "If it goes round a tube, touch where.")
