"""Bolt groups by elastic theory, with any set of bolts missing, broken, slack or unknown.

Units: N, mm, N·mm. Plates are rigid, bolts alike and linear, and no bearing contact of the plates is counted: under an
overturning moment the bolts alone carry, pull on one side and push on the other. Contact would relieve the bolts.

What each state means, on the safe side:

=========  ============================  ==========================================
state      for the load on the others    for the bolt itself
=========  ============================  ==========================================
ok         carries                       full preload, if the caller gives one
missing    carries nothing               0
broken     carries nothing               0
slack      carries nothing               0 static; its preload counts as gone: renew it
unknown    carries nothing               0; its preload counts as gone: go and look
=========  ============================  ==========================================

A slack or unknown bolt may still carry, and a stiff far bolt that does can raise the worst load. So the worst load is
taken from the worse of the two cases, all such bolts idle and all of them carrying. A group that loses bolts and comes
out with a smaller worst load (the lost bolt had been the worst) is given no credit: its ``rise`` is 1.

Reference: elastic bolt group, EN 1993-1-8:2005 clause 3.12 (elastic distribution in proportion to the distance from
the centre of rotation); textbook method.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engineering import bolts
from engineering.errors import FloatArray, InputError, finite, non_negative, one, positive

STATES = ("ok", "missing", "broken", "slack", "unknown")
DOUBTFUL = ("slack", "unknown")
_SINGULAR = 1e-9
_NOTHING = 1e-12
FATIGUE_SLOPE = 3


class Verdict(StrEnum):
    """Whether the bolts that remain can carry the load at all, and if not, why."""

    CARRIES = "carries"
    NO_BOLT = "cannot carry: no bolt remains"
    TURNS = "cannot carry: the one bolt that remains lets the part turn"
    ON_A_LINE = "cannot carry: the bolts that remain lie on one line"


@dataclass(frozen=True)
class Group:
    """Bolts of one size and class at ``positions_mm`` (n, 2) from the point where the load is taken, with a state each.

    Raises:
        InputError: ``shape`` for positions that are not (n, 2), two bolts in one place or a wrong count of states;
            ``unknown_row`` for a state, size or class that is not known; ``not_a_number``.
    """

    positions_mm: FloatArray
    state: NDArray[np.str_]
    size: bolts.Size
    property_class: bolts.PropertyClass

    def __init__(
        self,
        positions_mm: ArrayLike,
        state: Sequence[str] | None = None,
        size: bolts.Size | str = "M20",
        property_class: bolts.PropertyClass | str = "8.8",
    ) -> None:
        points = finite("positions_mm", positions_mm)
        if points.ndim != 2 or points.shape[1] != 2 or len(points) == 0:
            raise InputError("positions_mm", f"needs n rows of x, y; got shape {points.shape}", code="shape")
        if len(np.unique(points, axis=0)) != len(points):
            raise InputError("positions_mm", "two bolts stand in one place", code="shape")
        states = np.asarray(["ok"] * len(points) if state is None else list(state), dtype=np.str_)
        if states.shape != (len(points),):
            raise InputError("state", f"needs one state a bolt: {len(points)}, got {states.size}", code="shape")
        for name in states:
            if name not in STATES:
                raise InputError("state", f"{str(name)!r} is none of {', '.join(STATES)}", code="unknown_row")
        object.__setattr__(self, "positions_mm", points)
        object.__setattr__(self, "state", states)
        object.__setattr__(self, "size", bolts.size(size) if isinstance(size, str) else size)
        grade = bolts.property_class(property_class) if isinstance(property_class, str) else property_class
        object.__setattr__(self, "property_class", grade)

    @property
    def carrying(self) -> NDArray[np.bool_]:
        """True for each bolt that is counted on to carry."""
        return np.asarray(self.state == "ok", dtype=np.bool_)

    @property
    def doubtful(self) -> NDArray[np.bool_]:
        """True for each bolt that is slack or whose state is unknown."""
        return np.isin(self.state, DOUBTFUL)

    def with_lost(self, *bolts_lost: int, state: str = "missing") -> Group:
        """The same group with the bolts of these indices in ``state``; negative or too large an index raises."""
        states = list(self.state)
        for index in bolts_lost:
            if not 0 <= index < len(states):
                raise InputError("bolts_lost", f"no bolt {index}; they count from 0 to {len(states) - 1}")
            states[index] = state
        return Group(self.positions_mm, states, self.size, self.property_class)


@dataclass(frozen=True)
class GroupLoads:
    """What a load does to a group. Loads in N; every figure is infinite (life 0) when the group cannot carry.

    Attributes:
        verdict: carries, or why not.
        intact_verdict: the same with all bolts there. Where it is not ``CARRIES`` (bolts on one line under an
            overturning moment) the load was never this group's: ``rise`` then compares nothing, and is infinite.
        loads_n: one per bolt, 0 for one that does not count. In plane: size of the shear. Out of plane: pull +, push −.
        components_n: (n, 2) shear in x and y; None out of plane.
        worst_n: worst shear, or worst pull (0 if all bolts push).
        intact_worst_n: the same with all bolts there; infinite where it could not carry either.
        rise: worst over intact worst, never under 1; infinite where the intact group had no pull and this one has.
        life_share: part of the intact fatigue life that the worst bolt keeps, rise^-3 (EN 1993-1-9, m = 3). Where the
            ranges lie under the 5-million limit the loss is greater (m = 5, or a range lifted over the cut-off): take
            ``bolts.tension_cycles_to_failure`` on the ranges themselves.
        utilisation: ``worst_n`` (times prying) over the design resistance of one bolt; None for a class without one.
        centroid_mm: of the bolts that carry; None if none does.
    """

    verdict: Verdict
    intact_verdict: Verdict
    loads_n: FloatArray
    components_n: FloatArray | None
    worst_n: float
    intact_worst_n: float
    rise: float
    life_share: float
    utilisation: float | None
    centroid_mm: tuple[float, float] | None

    @property
    def can_carry(self) -> bool:
        """False when no figure can be given because the remaining bolts are a mechanism."""
        return self.verdict is Verdict.CARRIES

    @property
    def could_carry(self) -> bool:
        """False when no bolt group of this shape carries the load: not even with every bolt there."""
        return self.intact_verdict is Verdict.CARRIES


def shear_and_moment(
    group: Group,
    fx: float,
    fy: float,
    moment: float,
    *,
    planes: int = 1,
    thread_in_plane: bool = True,
    gamma_m2: float = bolts.GAMMA_M2,
) -> GroupLoads:
    """Load on each bolt of a group in its own plane: F = V/n + M_c r/Σr² about the centroid of those that carry.

    ``fx``, ``fy`` in N act at the origin of the positions; ``moment`` in N·mm about it, anticlockwise. Lost bolts shift
    the centroid, and the shift adds to the moment. One bolt of an intact one-bolt joint carries a force through it.
    ``planes``, ``thread_in_plane``, ``gamma_m2`` as in ``bolts.shear_resistance_n``.
    Example: ±50, ±50 mm, fy = −100 kN at x = 200 mm (moment −20 kN·m): worst 90.14 kN.
    """
    force = np.array([_number("fx", fx), _number("fy", fy)])
    turn = _number("moment", moment)

    def distribute(counted: NDArray[np.bool_]) -> tuple[Verdict, FloatArray]:
        return _in_plane(group.positions_mm, counted, force, turn)

    resistance = _resistance(
        group,
        lambda: bolts.shear_resistance_n(
            group.size, group.property_class, planes=planes, thread_in_plane=thread_in_plane, gamma_m2=gamma_m2
        ),
    )
    return _assess(group, distribute, resistance)


def overturning(
    group: Group, axial: float, mx: float, my: float, *, prying: float = 1.0, gamma_m2: float = bolts.GAMMA_M2
) -> GroupLoads:
    """Pull on each bolt of a group under loads out of its plane, elastic about the shifted centroid.

    ``axial`` in N, pull positive, at the origin of the positions; ``mx`` in N·mm pulls the bolts at +y, ``my`` those at
    +x. Equilibrium: ΣF = axial, ΣF y = mx, ΣF x = my. ``prying`` (``bolts.prying_factor``) multiplies the worst pull in
    the utilisation only, ``gamma_m2`` as in ``bolts.tension_resistance_n``. Example: ring of 8 on 200 mm, 100 kN·m:
    worst 250 kN.
    """
    load = np.array([_number("axial", axial), _number("mx", mx), _number("my", my)])
    if one(positive, "prying", prying) < 1:
        raise InputError("prying", f"a prying factor is 1 or more, got {prying!r}")

    def distribute(counted: NDArray[np.bool_]) -> tuple[Verdict, FloatArray]:
        return _out_of_plane(group.positions_mm, counted, load)

    return _assess(group, distribute, _tension_resistance(group, prying, gamma_m2))


def overturning_any_direction(
    group: Group, axial: float, moment: float, *, prying: float = 1.0, gamma_m2: float = bolts.GAMMA_M2
) -> GroupLoads:
    """Largest pull on each bolt as a moment of size ``moment`` (N·mm) turns through all directions (a slewing part).

    Per bolt, axial share + moment × √(a² + b²) with F = a mx + b my. The loads belong to different moments in time,
    so they are not in balance with one another. ``group``, ``prying``, ``gamma_m2`` as in ``overturning``.
    """
    pull, size = _number("axial", axial), one(non_negative, "moment", moment)

    def distribute(counted: NDArray[np.bool_]) -> tuple[Verdict, FloatArray]:
        verdict, base = _out_of_plane(group.positions_mm, counted, np.array([pull, 0.0, 0.0]))
        _, about_x = _out_of_plane(group.positions_mm, counted, np.array([0.0, size, 0.0]))
        _, about_y = _out_of_plane(group.positions_mm, counted, np.array([0.0, 0.0, size]))
        return verdict, base + np.hypot(about_x, about_y)

    return _assess(group, distribute, _tension_resistance(group, prying, gamma_m2))


def slip_utilisation(
    loads: GroupLoads, *, preload_n: float, friction: float, pulls_n: ArrayLike = 0.0, **slip: float
) -> float:
    """Worst shear per bolt over its slip resistance; infinite where nothing is left to grip or the group cannot carry.

    ``loads`` from ``shear_and_moment``; ``pulls_n`` pull on each bolt at the same time (one value or one a bolt), N;
    ``preload_n``, ``friction`` and the keywords in ``slip`` as in ``bolts.slip_resistance_n``.
    """
    if loads.components_n is None:
        raise InputError("loads", "slip needs loads in the plane of the joint", code="shape")
    if not loads.can_carry:
        return math.inf
    pulls = np.broadcast_to(np.maximum(finite("pulls_n", pulls_n), 0.0), loads.loads_n.shape)
    surfaces = int(slip.pop("surfaces", 1))
    grip = np.array(
        [bolts.slip_resistance_n(preload_n, friction=friction, tension_n=p, surfaces=surfaces, **slip) for p in pulls]
    )
    shear = loads.loads_n
    if np.any((grip <= 0) & (shear > 0)):
        return math.inf
    used = float(np.divide(shear, grip, out=np.zeros_like(shear), where=grip > 0).max())
    if loads.worst_n > shear.max():
        # A doubtful bolt that does carry raised the worst shear; which bolt has it is not listed, so the least grip is.
        return math.inf if grip.min() <= 0 else max(used, loads.worst_n / float(grip.min()))
    return used


def separation_utilisation(loads: GroupLoads, *, preload_n: float, preload_left: float = 1.0) -> float:
    """Worst pull over the preload still there, without prying; over 1 the plates part and the bolt takes all.

    ``loads`` from ``overturning``, ``preload_n`` in N; ``preload_left`` in [0, 1] is the share of preload kept; 0
    gives infinity under any pull.
    """
    if loads.components_n is not None:
        raise InputError("loads", "separation needs loads out of the plane of the joint", code="shape")
    if not 0 <= preload_left <= 1:
        raise InputError("preload_left", f"must lie from 0 to 1, got {preload_left!r}")
    held = one(positive, "preload_n", preload_n) * preload_left
    if held == 0:
        return math.inf if loads.worst_n > 0 else 0.0
    return loads.worst_n / held


def _number(argument: str, value: float) -> float:
    array = finite(argument, value)
    if array.ndim:
        raise InputError(argument, "takes one number", code="shape")
    return float(array)


def _resistance(group: Group, compute: Callable[[], float]) -> float | None:
    """The resistance, or None for a class that the code at hand does not know."""
    return None if group.property_class.shear_factor is None else compute()


def _tension_resistance(group: Group, prying: float, gamma_m2: float) -> float | None:
    return _resistance(
        group, lambda: bolts.tension_resistance_n(group.size, group.property_class, gamma_m2=gamma_m2) / prying
    )


def _in_plane(
    points: FloatArray, counted: NDArray[np.bool_], force: FloatArray, moment: float
) -> tuple[Verdict, FloatArray]:
    loads = np.zeros_like(points)
    count = int(counted.sum())
    if count == 0:
        return Verdict.NO_BOLT, loads
    centre = points[counted].mean(axis=0)
    arm = points[counted] - centre
    turn = moment - (centre[0] * force[1] - centre[1] * force[0])
    if count == 1:
        # A joint made with one bolt is a pin: it carries what passes through it, and only that.
        scale = abs(moment) + float(np.abs(centre) @ np.abs(force))
        if len(points) > 1 or abs(turn) > _SINGULAR * scale:
            return Verdict.TURNS, np.where(counted[:, None], np.inf, 0.0)
        loads[counted] = force
        return Verdict.CARRIES, loads
    polar = float((arm**2).sum())
    loads[counted] = force / count + turn / polar * np.column_stack([-arm[:, 1], arm[:, 0]])
    return Verdict.CARRIES, loads


def _out_of_plane(points: FloatArray, counted: NDArray[np.bool_], load: FloatArray) -> tuple[Verdict, FloatArray]:
    loads = np.zeros(len(points))
    if not counted.any():
        return Verdict.NO_BOLT, loads
    centre = points[counted].mean(axis=0)
    arm = points[counted] - centre
    second = arm.T @ arm
    spread = np.linalg.eigvalsh(second)
    if spread[0] <= _SINGULAR * spread[1]:
        return Verdict.ON_A_LINE, np.where(counted, np.inf, 0.0)
    axial, about_x, about_y = load
    turn = np.array([about_y - axial * centre[0], about_x - axial * centre[1]])
    loads[counted] = axial / counted.sum() + arm @ np.linalg.solve(second, turn)
    return Verdict.CARRIES, loads


def _assess(
    group: Group, distribute: Callable[[NDArray[np.bool_]], tuple[Verdict, FloatArray]], resistance: float | None
) -> GroupLoads:
    verdict, raw = distribute(group.carrying)
    everyone = np.ones(len(group.state), dtype=np.bool_)
    intact_verdict, intact = distribute(everyone)
    intact_worst = _worst(intact) if intact_verdict is Verdict.CARRIES else math.inf
    worst = _worst(raw) if verdict is Verdict.CARRIES else math.inf
    if verdict is Verdict.CARRIES and group.doubtful.any():
        worst = max(worst, _worst(distribute(group.carrying | group.doubtful)[1]))
    rise = _rise(worst, intact_worst)
    counted = group.carrying
    centre = group.positions_mm[counted].mean(axis=0) if counted.any() else None
    return GroupLoads(
        verdict=verdict,
        intact_verdict=intact_verdict,
        loads_n=np.linalg.norm(raw, axis=1) if raw.ndim == 2 else raw,
        components_n=raw if raw.ndim == 2 else None,
        worst_n=worst,
        intact_worst_n=intact_worst,
        rise=rise,
        life_share=0.0 if math.isinf(rise) else rise**-FATIGUE_SLOPE,
        utilisation=None if resistance is None else worst / resistance,
        centroid_mm=None if centre is None else (float(centre[0]), float(centre[1])),
    )


def _worst(loads: FloatArray) -> float:
    """Largest shear, or largest pull; a pull that is only rounding error of the pushes beside it is none."""
    if loads.ndim == 2:
        return float(np.linalg.norm(loads, axis=1).max())
    pull, scale = float(loads.max()), float(np.abs(loads).max())
    return pull if pull > _NOTHING * scale else 0.0


def _rise(worst: float, intact_worst: float) -> float:
    if math.isinf(worst) or math.isinf(intact_worst):
        return math.inf
    if intact_worst == 0:
        return 1.0 if worst == 0 else math.inf
    return max(1.0, worst / intact_worst)
