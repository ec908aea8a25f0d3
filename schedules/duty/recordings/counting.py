"""From streamed samples to a spectrum: screened in pieces, counted by rainflow, outlined for the plot.

Pieces overlap, and one limit for spikes holds for all of them (the largest that any piece works out: the fewest samples
are touched), so that where a piece ends leaves no trace. Only the slow drift needs the whole recording at once.
Stresses in MPa. No database, no clock.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import chain
from typing import Any, NamedTuple

import numpy as np

from assets_app.refusals import Unprocessable
from engineering.errors import FloatArray, InputError
from engineering.figures import grouped
from engineering.screening import Screening, screen
from engineering.spectrum import Histogram, Rainflow, histogram, strain_to_stress

PIECE = 1_000_000  # samples screened at a time
MARGIN = 10_000  # samples that neighbouring pieces share, so that spikes and gaps at their ends are seen whole
MOST_STRESS_MPA = 2_500.0  # after screening; no steel that is welded or bolted carries more
MOST_BINS = 1_000
OUTLINE = 600  # stretches of the plot, at most
LISTED = 200  # spikes listed with their places
STRETCHES = 20  # medians that follow the slow baseline, a piece


class Piece(NamedTuple):
    """Samples ``first``, ``first`` + 1, ...; those from ``lead``, ``keep`` of them, are this piece's own."""

    first: int
    lead: int
    keep: int
    samples: FloatArray

    def own(self, values: FloatArray) -> FloatArray:
        return values[self.lead : self.lead + self.keep]


class Outline:
    """Least and greatest value by stretch, of a stream whose length is not known: stretches double as it grows."""

    def __init__(self, most: int = OUTLINE) -> None:
        self.most, self.per = most, 1
        self._low: FloatArray = np.empty(0)
        self._high: FloatArray = np.empty(0)
        self._rest: FloatArray = np.empty(0)

    def feed(self, values: FloatArray) -> None:
        values = np.where(np.isfinite(values), values, np.nan)
        while len(values):
            room = (2 * self.most - len(self._low)) * self.per - len(self._rest)
            self._take(values[:room])
            values = values[room:]
            if len(self._low) >= 2 * self.most:
                self._low, self._high = (
                    np.fmin.reduceat(self._low, range(0, 2 * self.most, 2)),
                    np.fmax.reduceat(self._high, range(0, 2 * self.most, 2)),
                )
                self.per *= 2

    def _take(self, values: FloatArray) -> None:
        values = np.concatenate((self._rest, values))
        whole = len(values) // self.per
        rows = values[: whole * self.per].reshape(whole, self.per)
        self._low = np.concatenate((self._low, np.fmin.reduce(rows, axis=1)))
        self._high = np.concatenate((self._high, np.fmax.reduce(rows, axis=1)))
        self._rest = values[whole * self.per :]

    def result(self) -> dict[str, Any]:
        """``per`` samples a stretch, ``low`` and ``high`` of each; None where all its samples are lost."""
        low, high = self._low, self._high
        if len(self._rest):
            low = np.append(low, np.fmin.reduce(self._rest))
            high = np.append(high, np.fmax.reduce(self._rest))
        return {"per": self.per, "low": _plain(low), "high": _plain(high)}


def _plain(values: FloatArray) -> list[float | None]:
    return [None if np.isnan(value) else round(float(value), 3) for value in values]


@dataclass(frozen=True)
class Wanted:
    """How a recording is to be taken; the words are those of the table of recordings."""

    unit: str
    operating_cycles: float
    youngs_modulus_mpa: float = 210_000.0
    cleaning: str = "spikes"
    spike_limit_mpa: float | None = None
    bin_width_mpa: float = 1.0
    residue: str = "closed"


@dataclass
class Seen:
    """What screening found and did, over all pieces. Places count from 0."""

    limit_mpa: float = 0.0
    pieces: int = 0
    gaps: int = 0
    spikes: int = 0
    largest_mpa: float = 0.0
    listed: list[list[float]] = field(default_factory=list)
    drift_mpa: float = 0.0
    medians: list[float] = field(default_factory=list)

    def add(self, piece: Piece, screened: Screening) -> None:
        """Take up what lies in the piece's own part."""
        last = piece.lead + piece.keep
        self.pieces += 1
        self.limit_mpa = max(self.limit_mpa, screened.spike_limit_mpa)
        self.gaps += int(np.count_nonzero((screened.gaps >= piece.lead) & (screened.gaps < last)))
        mine = (screened.spikes >= piece.lead) & (screened.spikes < last)
        amounts = screened.spike_amounts[mine]
        self.spikes += len(amounts)
        self.largest_mpa = max(self.largest_mpa, float(np.max(np.abs(amounts), initial=0.0)))
        places = screened.spikes[mine] + piece.first
        room = LISTED - len(self.listed)
        self.listed += [[int(at), round(float(by), 2)] for at, by in zip(places[:room], amounts[:room], strict=True)]
        parts = np.array_split(piece.own(screened.series), min(STRETCHES, piece.keep))
        self.medians += [float(np.median(part)) for part in parts]
        self.drift_mpa = max(self.medians) - min(self.medians) if self.pieces > 1 else screened.drift_mpa


class Outcome(NamedTuple):
    """What counting hands back. The histogram counts by one operating cycle."""

    samples: int
    histogram: Histogram
    seen: Seen | None
    highest_mpa: float
    lowest_mpa: float
    before: dict[str, Any]
    after: dict[str, Any]


