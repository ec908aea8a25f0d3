"""P6: rainflow counting of one long recording, against the fastest public library in the same run.

Three libraries (rfcnt in C, fatpack, rainflow) and ours turn the same samples into a histogram of ranges of the same
width. Ours counts exact ranges fed in chunks, as recordings are; rfcnt and fatpack sort the samples into classes first.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from engineering.spectrum import Rainflow

SAMPLES = 1_000_000
CHUNK = 65_536
WIDTH_MPA = 1.0
ROUNDS = 7
GOAL = 1.0


def recording(samples: int = SAMPLES, seed: int = 11) -> np.ndarray:
    """Stresses of a ride, MPa: a slow swing, a fast one that comes and goes, and an amplifier's noise."""
    draw = np.random.default_rng(seed)
    at = np.arange(samples)
    fast = 30 * np.sin(at * 2 * np.pi / 37) * draw.random(samples // 1000 + 1).repeat(1000)[:samples]
    return 40 + 60 * np.sin(at * 2 * np.pi / 3000) + fast + draw.normal(0, 3, samples)


def ours(samples: np.ndarray) -> float:
    counter = Rainflow(bin_width_mpa=WIDTH_MPA)
    for start in range(0, len(samples), CHUNK):
        counter.feed(samples[start : start + CHUNK])
    return _damage(*counter.result())


def by_rfcnt(samples: np.ndarray) -> float:
    import rfcnt

    low, high = float(samples.min()), float(samples.max())
    found = rfcnt.rfc(
        samples,
        class_width=WIDTH_MPA,
        class_count=int((high - low) / WIDTH_MPA) + 3,
        class_offset=low - WIDTH_MPA,
        hysteresis=WIDTH_MPA,
        residual_method=rfcnt.ResidualMethod.HALFCYCLES,
        spread_damage=rfcnt.SDMethod.HALF_23,  # its fastest
    )
    return _damage(found["rp"][:, 0], found["rp"][:, 1])


def by_fatpack(samples: np.ndarray) -> float:
    import fatpack

    ranges = fatpack.find_rainflow_ranges(samples, k=int(np.ptp(samples) / WIDTH_MPA) + 1)
    return _damage(ranges, np.ones(len(ranges)))


def by_rainflow(samples: np.ndarray) -> float:
    import rainflow

    pairs = rainflow.count_cycles(samples, binsize=WIDTH_MPA)
    ranges, counts = np.array(pairs).T
    return _damage(ranges, counts)


LIBRARIES: dict[str, Callable[[np.ndarray], float]] = {
    "rfcnt": by_rfcnt,
    "fatpack": by_fatpack,
    "rainflow": by_rainflow,
}


def measure() -> dict[str, Any]:
    """The ratio as the median over rounds that time all four one after the other, since the machine may be busy."""
    samples = recording()
    each: dict[str, Callable[[np.ndarray], float]] = {"ours": ours, **LIBRARIES}
    damage = {name: count(samples[:100_000]) for name, count in each.items()}  # also warms them up
    seconds: dict[str, list[float]] = {name: [] for name in each}
    for _ in range(ROUNDS):
        for name, count in each.items():
            began = time.perf_counter()
            count(samples)
            seconds[name].append(time.perf_counter() - began)
    middle = {name: float(np.median(taken)) for name, taken in seconds.items()}
    fastest = min(LIBRARIES, key=middle.__getitem__)
    ratio = np.median(np.array(seconds[fastest]) / np.array(seconds["ours"]))
    return {
        "key": "P6",
        "what": f"rainflow counting of {SAMPLES:,} samples, against the fastest library ({fastest})",
        "ratio": round(float(ratio), 2),
        "goal": GOAL,
        "sizes": {
            "samples": SAMPLES,
            "chunk": CHUNK,
            "bin_mpa": WIDTH_MPA,
            **{f"{name}_s": round(taken, 3) for name, taken in middle.items()},
            **{f"damage_over_ours_{name}": round(damage[name] / damage["ours"], 3) for name in LIBRARIES},
        },
    }


def _damage(ranges: np.ndarray, counts: np.ndarray) -> float:
    """sum n S^3: shows that all counted the same thing."""
    return float(np.sum(counts * np.asarray(ranges, dtype=float) ** 3))


if __name__ == "__main__":
    print(json.dumps(measure()))
