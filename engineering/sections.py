"""Section values of tubes, rectangular hollow sections and plates, and the nominal stress range at a joint.

Closed forms of EN 10210-2:2006 and EN 10219-2:2006 (Annex B), checked against the values those tables print.
Lengths in mm, mass in kg/m, stress in MPa.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from engineering.errors import FloatArray, InputError, finite, one, positive

STEEL_KG_PER_MM3 = 7.85e-6
FORMING = ("cold", "hot")
_CORNER = (10.0 - 3.0 * math.pi) / (12.0 - 3.0 * math.pi)
_SPANDREL = 4.0 - math.pi


@dataclass(frozen=True)
class Section:
    """Values of one cross-section; *strong* is bending about the axis with the larger stiffness as it is named.

    Attributes:
        name: such as "CHS 219.1x8".
        wall_mm: wall or plate thickness, mm.
        depth_mm, width_mm: outer size, mm.
        area_mm2: cross-section, mm²; mass_kg_per_m: mass, kg/m, of steel at 7850 kg/m³.
        second_moment_mm4, second_moment_weak_mm4: I, mm⁴.
        elastic_modulus_mm3, elastic_modulus_weak_mm3: Wel, mm³.
        plastic_modulus_mm3, plastic_modulus_weak_mm3: Wpl, mm³.
        torsion_constant_mm4: J, mm⁴; torsion_modulus_mm3: Ct, mm³.
    """

    name: str
    wall_mm: float
    depth_mm: float
    width_mm: float
    area_mm2: float
    second_moment_mm4: float
    second_moment_weak_mm4: float
    elastic_modulus_mm3: float
    elastic_modulus_weak_mm3: float
    plastic_modulus_mm3: float
    plastic_modulus_weak_mm3: float
    torsion_constant_mm4: float
    torsion_modulus_mm3: float

    @property
    def mass_kg_per_m(self) -> float:
        return self.area_mm2 * 1000.0 * STEEL_KG_PER_MM3

    @property
    def radius_mm(self) -> float:
        """Radius of gyration about the strong axis, mm."""
        return math.sqrt(self.second_moment_mm4 / self.area_mm2)

    @property
    def radius_weak_mm(self) -> float:
        """Radius of gyration about the weak axis, mm."""
        return math.sqrt(self.second_moment_weak_mm4 / self.area_mm2)


def tube(outer_mm: float, wall_mm: float) -> Section:
    """Circular hollow section: outer diameter and wall, mm.

    A = π/4 (D²-d²); I = π/64 (D⁴-d⁴); Wel = 2I/D; Wpl = (D³-d³)/6; J = 2I (EN 10210-2:2006 Annex B).
    ``InputError`` where the wall is not thinner than half the diameter.

    >>> round(tube(219.1, 8).elastic_modulus_mm3 / 1000)
    270
    """
    outer, wall = one(positive, "outer_mm", outer_mm), one(positive, "wall_mm", wall_mm)
    _hollow(wall, outer)
    inner = outer - 2 * wall
    area = math.pi / 4 * (outer**2 - inner**2)
    second = math.pi / 64 * (outer**4 - inner**4)
    elastic = 2 * second / outer
    plastic = (outer**3 - inner**3) / 6
    return Section(f"CHS {outer:g}x{wall:g}", wall, outer, outer, area, second, second, elastic, elastic,
                   plastic, plastic, 2 * second, 2 * elastic)  # fmt: skip


def rhs(depth_mm: float, width_mm: float, wall_mm: float, *, forming: str = "cold") -> Section:
    """Rectangular hollow section; depth (along which the strong axis bends), width, wall in mm.

    Corner radii as the tables take them: hot finished 1.5 t outside and 1.0 t inside (EN 10210-2:2006); cold formed
    2.0/1.0 t up to 6 mm, 2.5/1.5 t up to 10 mm, 3.0/2.0 t above (EN 10219-2:2006). ``forming`` is "cold" unless said
    otherwise: its larger corners make the weaker section. Range: wall below half the width less the corner.
    """
    depth, width = one(positive, "depth_mm", depth_mm), one(positive, "width_mm", width_mm)
    wall = one(positive, "wall_mm", wall_mm)
    if forming not in FORMING:
        raise InputError("forming", f"must be one of {', '.join(FORMING)}, got {forming!r}", code="unknown_row")
    out, inn = _corner_radii(wall, forming)
    _hollow(max(wall, out), min(depth, width))
    area = 2 * wall * (width + depth - 2 * wall) - _SPANDREL * (out**2 - inn**2)
    second, plastic = _box_bending(depth, width, wall, out, inn)
    weak, plastic_weak = _box_bending(width, depth, wall, out, inn)
    middle = (out + inn) / 2
    length = 2 * (width - wall + depth - wall) - 2 * middle * _SPANDREL
    enclosed = (width - wall) * (depth - wall) - middle**2 * _SPANDREL
    mean = 2 * enclosed * wall / length
    torsion = wall**3 * length / 3 + 2 * mean * enclosed
    kind = "SHS" if depth == width else "RHS"
    return Section(f"{kind} {depth:g}x{width:g}x{wall:g} {forming}", wall, depth, width, area, second, weak,
                   2 * second / depth, 2 * weak / width, plastic, plastic_weak, torsion,
                   torsion / (wall + mean / wall))  # fmt: skip


def plate(width_mm: float, thickness_mm: float) -> Section:
    """Flat plate; the strong axis bends in its plane. Width and thickness in mm, thickness not above the width.

    J = b t³/3 · (1 - 0.630 r + 0.052 r⁵), Ct = b t²/3 / (1 + 0.6095 r + 0.8865 r² - 1.8023 r³ + 0.9100 r⁴), r = t/b:
    handbook fits to the exact series, from memory, checked against its tabulated values.
    """
    width, thickness = one(positive, "width_mm", width_mm), one(positive, "thickness_mm", thickness_mm)
    if thickness > width:
        raise InputError("thickness_mm", f"must not exceed the width of {width:g} mm, got {thickness:g}")
    ratio = thickness / width
    torsion = width * thickness**3 / 3 * (1 - 0.630 * ratio + 0.052 * ratio**5)
    return Section(
        name=f"PL {width:g}x{thickness:g}", wall_mm=thickness, depth_mm=width, width_mm=thickness,
        area_mm2=width * thickness,
        second_moment_mm4=thickness * width**3 / 12, second_moment_weak_mm4=width * thickness**3 / 12,
        elastic_modulus_mm3=thickness * width**2 / 6, elastic_modulus_weak_mm3=width * thickness**2 / 6,
        plastic_modulus_mm3=thickness * width**2 / 4, plastic_modulus_weak_mm3=width * thickness**2 / 4,
        torsion_constant_mm4=torsion, torsion_modulus_mm3=width * thickness**2 / 3 / _plate_torsion(ratio),
    )  # fmt: skip


_WRITTEN = re.compile(r"^(CHS|SHS|RHS|PL|PLATE|FLAT)((?:\d+(?:\.\d+)?X){1,2}\d+(?:\.\d+)?)(HOT|COLD|HF|CF)?$")


def parse(text: str) -> Section:
    """A section from its usual name: "CHS 219.1x8", "SHS 100x5 hot", "RHS 200x100x6.3", "PL 200x10".

    A hollow section with no word on its forming is taken as cold formed (the weaker). ``InputError`` (argument
    ``text``) where the name cannot be read.
    """
    shown = str(text)
    squeezed = re.sub(r"[\s*]", "", shown.upper().replace("×", "X").replace(",", "."))
    match = _WRITTEN.match(squeezed)
    if not match:
        raise InputError("text", f"cannot read {shown!r}; write for instance CHS 219.1x8 or RHS 200x100x6.3 hot")
    shape, sizes, forming = match[1], [float(size) for size in match[2].split("X")], match[3] or "COLD"
    forming = {"HF": "hot", "CF": "cold"}.get(forming, forming.lower())
    if shape == "CHS" and len(sizes) == 2:
        return tube(*sizes)
    if shape in ("PL", "PLATE", "FLAT") and len(sizes) == 2 and not match[3]:
        return plate(*sizes)
    if shape == "SHS" and (len(sizes) == 2 or sizes[0] == sizes[1]):
        return rhs(sizes[0], sizes[0], sizes[-1], forming=forming)
    if shape == "RHS" and len(sizes) == 3:
        return rhs(sizes[0], sizes[1], sizes[2], forming=forming)
    raise InputError("text", f"{shape} cannot have the sizes in {shown!r}")


def range_mpa(
    section: Section,
    *,
    force_range_n: ArrayLike,
    arm_mm: ArrayLike,
    axial_range_n: ArrayLike = 0.0,
    axis: str = "strong",
    position_deg: ArrayLike | None = None,
) -> FloatArray:
    """Nominal stress range, MPa, at a joint of a member under a lateral load.

    |F| a / Wel · |cos position| + |N| / A: beam theory, no hot spot or misalignment in it (EN 1993-1-9:2005 clause 6).

    Args:
        section: cross-section at the joint.
        force_range_n: range of the lateral force, N.
        arm_mm: distance from the force to the joint, mm.
        axial_range_n: range of the axial force in phase with it, N.
        axis: "strong" or "weak".
        position_deg: on a tube, angle of the point from the plane of bending, degrees; None takes the worst point.

    Returns:
        Stress range, MPa, not negative, broadcast over the arguments.
    """
    if axis not in ("strong", "weak"):
        raise InputError("axis", f"must be strong or weak, got {axis!r}", code="unknown_row")
    modulus = section.elastic_modulus_mm3 if axis == "strong" else section.elastic_modulus_weak_mm3
    moment = np.abs(finite("force_range_n", force_range_n)) * np.abs(finite("arm_mm", arm_mm))
    share: FloatArray | float = 1.0
    if position_deg is not None:
        if not section.name.startswith("CHS"):
            raise InputError("position_deg", "a clock position belongs to a circular tube")
        share = np.abs(np.cos(np.deg2rad(finite("position_deg", position_deg))))
    axial = np.abs(finite("axial_range_n", axial_range_n)) / section.area_mm2
    return np.asarray(moment / modulus * share + axial, dtype=np.float64)


def _hollow(wall: float, size: float) -> None:
    if 2 * wall >= size:
        raise InputError("wall_mm", f"leaves no hollow in a section of {size:g} mm")


def _plate_torsion(ratio: float) -> float:
    return 1 + 0.6095 * ratio + 0.8865 * ratio**2 - 1.8023 * ratio**3 + 0.9100 * ratio**4


def _corner_radii(wall: float, forming: str) -> tuple[float, float]:
    if forming == "hot":
        return 1.5 * wall, 1.0 * wall
    if wall <= 6.0:
        return 2.0 * wall, 1.0 * wall
    return (2.5 * wall, 1.5 * wall) if wall <= 10.0 else (3.0 * wall, 2.0 * wall)


def _box_bending(depth: float, width: float, wall: float, out: float, inn: float) -> tuple[float, float]:
    """Second moment, mm⁴, and plastic modulus, mm³, of a box with rounded corners, bent along its depth."""
    inner_depth, inner_width = depth - 2 * wall, width - 2 * wall
    second = (width * depth**3 - inner_width * inner_depth**3) / 12
    plastic = (width * depth**2 - inner_width * inner_depth**2) / 4
    for radius, height, sign in ((out, depth, -1), (inn, inner_depth, 1)):
        corner = _SPANDREL * radius**2 / 4
        own = (1 / 3 - math.pi / 16 - 1 / (3 * (12 - 3 * math.pi))) * radius**4
        arm = height / 2 - _CORNER * radius
        second += sign * 4 * (own + corner * arm**2)
        plastic += sign * 4 * corner * arm
    return second, plastic
