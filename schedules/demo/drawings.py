"""What the drawings of Larkmoor say: families of like joints, by the name of the asset they belong to. Invented."""

from __future__ import annotations

from typing import NamedTuple

SINGLE, MULTIPLE, UNKNOWN = "single", "multiple", "unknown"
EASY, MODERATE, DIFFICULT = "easy", "moderate", "difficult"


class Welds(NamedTuple):
    """A family of like welds; ``name`` holds ``{n}``. Lengths in mm."""

    name: str
    section: str
    grade: str
    wall: float
    other_wall: float
    joint_type: str
    weld_type: str  # fillet, full, partial
    leg: float  # of a fillet; else the throat
    detail: str
    path: str
    access: str
    attachment: float | None = None
    tube: float | None = None
    share: int = 10  # how many of the asset's joints, in proportion
    process: str = "135"
    level: str = "B"


class Bolts(NamedTuple):
    """A family of like bolt groups; ``name`` holds ``{n}``."""

    name: str
    section: str
    grade: str
    wall: float
    count: int
    pattern: str  # ring, or rows as grid
    across: float  # ring diameter, or pitch
    size: str
    tightening: str
    detail: str
    path: str
    access: str
    share: int = 6
    rows: int = 2


Family = Welds | Bolts
J2, J0, JR = "S355J2", "S355J0", "S275JR"

