"""How often the 80 % band of ``engineering.growth_fit`` holds the truth, over simulated cracks with other geometry.

Run from the project's root: ``python -m bench.growth_fit_simulation [cracks] [seed]``. The priors of the fit were
chosen on this family, before the measured cracks of the back-test were looked at: see docs/method/growth-fit.md.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from engineering import growth_fit

Factor = Callable[[np.ndarray], np.ndarray]
GEOMETRIES: dict[str, Factor] = {
    "constant": np.ones_like,
    "edge": lambda x: 1.12 - 0.231 * x + 10.55 * x**2 - 21.72 * x**3 + 30.39 * x**4,
    "centre": lambda x: 1 / np.sqrt(np.cos(np.pi * x / 2)),
    "weld toe": lambda x: np.maximum(1.0, 1.3 * x**-0.2),
}


@dataclass(frozen=True)
class Crack:
    """A true history (size over start size against scaled count), the readings of it, and what is asked."""

    geometry: str
    sizes: np.ndarray
    counts: np.ndarray
    read_at: np.ndarray
    readings: np.ndarray
    target: float


def simulate(rng: np.random.Generator) -> Crack:
    """m from 2 to 4, one of four geometry factors up to 0.6 of the width, a wandering rate, 3 to 10 readings."""
    name = str(rng.choice(list(GEOMETRIES)))
    m, width = rng.uniform(2, 4), rng.uniform(3, 12)
    sizes = np.geomspace(1, min(0.6 * width, 8), 600)
    rate = (GEOMETRIES[name](sizes / width) * np.sqrt(sizes)) ** m
    slowness = rate[0] / (rate * np.exp(rng.uniform(0, 0.15) * _wander(np.log(sizes), rng)))
    counts = np.concatenate([[0], np.cumsum(np.diff(sizes) * (slowness[1:] + slowness[:-1]) / 2)])
    end = rng.uniform(1.15, max(1.2, min(3, 0.6 * sizes[-1])))
    last = float(np.interp(end, sizes, counts))
    read_at = np.sort(np.append(rng.uniform(0, last, rng.integers(1, 9)), [0, last]))
    scatter = np.exp(rng.uniform(np.log(0.005), np.log(0.08))) * np.sqrt(end)
    readings = np.interp(read_at, counts, sizes) + scatter * rng.standard_normal(len(read_at))
    target = min(0.99 * sizes[-1], end * rng.uniform(1.2, 2.5))
    return Crack(name, sizes, counts, read_at, np.maximum(readings, 0.05), target)


def _wander(log_size: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A stationary process of variance 1, correlated over 20 % of growth."""
    value = rng.standard_normal(len(log_size))
    for i, keep in enumerate(np.exp(-np.diff(log_size) / 0.2)):
        value[i + 1] = keep * value[i] + np.sqrt(1 - keep**2) * value[i + 1]
    return value


def hold_against_truth(crack: Crack) -> tuple[float, float, float, float]:
    """Early, middle and late count to the target by the fit, and the true one."""
    early, middle, late = growth_fit.fit(crack.read_at, crack.readings).cycles_to(crack.target)
    return early, middle, late, float(np.interp(crack.target, crack.sizes, crack.counts))


def report(name: str, rows: Iterable[tuple[float, float, float, float]]) -> None:
    """One line: how many, inside the band, true sooner than early, true after late."""
    early, _, late, truth = np.array(list(rows)).T
    print(
        f"{name:12s} {len(truth):4d} inside {np.mean((early <= truth) & (truth <= late)):.0%}"
        f" sooner {np.mean(truth < early):.0%} later {np.mean(truth > late):.0%}"
    )


def main(cracks: int = 160, seed: int = 1) -> None:
    rng = np.random.default_rng(seed)
    drawn = [simulate(rng) for _ in range(cracks)]
    rows = [hold_against_truth(crack) for crack in drawn]
    report("all", rows)
    for name in GEOMETRIES:
        report(name, [row for crack, row in zip(drawn, rows, strict=True) if crack.geometry == name])
    report("8 or more", [row for crack, row in zip(drawn, rows, strict=True) if len(crack.read_at) >= 8])


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
