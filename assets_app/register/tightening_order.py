"""In which order the bolts of a group are tightened, and checked. Pure; bolts are numbered from 1, as on the drawing.

Ring: a star, each bolt followed by the one across it, each pair as far as possible from those done. Rows and free
patterns: from the middle outwards, crossing over among bolts equally far out. Common practice. EN 1090-2, 8.3 (edition
2008+A1:2011, as a dealer quotes it) and 8.5.1 (from memory): bolt by bolt from the most rigid part of the connection
towards the least rigid, in more than one cycle where needed. Which part is the stiffest the register does not know:
the middle stands for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

from assets_app.register.drawing_bolts import BoltPattern, layout

SOURCE = (
    "Common practice; EN 1090-2, 8.3 (as quoted) and 8.5.1 (from memory): from the stiffest part of the connection "
    "towards the least stiff, in more than one cycle where needed. The maker's order goes before this one."
)


def tightening_order(bolts: BoltPattern) -> list[int]:
    """Bolt numbers in tightening order; plain numbers where the pattern is not known; empty where the count is not."""
    count = bolts.bolt_count or len(bolts.positions)
    if bolts.pattern == "ring":
        return star(count)
    points = layout(bolts).points if bolts.pattern in ("grid", "custom") else []
    return from_the_middle(points) if points else list(range(1, count + 1))


def order_words(bolts: BoltPattern) -> str:
    """The order in one sentence."""
    if bolts.pattern == "ring":
        return "Across the ring, like a star."
    if bolts.pattern in ("grid", "custom") and layout(bolts).points:
        return "From the middle outwards, crossing over."
    return "The pattern is not known, so the bolts stand in the order of their numbers."


def star(count: int) -> list[int]:
    """The star of a ring of ``count`` bolts.

    >>> star(8)
    [1, 5, 3, 7, 2, 6, 4, 8]
    """
    if count < 1:
        return []
    if count % 2 or count == 2:
        return [place + 1 for place in _spread(range(count), _around(count))]
    half = count // 2
    return [number for place in _spread(range(half), _around(half)) for number in (place + 1, place + 1 + half)]


def from_the_middle(points: Sequence[tuple[float, float]]) -> list[int]:
    """From the bolt nearest to the middle of the group outwards; among bolts equally far, next the farthest across."""
    if not points:
        return []
    cx, cy = (sum(axis) / len(points) for axis in zip(*points, strict=True))
    out = [math.hypot(x - cx, y - cy) for x, y in points]
    close = 1e-6 * max(max(out), 1e-9)
    rings: list[list[int]] = []
    for place in sorted(range(len(points)), key=lambda each: (out[each], each)):
        if rings and out[place] - out[rings[-1][0]] <= close:
            rings[-1].append(place)
        else:
            rings.append([place])
    apart = _between(points)
    return [place + 1 for ring in rings for place in _spread(sorted(ring), apart)]


def _around(count: int) -> Callable[[int, int], float]:
    """Steps between two places of a ring, the shorter way."""
    return lambda a, b: min(abs(a - b), count - abs(a - b))


def _between(points: Sequence[tuple[float, float]]) -> Callable[[int, int], float]:
    return lambda a, b: round(math.dist(points[a], points[b]), 6)


def _spread(places: Iterable[int], apart: Callable[[int, int], float]) -> list[int]:
    """Each next place the farthest from all those done; of equals the farthest from the last, then the lowest."""
    left = list(places)
    done = [left.pop(0)]
    nearest = {place: apart(place, done[0]) for place in left}
    while left:
        last = done[-1]
        best = max(left, key=lambda place: (nearest[place], apart(place, last), -place))
        left.remove(best)
        done.append(best)
        for place in left:
            nearest[place] = min(nearest[place], apart(place, best))
    return done