DRAWINGS: dict[str, list[Family]] = {
    "Gull Wheel": [
        Welds("spoke {n} to hub plate", "CHS 168.3x10", J2, 10, 25, "tee", "fillet", 8, "tube-plate-fillet", MULTIPLE, EASY, 18, 168.3, 24),
        Welds("tower leg {n} foot", "CHS 323.9x12.5", J2, 12.5, 30, "tee", "full", 12.5, "tube-plate-butt", SINGLE, EASY, 40, 323.9, 4),
        Welds("cabin hanger lug {n}", "PL 20x120", J2, 15, 20, "cruciform", "full", 15, "cruciform-toe-50", SINGLE, MODERATE, 40, None, 16),
        Welds("rim brace {n}", "CHS 88.9x6.3", J0, 8, 6.3, "attachment", "fillet", 5, "tube-attached", MULTIPLE, MODERATE, 89, None, 12),
        Bolts("rim splice {n}", "PL 16x200", J2, 16, 8, "grid", 80, "M20", "combined", "slip-resistant-double", MULTIPLE, MODERATE, 12),
        Bolts("axle bearing {n}", "PL 40x500", J2, 40, 12, "ring", 520, "M30", "tension", "bolt-tension", SINGLE, EASY, 2),
    ],
    "Breaker": [
        Welds("track tie {n} to rail", "CHS 139.7x10", J2, 10, 12, "attachment", "fillet", 7, "long-attachment-80", MULTIPLE, MODERATE, 75, 139.7, 44),
        Welds("rail butt {n}", "CHS 139.7x10", J2, 10, 10, "butt", "full", 10, "tube-butt", SINGLE, EASY, None, 139.7, 18, "141"),
        Welds("column {n} foot", "CHS 273x10", J2, 10, 25, "tee", "fillet", 9, "tube-plate-fillet", MULTIPLE, EASY, 30, 273.0, 16),
        Welds("chassis lug of car {n}", "PL 16x90", J2, 16, 20, "cruciform", "full", 16, "cruciform-toe-50", SINGLE, EASY, 38, None, 8),
        Bolts("track flange {n}", "PL 25x280", J2, 25, 8, "ring", 220, "M24", "tension", "bolt-tension", SINGLE, MODERATE, 18),
        Bolts("column splice {n}", "PL 20x360", J0, 20, 8, "ring", 330, "M20", "combined", "slip-resistant-single", MULTIPLE, MODERATE, 8),
    ],
    "Tide Swing": [
        Welds("arm {n} root", "RHS 200x120x10", J2, 10, 20, "tee", "full", 10, "box-plate-butt-thick", SINGLE, EASY, 30, None, 12),
        Welds("seat bracket {n}", "PL 12x80", J0, 12, 8, "lap", "fillet", 6, "lap-plate", MULTIPLE, EASY, 60, None, 18),
        Welds("mast stiffener {n}", "CHS 406.4x16", J2, 16, 12, "attachment", "fillet", 8, "transverse-attachment-50", MULTIPLE, MODERATE, 28, 406.4, 10),
        Bolts("slew ring segment {n}", "PL 35x900", J2, 35, 12, "ring", 640, "M24", "tension", "bolt-tension", SINGLE, EASY, 4),
        Bolts("arm pivot plate {n}", "PL 20x240", J2, 20, 6, "grid", 70, "M20", "torque", "slip-resistant-double", MULTIPLE, EASY, 8),
    ],
    "Lantern Carousel": [
        Welds("sweep {n} to centre drum", "RHS 150x100x8", JR, 8, 15, "tee", "fillet", 6, "box-plate-fillet", MULTIPLE, EASY, 20, None, 14),
        Welds("horse rod crank {n}", "RD 50", J0, 12, 12, "butt", "full", 12, "butt-high", MULTIPLE, MODERATE, None, None, 12, "111", "C"),
        Welds("canopy rib {n}", "RHS 80x60x5", JR, 6, 5, "tee", "fillet", 4, "cruciform-toe-80", MULTIPLE, DIFFICULT, 60, None, 8, "111", "C"),
        Bolts("platform segment {n}", "PL 10x160", JR, 10, 6, "grid", 60, "M16", "torque", "slip-resistant-single", MULTIPLE, EASY, 10),
    ],
    "Kite Tower": [
        Welds("guide rail bracket {n}", "PL 15x140", J2, 15, 12, "attachment", "fillet", 7, "long-attachment-100", MULTIPLE, MODERATE, 95, None, 18),
        Welds("carriage corner {n}", "RHS 160x80x10", J2, 10, 10, "corner", "full", 10, "box-butt", SINGLE, EASY, None, None, 10),
        Welds("tower node {n}", "CHS 193.7x12.5", J2, 12.5, 12.5, "attachment", "full", 10, "tube-attached", MULTIPLE, MODERATE, 90, 193.7, 10),
        Bolts("tower flange {n}", "PL 30x420", J2, 30, 16, "ring", 360, "M24", "tension", "bolt-tension", SINGLE, MODERATE, 6),
        Bolts("rail splice {n}", "PL 15x140", J2, 15, 4, "grid", 60, "M16", "torque", "slip-resistant-double", MULTIPLE, EASY, 4),
    ],
    "Sea Train": [
        Welds("coach {n} drawbar eye", "PL 20x100", J2, 20, 20, "cruciform", "full", 16, "cruciform-toe-80", SINGLE, EASY, 60, None, 6),
        Welds("side member outrigger {n}", "RHS 120x60x6", J0, 8, 6, "tee", "fillet", 5, "cruciform-toe-80", MULTIPLE, EASY, 62, None, 18),
        Bolts("axle seat {n}", "PL 15x120", J0, 15, 4, "grid", 90, "M16", "torque", "slip-resistant-single", MULTIPLE, EASY, 10),
    ],
    "Pier Hoist": [
        Welds("cage frame corner {n}", "RHS 100x100x8", J2, 8, 8, "corner", "full", 8, "box-butt", SINGLE, EASY, None, None, 10),
        Welds("rope anchor {n}", "PL 25x150", J2, 25, 30, "cruciform", "full", 20, "cruciform-toe-50", SINGLE, EASY, 45, None, 4),
        Welds("mast tie {n}", "CHS 76.1x6.3", J0, 8, 12, "lap", "fillet", 5, "lap-plate", MULTIPLE, MODERATE, 80, None, 8),
        Bolts("mast splice {n}", "PL 20x260", J2, 20, 8, "ring", 210, "M20", "combined", "bolt-tension", SINGLE, EASY, 8),
    ],
    "Landing Bridge": [
        Welds("main girder stiffener {n}", "PG 700x250", J0, 15, 12, "attachment", "fillet", 6, "transverse-attachment-50", MULTIPLE, MODERATE, 26, None, 12, "111", "C"),
        Welds("hinge plate {n}", "PL 40x300", J2, 30, 40, "cruciform", "full", 25, "cruciform-toe-100", SINGLE, EASY, 90, None, 4),
        Bolts("cross girder {n} end plate", "PL 20x300", J0, 20, 8, "grid", 90, "M20", "combined", "slip-resistant-single", MULTIPLE, MODERATE, 8),
    ],
    "Low Loader": [
        Welds("crossmember {n} to main beam", "IPE 360", J2, 12.7, 8, "tee", "fillet", 6, "cruciform-toe-80", MULTIPLE, EASY, 70, None, 16),
        Welds("gooseneck web step {n}", "PL 20x400", J2, 20, 20, "butt", "full", 20, "butt-high", SINGLE, EASY, None, None, 6),
        Welds("spring hanger {n}", "PL 12x160", J2, 12, 15, "attachment", "fillet", 8, "long-attachment-over-100", MULTIPLE, EASY, 160, None, 12),
        Bolts("fifth wheel plate {n}", "PL 25x500", J2, 25, 12, "grid", 110, "M16", "torque", "slip-resistant-single", SINGLE, EASY, 3),
        Bolts("ramp hinge {n}", "PL 15x180", J0, 15, 6, "grid", 70, "M16", "torque", "bolted-bearing", MULTIPLE, EASY, 4),
    ],
    "Flatbed Trailer": [
        Welds("outrigger {n} to main beam", "IPE 300", J0, 10.7, 6, "tee", "fillet", 5, "cruciform-toe-80", MULTIPLE, EASY, 60, None, 16),
        Welds("kingpin plate seam {n}", "PL 12x900", J2, 12, 10, "lap", "fillet", 8, "lap-plate", SINGLE, EASY, 120, None, 4),
        Bolts("landing leg {n}", "PL 12x160", J0, 12, 8, "grid", 80, "M16", "torque", "slip-resistant-single", MULTIPLE, EASY, 10),
    ],
    "Box Trailer": [
        Welds("floor bearer {n}", "IPE 240", J0, 9.8, 6, "tee", "fillet", 5, "cruciform-toe-80", MULTIPLE, EASY, 58, None, 14),
        Welds("suspension bracket {n}", "PL 12x140", J2, 12, 12, "attachment", "fillet", 7, "long-attachment-over-100", MULTIPLE, EASY, 150, None, 6),
        Bolts("underrun bar {n}", "PL 10x120", JR, 10, 4, "grid", 60, "M12", "torque", "slip-resistant-single", MULTIPLE, EASY, 4),
    ],
    "Scissor Lift One": [
        Welds("scissor arm {n} boss", "RHS 120x60x8", J2, 8, 20, "cruciform", "full", 8, "cruciform-toe-80", MULTIPLE, EASY, 55, None, 16),
        Welds("base frame corner {n}", "RHS 100x60x6", JR, 8, 6, "corner", "fillet", 5, "box-plate-fillet", MULTIPLE, MODERATE, 15, None, 6),
        Bolts("cylinder trunnion {n}", "PL 20x180", J2, 20, 6, "ring", 160, "M16", "torque", "bolt-tension", SINGLE, EASY, 4),
    ],
    "Boom Lift": [
        Welds("boom section {n} seam", "RHS 250x180x8", J2, 8, 8, "corner", "full", 8, "long-auto-stops", SINGLE, EASY, None, None, 8),
        Welds("boom foot lug {n}", "PL 25x200", J2, 20, 25, "cruciform", "full", 18, "cruciform-toe-80", SINGLE, EASY, 60, None, 6),
        Welds("platform bracket {n}", "PL 12x100", J0, 10, 8, "lap", "fillet", 6, "lap-plate", MULTIPLE, EASY, 60, None, 6),
        Bolts("slew ring bolt set {n}", "PL 30x700", J2, 30, 12, "ring", 560, "M20", "tension", "bolt-tension", SINGLE, MODERATE, 6),
    ],
    "Mobile Crane": [
        Welds("jib chord {n} butt", "CHS 101.6x8", J2, 8, 8, "butt", "full", 8, "tube-butt", SINGLE, EASY, None, 101.6, 12, "141"),
        Welds("jib lacing {n}", "CHS 60.3x5", J0, 8, 5, "attachment", "fillet", 4, "tube-attached", MULTIPLE, MODERATE, 60, None, 14),
        Welds("outrigger box {n}", "RHS 300x200x12.5", J2, 12.5, 12.5, "corner", "full", 12.5, "box-butt", MULTIPLE, EASY, None, None, 8),
        Welds("rope anchor lug {n}", "PL 30x150", J2, 25, 30, "cruciform", "full", 22, "cruciform-toe-50", SINGLE, EASY, 48, None, 4),
        Bolts("slew ring bolt set {n}", "PL 40x1100", J2, 40, 16, "ring", 980, "M24", "tension", "bolt-tension", SINGLE, MODERATE, 6),
        Bolts("counterweight frame {n}", "PL 25x260", J0, 25, 6, "grid", 100, "M24", "torque", "bolted-bearing", MULTIPLE, EASY, 6),
    ],
    "Loading Ramp": [
        Welds("bearer {n} to edge beam", "HEA 160", JR, 9, 6, "tee", "fillet", 5, "cruciform-toe-80", MULTIPLE, EASY, 60, None, 12, "111", "C"),
        Welds("lip hinge {n}", "PL 20x120", J0, 20, 20, "lap", "fillet", 8, "lap-plate", MULTIPLE, EASY, 90, None, 6, "111", "C"),
        Bolts("anchor plate {n}", "PL 20x240", JR, 20, 4, "grid", 140, "M20", "snug", "bolt-tension", MULTIPLE, EASY, 4),
    ],
}  # fmt: skip
DRAWINGS["Scissor Lift Two"] = DRAWINGS["Scissor Lift One"]