def work(chunks: Callable[[], Iterator[FloatArray]], wanted: Wanted, progress: Callable[[int], None]) -> Outcome:
    """Screen and count. ``chunks`` begins the stream anew (twice, where it is longer than a piece).

    ``progress`` hears how many samples are done. Refusals (``Unprocessable``): ``recording_too_short``,
    ``too_long_for_drift``, ``sample_lost``, ``too_many_lost``, ``stress_impossible``, ``never_changes``,
    ``bins_too_narrow``, or the code of the engineering floor.
    """
    factor = 1.0
    if wanted.unit == "microstrain":
        factor = float(strain_to_stress(1.0, wanted.youngs_modulus_mpa))
    try:
        return _Run(lambda: (factor * values for values in chunks()), wanted, progress).work()
    except InputError as error:
        code = "too_many_lost" if error.argument == "series" and error.code == "not_a_number" else error.code
        raise Unprocessable(code, f"{error.reason[:1].upper()}{error.reason[1:]}.", field=error.argument) from error


def pieces(chunks: Iterable[FloatArray], size: int = PIECE, margin: int = MARGIN) -> Iterator[Piece]:
    """The stream cut into pieces of ``size`` samples, each with ``margin`` of its neighbours' on either side."""
    held, first, lead = np.empty(0), 0, 0
    for chunk in chunks:
        held = np.concatenate((held, chunk))
        while len(held) >= lead + size + margin:
            yield Piece(first, lead, size, held[: lead + size + margin])
            drop = lead + size - min(margin, lead + size)
            first, held, lead = first + drop, held[drop:], lead + size - drop
    if len(held) > lead:
        yield Piece(first, lead, len(held) - lead, held)


class _Run:
    """One recording at work."""

    def __init__(
        self, stream: Callable[[], Iterator[FloatArray]], wanted: Wanted, progress: Callable[[int], None]
    ) -> None:
        self.stream, self.wanted, self.progress = stream, wanted, progress
        self.seen = None if wanted.cleaning == "nothing" else Seen()
        self.rainflow = Rainflow(bin_width_mpa=wanted.bin_width_mpa, residue=wanted.residue)
        self.before, self.after = Outline(), Outline()
        self.low, self.high = np.inf, -np.inf

    def work(self) -> Outcome:
        found = pieces(self.stream())
        begun = [piece for piece in (next(found, None), next(found, None)) if piece is not None]
        long = len(begun) > 1
        if long and self.wanted.cleaning == "drift":
            raise Unprocessable(
                "too_long_for_drift",
                f"The slow drift can be taken off at most {grouped(PIECE + MARGIN)} samples at once. Split the "
                "recording, or leave the drift in.",
                field="cleaning",
            )
        limit = self.wanted.spike_limit_mpa
        if long and self.seen is not None and limit is None:
            limit = self._one_limit(chain(begun, found))
            begun, found = [], pieces(self.stream())
        done = 0
        for piece in chain(begun, found):
            self._take(piece, limit)
            done += piece.keep
            self.progress(done)
        return self._outcome(done)

    def _one_limit(self, found: Iterable[Piece]) -> float:
        """The largest limit for spikes that any piece works out."""
        return max(screen(piece.samples, remove_spikes=False).spike_limit_mpa for piece in found)

    def _take(self, piece: Piece, limit: float | None) -> None:
        raw = piece.own(piece.samples)
        self.before.feed(raw)
        if self.seen is None:
            lost = np.flatnonzero(~np.isfinite(raw))
            if len(lost):
                raise Unprocessable(
                    "sample_lost",
                    f"Sample {grouped(piece.first + piece.lead + lost[0] + 1)} holds no number: turning points need "
                    "all.",
                    field="cleaning",
                )
            cleaned = raw
        else:
            screened = screen(
                piece.samples,
                remove_spikes=self.wanted.cleaning != "gaps",
                remove_drift=self.wanted.cleaning == "drift",
                spike_limit_mpa=limit,
            )
            self.seen.add(piece, screened)
            cleaned = piece.own(screened.series)
        self.low, self.high = min(self.low, float(cleaned.min())), max(self.high, float(cleaned.max()))
        if max(self.high, -self.low) > MOST_STRESS_MPA:
            raise Unprocessable(
                "stress_impossible",
                f"The stress reaches {grouped(max(self.high, -self.low))} MPa; no structural steel carries that. Is "
                "the unit right?",
                field="unit",
            )
        self.after.feed(cleaned)
        self.rainflow.feed(cleaned)

    def _outcome(self, samples: int) -> Outcome:
        if samples < 3:
            raise Unprocessable("recording_too_short", "There are fewer than 3 samples.", field="file")
        ranges, counts = self.rainflow.result()
        if not len(ranges):
            raise Unprocessable("never_changes", "The column never changes: is it the right one?", field="column")
        if len(ranges) > MOST_BINS:
            raise Unprocessable(
                "bins_too_narrow",
                f"{grouped(len(ranges))} bins are in use, at most {grouped(MOST_BINS)} are kept. Take wider ones.",
                field="bin_width_mpa",
            )
        by_cycle = histogram(ranges, counts, self.wanted.bin_width_mpa, self.wanted.operating_cycles)
        return Outcome(samples, by_cycle, self.seen, self.high, self.low, self.before.result(), self.after.result())
