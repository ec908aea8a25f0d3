"""The run of a weld laid flat: round a tube by clock position, along a plate by distance, with its findings."""

from __future__ import annotations

import math
from collections.abc import Sequence

from assets_app.register.drawing import SeenFinding, clock, finding_words
from assets_app.register.pen import Drawing, Pen, mm

WIDTH, LEFT, RIGHT = 360.0, 16.0, 344.0
LINE_Y, BAND = 62.0, 16.0


def weld_run(
    findings: Sequence[SeenFinding],
    *,
    tube_diameter_mm: float | None,
    length_mm: float | None,
    name: str = "weld",
    as_tube: bool = False,
) -> Drawing:
    """Where each finding lies along the weld, lengths to scale where the run's length is known.

    A tube (``tube_diameter_mm`` in mm) is unrolled from 12 o'clock clockwise; its run is pi times the diameter. A plate
    runs from the datum end; without ``length_mm`` it is drawn dashed and nothing is placed by distance. ``as_tube``:
    round by clock position though the diameter is not known, dashed.
    """
    tube = bool(tube_diameter_mm) or as_tube
    run_mm = math.pi * tube_diameter_mm if tube_diameter_mm else None if as_tube else length_mm
    pen = Pen(WIDTH, 120.0)
    look = "wide" if run_mm else "guess"
    pen.rect(LEFT, LINE_Y - BAND / 2, RIGHT - LEFT, BAND, "steel")
    for dy in (-BAND / 2, BAND / 2):
        pen.line((LEFT, LINE_Y + dy), (RIGHT, LINE_Y + dy), look)
    _ticks(pen, tube=tube, run_mm=run_mm)
    placed = [(f, share) for f in findings if (share := _share(f, run_mm, tube)) is not None]
    for row, (finding, share) in enumerate(sorted(placed, key=lambda pair: pair[1])):
        _finding(pen, finding, share, run_mm, row)
    words = _words(findings, placed, run_mm, tube_diameter_mm, tube=tube)
    return Drawing(pen.svg(f"Run of {name}", words, "run-drawing"), words)


def _share(finding: SeenFinding, run_mm: float | None, tube: bool) -> float | None:
    """Where along the run, 0 to 1; None where it cannot be placed."""
    if tube:
        return None if finding.clock_deg is None else (finding.clock_deg % 360) / 360
    if run_mm is None or finding.position_mm is None or finding.position_mm > run_mm:
        return None
    return finding.position_mm / run_mm


def _ticks(pen: Pen, *, tube: bool, run_mm: float | None) -> None:
    marks = [(k / 12, clock(30 * k).split(":")[0]) for k in range(13)] if tube else []
    if not tube and run_mm:
        marks = [(k / 4, mm(run_mm * k / 4)) for k in range(5)]
    for index, (share, words) in enumerate(marks):
        x = LEFT + share * (RIGHT - LEFT)
        pen.line((x, LINE_Y + BAND / 2), (x, LINE_Y + BAND / 2 + 5), "thin")
        if not tube or index % 3 == 0:
            anchor = "start" if index == 0 else "end" if index == len(marks) - 1 else "middle"
            pen.text((x, LINE_Y + BAND / 2 + 18), words, size=12, anchor=anchor, look="soft")
    unit = "o'clock" if tube else "mm from the datum end" if run_mm else "length not known"
    pen.text((LEFT, 116), unit, size=12, look="soft")
    if tube:
        around = f"{mm(run_mm)} mm round" if run_mm else "diameter not known"
        pen.text((RIGHT, 116), around, size=12, anchor="end", look="soft")


def _finding(pen: Pen, finding: SeenFinding, share: float, run_mm: float | None, row: int) -> None:
    x = LEFT + share * (RIGHT - LEFT)
    if finding.length_mm and run_mm:
        half = finding.length_mm / run_mm * (RIGHT - LEFT) / 2
        for shift in (-1, 0, 1):  # a crack over 12 o'clock goes on at the other end
            start, end = x - half + shift * (RIGHT - LEFT), x + half + shift * (RIGHT - LEFT)
            low, high = max(start, LEFT), min(end, RIGHT)
            if high > low:
                pen.line((low, LINE_Y), (high, LINE_Y), "crack")
    top = 16.0 + 15 * (row % 2)
    pen.line((x, top + 8), (x, LINE_Y), "thin")
    pen.severity((x, top), finding.severity, 13)
    anchor, aside = ("end", -10) if share > 0.9 else ("start", 10)
    pen.text((x + aside, top + 4), str(finding.number), size=12, anchor=anchor, look="strong")


def _words(
    findings: Sequence[SeenFinding],
    placed: Sequence[tuple[SeenFinding, float]],
    run_mm: float | None,
    tube_diameter_mm: float | None,
    *,
    tube: bool,
) -> list[str]:
    if tube and not tube_diameter_mm:
        words = ["If it goes round a tube: clockwise from 12 o'clock, its diameter not known"]
    elif tube_diameter_mm and run_mm:
        words = [f"Tube of {mm(tube_diameter_mm)} mm unrolled clockwise from 12 o'clock, {mm(run_mm)} mm round"]
    else:
        words = [f"Weld {mm(run_mm)} mm long from its datum end" if run_mm else "Length of the weld not known"]
    on_drawing = {finding.number for finding, _ in placed}
    words += [finding_words(f) for f in findings]
    lost = [str(f.number) for f in findings if f.number not in on_drawing]
    if lost:
        words.append(f"Not placed on the drawing, for want of a position: finding {', '.join(lost)}")
    return words
