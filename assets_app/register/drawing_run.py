"""The run of a weld laid flat: round a tube by clock position, along a plate by distance, with its findings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from assets_app.register.drawing import BOLD_PX, SeenFinding, clock, finding_words, numbers
from assets_app.register.pen import SEVERITY_MARKS, Drawing, Pen, mm

WIDTH, LEFT, RIGHT = 360.0, 16.0, 344.0
STRIP = 120.0  # height of one strip
LINE_Y, BAND = 62.0, 16.0
FLAG_Y, MARK = 16.0, 13.0  # the marks of severity stand in one row, with the numbers beside them
_GRAVITY = list(SEVERITY_MARKS)


def weld_run(
    findings: Sequence[SeenFinding],
    *,
    tube_diameter_mm: float | None,
    length_mm: float | None,
    name: str = "weld",
    as_tube: bool = False,
) -> Drawing:
    """Where each finding lies along the weld, lengths to scale where the run's length is known.

    A tube (``tube_diameter_mm`` in mm) is unrolled from 12 o'clock clockwise; its run is pi times the diameter. What
    was told there by distance gets a strip of its own from the datum end: where that lies on the clock nobody knows. A
    plate runs from the datum end; without ``length_mm`` it is drawn dashed and nothing is placed by distance.
    ``as_tube``: round by clock position though the diameter is not known, dashed.
    """
    around = math.pi * tube_diameter_mm if tube_diameter_mm else None
    if around or as_tube:
        strips = [_Strip(around, by_clock=True), _Strip(length_mm or around, beside_a_clock=True)]
    else:
        strips = [_Strip(length_mm)]
    lost: dict[str, list[int]] = {}
    for finding in findings:
        strip = strips[0] if finding.clock_deg is not None else strips[-1]
        reason = strip.take(finding)
        if reason:
            lost.setdefault(reason, []).append(finding.number)
    shown = [strip for strip in strips if strip is strips[0] or strip.placed]
    pen = Pen(WIDTH, STRIP * len(shown))
    for row, strip in enumerate(shown):
        strip.draw(pen, row * STRIP)
    words = [words for strip in shown for words in strip.words(tube_diameter_mm)]
    words += [finding_words(f) for f in findings]
    for reason, which in lost.items():
        words.append(f"Not placed on the drawing: finding {', '.join(map(str, which))}, {reason}")
    return Drawing(pen.svg(f"Run of {name}", words, "run-drawing"), words)


@dataclass
class _Strip:
    """One straight picture of the run; ``run_mm`` None where its length is not known."""

    run_mm: float | None
    by_clock: bool = False
    beside_a_clock: bool = False
    placed: list[tuple[SeenFinding, float]] = field(default_factory=list)  # with the share of the run, 0 to 1

    def take(self, finding: SeenFinding) -> str:
        """Place a finding; why it cannot be placed, in words, or nothing."""
        at = finding.position_mm
        if self.by_clock and finding.clock_deg is not None:
            share = (finding.clock_deg % 360) / 360
        elif at is None:
            told = finding.clock_deg is not None
            return "told on the clock, and no tube is known here" if told else "for want of a position"
        elif self.run_mm is None:
            return "told by distance, and the length of the weld is not known"
        elif not 0 <= at <= self.run_mm:
            return f"told at a distance that lies beyond the weld, which is {mm(self.run_mm)} mm long"
        else:
            share = at / self.run_mm
        self.placed.append((finding, share))
        return ""

    def words(self, tube_diameter_mm: float | None) -> list[str]:
        run = mm(self.run_mm) if self.run_mm else ""
        if self.by_clock and not tube_diameter_mm:
            return ["If it goes round a tube: clockwise from 12 o'clock, its diameter not known"]
        if self.by_clock and tube_diameter_mm:
            return [f"Tube of {mm(tube_diameter_mm)} mm unrolled clockwise from 12 o'clock, {run} mm round"]
        if self.beside_a_clock:
            which = ", ".join(str(finding.number) for finding, _ in self.placed)
            said = "told by distance, so on a strip of its own: where its datum end lies on the clock is not known"
            return [f"Finding {which}: {said}"]
        return [f"Weld {run} mm long from its datum end" if run else "Length of the weld not known"]

    def draw(self, pen: Pen, top: float) -> None:
        line = top + LINE_Y
        pen.rect(LEFT, line - BAND / 2, RIGHT - LEFT, BAND, "steel")
        for dy in (-BAND / 2, BAND / 2):
            pen.line((LEFT, line + dy), (RIGHT, line + dy), "wide" if self.run_mm else "guess")
        self._ticks(pen, line + BAND / 2)
        self._foot(pen, top + STRIP - 4)
        for finding, share in self.placed:
            self._length(pen, finding, _x(share), line)
        for flag in _flags(self.placed):
            flag.draw(pen, top, line)

    def _ticks(self, pen: Pen, y: float) -> None:
        marks = [(k / 12, clock(30 * k).split(":")[0]) for k in range(13)] if self.by_clock else []
        if not self.by_clock and self.run_mm:
            marks = [(k / 4, mm(self.run_mm * k / 4)) for k in range(5)]
        for index, (share, words) in enumerate(marks):
            pen.line((_x(share), y), (_x(share), y + 5), "thin")
            if not self.by_clock or index % 3 == 0:
                anchor = "start" if index == 0 else "end" if index == len(marks) - 1 else "middle"
                pen.text((_x(share), y + 18), words, size=12, anchor=anchor, look="soft")

    def _foot(self, pen: Pen, y: float) -> None:
        unit = "o'clock" if self.by_clock else "mm from the datum end" if self.run_mm else "length not known"
        pen.text((LEFT, y), unit, size=12, look="soft")
        more = f"{mm(self.run_mm)} mm round" if self.run_mm else "diameter not known"
        more = "" if not self.by_clock else more
        more = "on the clock: not known" if self.beside_a_clock else more
        if more:
            pen.text((RIGHT, y), more, size=12, anchor="end", look="soft")

    def _length(self, pen: Pen, finding: SeenFinding, x: float, line: float) -> None:
        if not finding.length_mm or not self.run_mm:
            return
        half = finding.length_mm / self.run_mm * (RIGHT - LEFT) / 2
        for shift in (-1, 0, 1) if self.by_clock else (0,):  # over 12 o'clock it goes on at the other end
            start, end = x - half + shift * (RIGHT - LEFT), x + half + shift * (RIGHT - LEFT)
            low, high = max(start, LEFT), min(end, RIGHT)
            if high > low:
                pen.line((low, line), (high, line), "crack")


def _x(share: float) -> float:
    return LEFT + share * (RIGHT - LEFT)


@dataclass
class _Flag:
    """Neighbouring findings under one mark, that of the gravest, with a leader to each place."""

    found: list[tuple[SeenFinding, float]]  # with x
    left: float = 0.0

    @property
    def label(self) -> str:
        return numbers(sorted(finding.number for finding, _ in self.found))

    @property
    def width(self) -> float:
        return MARK + 4 + len(self.label) * BOLD_PX + 6

    @property
    def middle(self) -> float:
        return sum(x for _, x in self.found) / len(self.found)

    def draw(self, pen: Pen, top: float, line: float) -> None:
        centre = self.left + MARK / 2
        for _, x in self.found:
            pen.line((centre, top + FLAG_Y + MARK / 2 + 1), (x, line - BAND / 2), "thin strong-line")
            pen.line((x, line - BAND / 2), (x, line), "thin strong-line")
        gravest = max((finding.severity for finding, _ in self.found), key=_GRAVITY.index)
        pen.severity((centre, top + FLAG_Y), gravest, MARK)
        pen.text((self.left + MARK + 4, top + FLAG_Y + 4), self.label, size=12, look="strong")


def _flags(placed: Sequence[tuple[SeenFinding, float]]) -> list[_Flag]:
    """One flag a finding while they have room beside each other; beyond that the nearest neighbours share one."""
    flags = [_Flag([(finding, _x(share))]) for finding, share in sorted(placed, key=lambda pair: pair[1])]
    while len(flags) > 1 and sum(flag.width for flag in flags) > WIDTH - LEFT:
        gaps = [after.middle - before.middle for before, after in pairwise(flags)]
        at = gaps.index(min(gaps))
        flags[at : at + 2] = [_Flag(flags[at].found + flags[at + 1].found)]
    free = 0.0
    for flag in flags:
        flag.left = max(flag.middle - MARK / 2, free)
        free = flag.left + flag.width
    end = WIDTH
    for flag in reversed(flags):
        flag.left = min(flag.left, end - flag.width)
        end = flag.left
    return flags
