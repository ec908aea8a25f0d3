"""What a second worker gains, beside what the machine gains from its second core when nothing at all is shared.

On a machine that shares its cores with others the second core gives 1.2 times in one minute and 2 times in the next
(two processes that only count were seen at both), and no service gains more than that. So one worker, two workers and
the two that share nothing take turns, and both gains are kept.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from statistics import median

TURNS = 5
# Half of it the interpreter's, half of it arrays too large for a core's cache: as a recompute is.
NOTHING_SHARED = """
import numpy as np
total = 0
for number in range(20_000_000):
    total += number * number % 7
values = np.random.default_rng(1).random(2_000_000)
for _ in range(12):
    np.sort(values), values * 1.1 + values
"""


@dataclass
class Gains:
    """One list entry a turn; seconds but for the memory, MiB."""

    one: list[float] = field(default_factory=list)
    two: list[float] = field(default_factory=list)
    of_the_machine: list[float] = field(default_factory=list)
    peak_memory: int = 0

    def of_workers(self) -> list[float]:
        return [one / two for one, two in zip(self.one, self.two, strict=True)]

    def share_of_the_machine(self) -> float:
        """How much of what the machine had to give a second worker took, in the middle one of the turns."""
        pairs = zip(self.of_workers(), self.of_the_machine, strict=True)
        return median(ours / machine for ours, machine in pairs)


def in_turn(lay_out: Callable[[], None]) -> Gains:
    """Measure one worker and two, each on a sweep that ``lay_out`` has just laid out."""
    gains = Gains()
    for _ in range(TURNS):
        gains.of_the_machine.append(2 * _seconds(1, ["-c", NOTHING_SHARED])[0] / _seconds(2, ["-c", NOTHING_SHARED])[0])
        for workers, times in ((1, gains.one), (2, gains.two)):
            lay_out()
            seconds, held = _seconds(workers, ["-m", "bench.due_worker"])
            times.append(seconds)
            gains.peak_memory = max(gains.peak_memory, *(int(each) for each in held))
    return gains


def _seconds(count: int, arguments: list[str]) -> tuple[float, list[str]]:
    """Seconds until the last of ``count`` processes ended, and what each of them printed."""
    begun = time.perf_counter()
    running = [subprocess.Popen([sys.executable, *arguments], stdout=subprocess.PIPE, text=True) for _ in range(count)]
    said = [each.communicate()[0] for each in running]
    seconds = time.perf_counter() - begun
    assert all(each.returncode == 0 for each in running)
    return seconds, said
