"""Back-test of ``engineering.growth_fit`` on 21 measured cracks: the first half of each predicts its second half.

Run from the project's root: ``python -m bench.growth_fit_backtest``. Prints the figures of docs/method/growth-fit.md.
Nothing is fitted to the second halves; the priors are the shipped defaults.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from statistics import mean, median, stdev

from engineering import growth_fit

DATA = Path(__file__).parent.parent / "tests" / "data" / "crack-growth-21-specimens.csv"


@dataclass(frozen=True)
class Outcome:
    """How the readings of one specimen's second half fell against the bands of its first half."""

    specimen: str
    used: int
    sizes_inside: int
    sizes_above: int
    sizes_ahead: int
    size_errors: tuple[float, ...]
    reached: float
    early: float
    middle: float
    late: float
    last_used: float

    @property
    def cycles_error(self) -> float:
        """Middle over true cycles from the last reading used to the specimen's last size, less 1."""
        return (self.middle - self.last_used) / (self.reached - self.last_used) - 1

    @property
    def width(self) -> float:
        """Width of the band over the true cycles ahead."""
        return (self.late - self.early) / (self.reached - self.last_used)


def specimens() -> dict[str, list[tuple[float, float]]]:
    """Readings (million cycles, inches) of each specimen."""
    readings: dict[str, list[tuple[float, float]]] = {}
    with DATA.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            readings.setdefault(row["specimen"], []).append((float(row["megacycles"]), float(row["crack_length_in"])))
    return readings


def predict_second_half(name: str, readings: list[tuple[float, float]], prior: growth_fit.Prior | None) -> Outcome:
    """Fit the first half (rounded up) of ``readings`` and hold the rest against it."""
    used = math.ceil(len(readings) / 2)
    past, ahead = readings[:used], readings[used:]
    fit = growth_fit.fit([n for n, _ in past], [a for _, a in past], prior=prior)
    bands = [(fit.size_at(n, reading=True), a) for n, a in ahead]
    reached, last_size = ahead[-1]
    early, middle, late = fit.cycles_to(last_size)
    return Outcome(
        specimen=name,
        used=used,
        sizes_inside=sum(low <= a <= high for (low, _, high), a in bands),
        sizes_above=sum(a > high for (_, _, high), a in bands),
        sizes_ahead=len(ahead),
        size_errors=tuple(mid / a - 1 for (_, mid, _), a in bands),
        reached=reached,
        early=early,
        middle=middle,
        late=late,
        last_used=past[-1][0],
    )


def back_test(prior: growth_fit.Prior | None = None) -> list[Outcome]:
    """All 21 specimens."""
    return [predict_second_half(name, readings, prior) for name, readings in specimens().items()]


def back_test_with_sisters(chosen: Collection[str] | None = None) -> list[Outcome]:
    """Each specimen again, with the exponent learnt from the whole histories of the others (leave one out).

    ``chosen`` names specimens; the exponent is then learnt from the others among them only.
    """
    histories = {name: each for name, each in specimens().items() if chosen is None or name in chosen}
    exponents = {
        name: growth_fit.fit([n for n, _ in readings], [a for _, a in readings]).exponent[1]
        for name, readings in histories.items()
    }
    outcomes = []
    for name, readings in histories.items():
        others = [p for other, p in exponents.items() if other != name]
        prior = growth_fit.Prior(m_mean=2 * mean(others), m_sd=2 * stdev(others), shape_mean=0, shape_sd=0)
        outcomes.append(predict_second_half(name, readings, prior))
    return outcomes


def main() -> None:
    print("Shipped prior")
    report(back_test())
    print("\nExponent from the other twenty specimens")
    report(back_test_with_sisters())


def report(outcomes: list[Outcome]) -> None:
    """Print one line a specimen and the sums."""
    print("specimen  used  ahead  inside  true kcycles ahead   early  middle  late   error")
    for o in outcomes:
        ahead = [1000 * (x - o.last_used) for x in (o.reached, o.early, o.middle, o.late)]
        print(
            f"{o.specimen:>8} {o.used:5d} {o.sizes_ahead:6d} {o.sizes_inside:7d} {ahead[0]:19.1f}"
            f" {ahead[1]:7.1f} {ahead[2]:7.1f} {ahead[3]:6.1f} {o.cycles_error:+7.1%}"
        )
    sizes = sum(o.sizes_ahead for o in outcomes)
    errors = [e for o in outcomes for e in o.size_errors if math.isfinite(e)]
    inside = sum(o.early <= o.reached <= o.late for o in outcomes)
    print(f"sizes in the 80 % band: {sum(o.sizes_inside for o in outcomes)} of {sizes}", end="")
    print(f"; above it: {sum(o.sizes_above for o in outcomes)}")
    print(f"size error: median {median(errors):+.1%}, median of magnitudes {median(map(abs, errors)):.1%}")
    print(f"cycles to the last size in the 80 % band: {inside} of {len(outcomes)}", end="")
    print(f"; sooner than early: {sum(o.reached < o.early for o in outcomes)}", end="")
    print(f"; after late: {sum(o.reached > o.late for o in outcomes)}")
    cycle_errors = [o.cycles_error for o in outcomes]
    print(f"cycles error: median {median(cycle_errors):+.1%}, ", end="")
    print(f"median of magnitudes {median(map(abs, cycle_errors)):.1%}, worst {max(map(abs, cycle_errors)):.1%}")
    print(f"width of the band over the cycles ahead: median {median(o.width for o in outcomes):.0%}")


if __name__ == "__main__":
    main()
