"""What was done to a recording, and what it comes to, in sentences. Plain data in."""

from __future__ import annotations

from typing import Any

import numpy as np

from engineering.damage import equivalent_range
from engineering.figures import grouped
from engineering.spectrum import blocks
from schedules.duty.recordings.counting import LISTED, Outcome, Seen, Wanted

BLOCKS = 16  # ranges that a joint's spectrum gets; each joint's rating pays for every one
SLOPE = 3.0


def told(outcome: Outcome, wanted: Wanted) -> dict[str, Any]:
    """What the table of recordings keeps of the screening: figures, places and words."""
    seen = outcome.seen
    facts: dict[str, Any] = {"highest_mpa": round(outcome.highest_mpa, 3), "lowest_mpa": round(outcome.lowest_mpa, 3)}
    if seen is None:
        return {**facts, "words": ["Nothing was screened: the file is said to hold turning points only."]}
    facts |= {
        "gaps": seen.gaps,
        "spikes": seen.spikes,
        "spikes_removed": wanted.cleaning != "gaps",
        "spike_limit_mpa": round(seen.limit_mpa, 3),
        "largest_spike_mpa": round(seen.largest_mpa, 3),
        "listed": seen.listed,
        "drift_mpa": round(seen.drift_mpa, 3),
        "drift_removed": wanted.cleaning == "drift",
        "pieces": seen.pieces,
    }
    return {**facts, "words": _words(seen, wanted)}


def _words(seen: Seen, wanted: Wanted) -> list[str]:
    lost = f"{grouped(seen.gaps)} lost {'sample' if seen.gaps == 1 else 'samples'} bridged by straight lines."
    words = [lost if seen.gaps else "No sample was lost."]
    whose = "the limit given" if wanted.spike_limit_mpa else "worked out from the recording"
    limit = f"{seen.limit_mpa:.1f} MPa ({whose})"
    if seen.spikes:
        deed = "left as they are" if wanted.cleaning == "gaps" else "replaced by straight lines"
        many = f"{grouped(seen.spikes)} {'sample' if seen.spikes == 1 else 'samples'}"
        words.append(f"{many} stood off by more than {limit}; most: {seen.largest_mpa:.1f} MPa; {deed}.")
        if seen.spikes > LISTED:
            words.append(f"The first {LISTED} are listed.")
    else:
        words.append(f"No sample stood off by more than {limit}.")
    deed = "taken off" if wanted.cleaning == "drift" else "left in, since a real slow cycle would look the same"
    words.append(f"The baseline wandered by {seen.drift_mpa:.1f} MPa: {deed}.")
    if seen.pieces > 1:
        words.append(f"Screened in {seen.pieces} overlapping pieces under one limit; counted as one.")
    return words


def spectrum_of(histogram: list[list[float]], scale: float = 1.0) -> list[list[float]]:
    """The histogram as few ranges (MPa, times ``scale``) and counts that do at least the same damage, largest first."""
    ranges, counts = np.array(histogram, dtype=float).T
    few = blocks(ranges * scale, counts, size=BLOCKS, m=SLOPE)
    pairs = [[float(size), float(count)] for size, count in zip(*few, strict=True) if size > 0 and count > 0]
    return sorted(pairs, reverse=True)


def summary(histogram: list[list[float]]) -> list[str]:
    """What one operating cycle comes to."""
    ranges, counts = np.array(histogram, dtype=float).T
    total = float(counts.sum())
    same = float(equivalent_range(ranges, counts, SLOPE)) * total ** (1 / SLOPE)
    few = np.array(spectrum_of(histogram)).T
    over = float(np.sum(few[1] * few[0] ** SLOPE) / np.sum(counts * ranges**SLOPE))
    return [
        f"One operating cycle holds {grouped(total, '.3g')} stress cycles; the largest range is "
        f"{ranges.max():.3g} MPa.",
        f"On a line of slope 3 they do as much as one range of {same:.3g} MPa.",
        f"A joint is given {few.shape[1]} ranges in their place, each under the largest it stands for: "
        f"{100 * (over - 1):.1f} % more damage on slope 3, never less.",
    ]
