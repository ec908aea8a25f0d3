"""P5: cycles between two depths for many joints at once, against one scipy call for each joint.

The reference solves the same differential equation, d(cycles)/d(ln depth), in plain floats written apart from the
engineering floor, on a sample, scaled up. The ratio is taken at a relative tolerance of 1e-6, as an engineer would let
it run; at the tight one of the tests it is larger, and given beside.
"""

from __future__ import annotations

import json
import math
import time
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from engineering import crack_growth

JOINTS = 100_000
SAMPLE = 50
ROUNDS = 7
GOAL = 500.0


@dataclass(frozen=True)
class Joint:
    """One joint in plain floats (mm, MPa)."""

    start: float
    end: float
    stress: float
    wall: float
    attachment: float
    aspect: float = 0.2
    share: float = 0.0
    half_width: float = math.inf


def toe(z: float, ratio: float, bending: bool) -> float:
    """Weld-toe magnification, written out from BS 7910 Annex M."""
    if bending:
        near = ratio <= 1.0
        if z <= (0.03 * ratio**0.55 if near else 0.03):
            mk = (0.45 * ratio**0.21 if near else 0.45) * z**-0.31
        else:
            mk = 0.68 * z ** (-0.19 * ratio**0.21 if near else -0.19)
    else:
        near = ratio <= 2.0
        if z <= (0.05 * ratio**0.55 if near else 0.073):
            mk = (0.51 * ratio**0.27 if near else 0.615) * z**-0.31
        else:
            mk = 0.83 * z ** (-0.15 * ratio**0.46 if near else -0.2)
    return max(1.0, mk)


def k_range(depth: float, j: Joint) -> float:
    """Range of K at the deepest point, written out from Newman and Raju 1981, N/mm^1.5."""
    x, r, ratio = depth / j.wall, j.aspect, j.attachment / j.wall
    f = 1.13 - 0.09 * r + (0.89 / (0.2 + r) - 0.54) * x * x
    f += (0.5 - 1.0 / (0.65 + r) + 14.0 * (1.0 - r) ** 24) * x**4
    f /= math.sqrt(math.cos(math.pi * depth / r / (2.0 * j.half_width) * math.sqrt(x)))
    h = 1.0 - (1.22 + 0.12 * r) * x + (0.55 - 1.05 * r**0.75 + 0.47 * r**1.5) * x * x
    stress = (1.0 - j.share) * toe(x, ratio, False)
    if j.share:
        stress += j.share * toe(x, ratio, True) * h
    return j.stress * stress * f * math.sqrt(math.pi * depth / (1.0 + 1.464 * r**1.65))


def reference_cycles(j: Joint, law: crack_growth.GrowthLaw, *, rtol: float = 1e-6, method: str = "RK45") -> float:
    """Cycles from ``j.start`` to ``j.end`` by ``scipy.integrate.solve_ivp``."""
    transitions = law.transitions

    def slope(u: float, _: object) -> float:
        depth = math.exp(u)
        k = k_range(depth, j)
        a, m = law.stages[sum(k > each for each in transitions)]
        return depth / (a * k**m)

    first = slope(math.log(j.start), None)
    solved = solve_ivp(
        slope, (math.log(j.start), math.log(j.end)), [0.0], method=method, rtol=rtol, atol=rtol * 1e-3 * first
    )
    return float(solved.y[0, -1])


def joints(count: int, seed: int = 7) -> dict[str, np.ndarray]:
    """Random joints over the ranges met in welded steelwork."""
    draw = np.random.default_rng(seed)
    wall = draw.uniform(4.0, 40.0, count)
    start = wall * draw.uniform(0.02, 0.3, count)
    return {
        "start": start,
        "end": start + draw.uniform(0.05, 1.0, count) * (0.8 * wall - start),
        "stress": draw.uniform(15.0, 200.0, count),
        "wall": wall,
        "attachment": wall * draw.uniform(0.3, 4.0, count),
        "aspect": draw.uniform(0.2, 0.5, count),
        "share": np.where(draw.random(count) < 0.5, 0.0, draw.uniform(0.0, 0.8, count)),
    }


def vectorised(all_joints: dict[str, np.ndarray], law: crack_growth.GrowthLaw) -> np.ndarray:
    """The same cycles from the engineering floor, all joints in one call."""
    return crack_growth.cycles_between(
        all_joints["start"],
        all_joints["end"],
        range_mpa=all_joints["stress"],
        law=law,
        wall_mm=all_joints["wall"],
        attachment_mm=all_joints["attachment"],
        aspect=all_joints["aspect"],
        bending_share=all_joints["share"],
    )


def one_by_one(sample: list[Joint], law: crack_growth.GrowthLaw, *, rtol: float) -> tuple[float, np.ndarray]:
    """Seconds that scipy would take over all joints, scaled from ``sample``, and the cycles of the sample."""
    began = time.perf_counter()
    cycles = np.array([reference_cycles(each, law, rtol=rtol) for each in sample])
    return (time.perf_counter() - began) / len(sample) * JOINTS, cycles


def measure() -> dict[str, object]:
    """The ratio as the median over rounds that time both sides one after the other, since the machine may be busy."""
    law, many = crack_growth.law(), joints(JOINTS)
    vectorised(many, law)
    rounds = []
    for turn in range(ROUNDS):
        began = time.perf_counter()
        cycles = vectorised(many, law)
        ours = time.perf_counter() - began
        places = range(turn * SAMPLE, (turn + 1) * SAMPLE)
        sample = [Joint(**{name: float(values[i]) for name, values in many.items()}) for i in places]
        loose, _ = one_by_one(sample, law, rtol=1e-6)
        tight, theirs = one_by_one(sample, law, rtol=1e-10)
        rounds.append((loose / ours, tight / ours, ours, loose, np.max(np.abs(cycles[places] / theirs - 1.0))))
    ratio, tight_ratio, ours, loose, _ = np.median(rounds, axis=0)
    worst = max(each[-1] for each in rounds)
    return {
        "key": "P5",
        "what": "cycles between two crack depths, all joints in one call, against one scipy solve_ivp call a joint",
        "ratio": round(float(ratio), 1),
        "goal": GOAL,
        "sizes": {
            "joints": JOINTS,
            "sample": SAMPLE * ROUNDS,
            "ours_s": round(float(ours), 3),
            "scipy_rtol_1e-6_s_scaled": round(float(loose), 1),
            "ratio_at_rtol_1e-10": round(float(tight_ratio), 1),
            "worst_difference": float(f"{worst:.2g}"),
        },
    }


if __name__ == "__main__":
    print(json.dumps(measure()))
