"""Ratings of many joints at once against one joint after the other: what a changed policy or table costs first."""

from __future__ import annotations

import random
import time
from dataclasses import replace
from typing import Any

from schedules.due.fact_rules import Facts
from schedules.due.rating_rules import rate
from schedules.due.ratings import BATCH

JOINTS = 20_000
ONE_BY_ONE = 100


def fleet(count: int) -> list[Facts]:
    """Welds of one kind with walls as they are rolled, and a spectrum of their own each."""
    dice = random.Random(7)
    weld = Facts(
        programme_id=0, joint_id=0, kind="weld", method="MT", conditions="good", access="easy", single_path=True,
        consequence="high", category_mpa=71.0, attachment_mm=30.0, steel_grade="S355J2", spectrum_status="calculated",
    )  # fmt: skip
    walls = (6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0)
    return [
        replace(
            weld,
            programme_id=number,
            joint_id=number,
            wall_mm=dice.choice(walls),
            peak_mpa=dice.uniform(60, 160),
            bins=[[dice.uniform(30, 120), 1.0], [dice.uniform(10, 60), 4.0]],
        )
        for number in range(count)
    ]


def measure() -> dict[str, Any]:
    joints = fleet(JOINTS)
    rate(joints[:ONE_BY_ONE])  # tables read, caches warm
    began = time.perf_counter()
    for start in range(0, JOINTS, BATCH):
        rate(joints[start : start + BATCH])
    at_once = time.perf_counter() - began
    began = time.perf_counter()
    for joint in joints[:ONE_BY_ONE]:
        rate([joint])
    one_by_one = (time.perf_counter() - began) * JOINTS / ONE_BY_ONE
    return {
        "key": "P1c",
        "what": "ratings (damage and growth window) of many joints at once against one after the other (scaled)",
        "ratio": round(one_by_one / at_once, 1),
        "goal": 20,
        "sizes": {
            "joints": JOINTS,
            "at_once_s": round(at_once, 3),
            "one_by_one_s": round(one_by_one, 1),
            "one_by_one_of": ONE_BY_ONE,
        },
    }
