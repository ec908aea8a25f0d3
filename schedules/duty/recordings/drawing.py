"""Drawings of a recording: as it came above, as it was counted below, and how often each range comes.

Plain data in, a drawing and its words out. Stresses in MPa, places in samples.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, NamedTuple

from assets_app.register.pen import Drawing, Pen, Point
from engineering.figures import grouped

WIDE, NARROW = 1180.0, 380.0  # px; the narrow one is for a phone, where letters must stay readable
PANEL, GAP, TOP, BOTTOM, LEFT, RIGHT = 150.0, 40.0, 28.0, 46.0, 66.0, 12.0
BARS = 250.0  # px, height of the drawing of ranges
MARKED = 200  # spikes marked


class _Frame(NamedTuple):
    """A box on the sheet and the figures that its edges stand for."""

    left: float
    top: float
    right: float
    bottom: float
    x_most: float
    y_least: float
    y_most: float

    def x(self, value: float) -> float:
        return self.left + value / self.x_most * (self.right - self.left)

    def y(self, value: float) -> float:
        return self.bottom - (value - self.y_least) / (self.y_most - self.y_least) * (self.bottom - self.top)


def draw_screening(
    before: dict[str, Any], after: dict[str, Any], screening: dict[str, Any], samples: int, *, narrow: bool = False
) -> Drawing:
    """The outline of the recording before and after screening, each on its own scale, with the spikes ticked."""
    width = NARROW if narrow else WIDE
    pen = Pen(width, TOP + 2 * PANEL + GAP + BOTTOM)
    spikes = [place for place, _ in screening.get("listed", [])][:MARKED]
    upper = _panel(pen, before, samples, TOP, "as it came, MPa")
    for place in spikes:
        at = upper.x(place + 0.5)
        pen.line((at, upper.top - 5), (at, upper.top + 5), "late")
    lower = _panel(pen, after, samples, TOP + PANEL + GAP, "as it was counted, MPa")
    step = _nice(samples / (3 if narrow else 8))
    for k in range(int(samples / step) + 1):
        at = lower.x(k * step)
        pen.line((at, lower.bottom), (at, lower.bottom + 5), "thin")
        if at < lower.right - 20:
            pen.text((at, lower.bottom + 19), _thousands(k * step), anchor="middle", look="soft", size=12)
    pen.text((lower.right, lower.bottom + 36), "samples", anchor="end", look="soft", size=12)
    words = [
        f"As it came: {_span(before)}",
        f"As it was counted: {_span(after)}",
        *screening.get("words", []),
        *(f"Sample {grouped(place + 1)} stood off by {by:+.1f} MPa" for place, by in screening.get("listed", [])[:20]),
    ]
    title = "The recording before and after screening"
    return Drawing(pen.svg(title, words, "for-narrow" if narrow else "for-wide"), words)


def draw_ranges(histogram: Sequence[Sequence[float]], width_mpa: float, unit: str, *, narrow: bool = False) -> Drawing:
    """How often one count of duty brings each range: bars on a scale of powers of ten."""
    width = NARROW if narrow else WIDE
    largest = max(size for size, _ in histogram)
    low = math.floor(math.log10(min(count for _, count in histogram)) - 0.01)
    high = max(math.ceil(math.log10(max(count for _, count in histogram)) + 0.01), low + 1)
    step = _nice(largest / (4 if narrow else 10))
    frame = _Frame(LEFT, TOP, width - RIGHT, BARS - BOTTOM, math.ceil(largest / step) * step, low, high)
    pen = Pen(width, BARS)
    for power in range(low, high + 1, max(1, (high - low) // 5)):
        pen.line((frame.left, frame.y(power)), (frame.right, frame.y(power)), "faint")
        pen.text((frame.left - 8, frame.y(power) + 4), _power(power), anchor="end", look="soft", size=12)
    for size, count in histogram:
        left, right, top = frame.x(size - width_mpa), frame.x(size), frame.y(math.log10(count))
        pen.rect(left, top, max(right - left, 1.0), frame.bottom - top, "steel thin")
    for k in range(round(frame.x_most / step) + 1):
        at = frame.x(k * step)
        pen.line((at, frame.bottom), (at, frame.bottom + 5), "thin")
        anchor = "end" if at > frame.right - 12 else "middle"
        pen.text((at, frame.bottom + 19), f"{k * step:g}", anchor=anchor, look="soft", size=12)
    pen.line((frame.left, frame.bottom), (frame.right, frame.bottom), "thin")
    pen.text((frame.left, TOP - 12), f"times in one count ({unit})" if unit else "times in one count", size=12)
    pen.text((frame.right, BARS - 10), "range, MPa", anchor="end", look="soft", size=12)
    most = max(histogram, key=lambda pair: pair[1])
    words = [
        f"{len(histogram)} bins of {width_mpa:g} MPa are in use, up to {largest:g} MPa",
        f"Most often up to {most[0]:g} MPa: {most[1]:.3g} times in one count",
        *(f"{size:g} MPa: {count:.3g} times" for size, count in list(reversed(histogram))[:20]),
    ]
    return Drawing(pen.svg("How often each range comes", words, "for-narrow" if narrow else "for-wide"), words)


def _panel(pen: Pen, outline: dict[str, Any], samples: int, top: float, name: str) -> _Frame:
    low, high = _extremes(outline)
    step = _nice(max(high - low, 1e-6) / 3)
    least, most = math.floor(low / step) * step, math.ceil(high / step) * step
    most = most if most > least else least + step
    frame = _Frame(LEFT, top, pen.width - RIGHT, top + PANEL, max(samples, 1), least, most)
    for k in range(round((most - least) / step) + 1):
        value = least + k * step
        pen.line((frame.left, frame.y(value)), (frame.right, frame.y(value)), "faint")
        pen.text((frame.left - 8, frame.y(value) + 4), f"{value:g}", anchor="end", look="soft", size=12)
    pen.text((frame.left, top - 12), name, size=12)
    for run in _runs(outline):
        upper: list[Point] = [(frame.x(at), frame.y(most)) for at, _, most in run]
        lower: list[Point] = [(frame.x(at), frame.y(least)) for at, least, _ in run]
        pen.path([*upper, *reversed(lower)], "steel wide", closed=True)
    return frame


def _runs(outline: dict[str, Any]) -> Iterator[list[tuple[float, float, float]]]:
    """(sample, least, most) of neighbouring stretches; stretches all of whose samples are lost part the runs."""
    pairs = enumerate(zip(outline["low"], outline["high"], strict=True))
    for known, run in groupby(pairs, key=lambda each: each[1][0] is not None):
        if known:
            yield [((k + 0.5) * outline["per"], least, most) for k, (least, most) in run]


def _extremes(outline: dict[str, Any]) -> tuple[float, float]:
    low = min((value for value in outline["low"] if value is not None), default=0.0)
    high = max((value for value in outline["high"] if value is not None), default=0.0)
    return low, high


def _span(outline: dict[str, Any]) -> str:
    low, high = _extremes(outline)
    return f"from {low:.1f} to {high:.1f} MPa"


def _nice(rough: float) -> float:
    """The next 1, 2 or 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(rough))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= rough * (1 - 1e-9))


def _power(power: int) -> str:
    return f"{10.0**power:g}" if -3 <= power <= 5 else f"1e{power}"


def _thousands(value: float) -> str:
    return grouped(value, ".10g")
