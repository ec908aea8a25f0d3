"""The two pictures of docs/benchmarks.md as SVG: results against their goals, and time against the size of the fleet.

Colours follow the reader's light or dark scheme; every point also carries its figure in words.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

WIDTH = 760
STYLE = (
    "<style>.paper{fill:#fff}"
    "text{font:14px system-ui,sans-serif;fill:#1b2733;paint-order:stroke;stroke:#fff;stroke-width:4px}"
    ".quiet{fill:#5a6875;font-size:12px}"
    ".line{fill:none;stroke-width:2.5}.ours{stroke:#0b63a5}.least{stroke:#8a5a00;stroke-dasharray:7 5}"
    ".ours-dot{fill:#0b63a5}.least-dot{fill:#8a5a00}.axis{stroke:#9aa7b3;stroke-width:1}.goal{stroke:#1b2733;stroke-width:2}"
    ".met{fill:#2b7a4b}.missed{fill:#b3261e}"
    "@media(prefers-color-scheme:dark){.paper{fill:#12181f}text{fill:#e6edf3;stroke:#12181f}.quiet{fill:#9fb0c0}.ours{stroke:#6cb6ff}.ours-dot{fill:#6cb6ff}"
    ".least{stroke:#e3b341}.least-dot{fill:#e3b341}.goal{stroke:#e6edf3}.met{fill:#57ab5a}.missed{fill:#f47067}}</style>"
)


def is_met(row: Mapping[str, Any]) -> bool:
    """Whether a result reached its goal."""
    return bool(row["ratio"] <= row["goal"] if row.get("better") == "less" else row["ratio"] >= row["goal"])


def goals(rows: Sequence[Mapping[str, Any]]) -> str:
    """One bar a result: how far it lies on the good or the bad side of its goal, on a logarithmic scale."""
    step, left, middle = 30, 60, 400
    height = step * len(rows) + 50
    factors = [_factor(row) for row in rows]
    most = max(2.0, *(max(f, 1 / f) for f in factors)) if factors else 2.0
    scale = (WIDTH - middle - 150) / math.log(most)
    parts = [f'<line class="goal" x1="{middle}" y1="20" x2="{middle}" y2="{height - 20}"/>']
    parts.append(f'<text class="quiet" x="{middle}" y="14" text-anchor="middle">the goal</text>')
    for place, (row, factor) in enumerate(zip(rows, factors, strict=True)):
        y = 28 + place * step
        reach = math.log(factor) * scale
        word, x = ("met" if is_met(row) else "missed"), min(middle, middle + reach)
        parts.append(f'<text x="8" y="{y + 15}">{escape(row["key"])}</text>')
        parts.append(f'<rect class="{word}" x="{x:.1f}" y="{y}" width="{max(abs(reach), 1):.1f}" height="20" rx="2"/>')
        said = f"{row['ratio']:g} ({'at most ' if row.get('better') == 'less' else ''}{row['goal']:g}): {word}"
        side = max(middle, middle + reach) + 8
        parts.append(f'<text class="quiet" x="{side:.1f}" y="{y + 15}">{escape(said)}</text>')
    parts.append(
        f'<text class="quiet" x="{left}" y="{height - 4}">worse than the goal, to the left; better, to the right</text>'
    )
    return _svg(height, "Each measurement against its goal", parts)


def _factor(row: Mapping[str, Any]) -> float:
    """Above 1 on the good side of the goal."""
    ratio = row["ratio"] / row["goal"]
    return 1 / ratio if row.get("better") == "less" else ratio


def growth(ours: Mapping[int, float], least: Mapping[int, float]) -> str:
    """Seconds of a full recompute against joints, both logarithmic, ours and the least that the same work can cost."""
    left, right, top, bottom = 70, WIDTH - 150, 30, 330
    middle = (left + right) / 2
    sizes = sorted({*ours, *least})
    seconds = [*ours.values(), *least.values()]
    low, high = math.floor(math.log10(min(seconds))), math.ceil(math.log10(max(seconds)))

    def x(size: float) -> float:
        span = math.log10(sizes[-1] / sizes[0]) or 1.0
        return left + (right - left) * math.log10(size / sizes[0]) / span

    def y(value: float) -> float:
        return bottom - (bottom - top) * (math.log10(value) - low) / max(high - low, 1)

    parts = []
    for power in range(low, high + 1):
        at = y(10.0**power)
        parts.append(f'<line class="axis" x1="{left}" y1="{at:.1f}" x2="{right}" y2="{at:.1f}"/>')
        parts.append(f'<text class="quiet" x="{left - 8}" y="{at + 4:.1f}" text-anchor="end">{10.0**power:g} s</text>')
    for size in sizes:
        parts.append(f'<text class="quiet" x="{x(size):.1f}" y="{bottom + 22}" text-anchor="middle">{size:,}</text>')
    parts.append(f'<text class="quiet" x="{middle}" y="{bottom + 44}" text-anchor="middle">joints in the fleet</text>')
    for kind, points, name, above in (("ours", ours, "the engine", True), ("least", least, "the least", False)):
        parts += _line(kind, {size: points[size] for size in sorted(points)}, name, x, y, above=above)
    return _svg(bottom + 60, "Seconds of a full recompute against the size of the fleet", parts)


def _line(kind: str, points: Mapping[int, float], name: str, x: Any, y: Any, *, above: bool) -> list[str]:
    if not points:
        return []
    way = " ".join(f"{x(size):.1f},{y(value):.1f}" for size, value in points.items())
    parts = [f'<polyline class="line {kind}" points="{way}"/>']
    for size, value in points.items():
        at = y(value) + (-10 if above else 20)
        parts.append(f'<circle class="{kind}-dot" cx="{x(size):.1f}" cy="{y(value):.1f}" r="4"/>')
        parts.append(f'<text x="{x(size):.1f}" y="{at:.1f}" text-anchor="middle">{value:.3g} s</text>')
    last = list(points)[-1]
    parts.append(f'<text x="{x(last) + 34:.1f}" y="{y(points[last]) + (-10 if above else 20):.1f}">{name}</text>')
    return parts


def _svg(height: float, title: str, parts: Sequence[str]) -> str:
    named = f'role="img" aria-label="{escape(title)}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height:g}" {named}>'
    paper = f'<rect class="paper" width="{WIDTH}" height="{height:g}"/>'
    return "\n".join([head, f"<title>{escape(title)}</title>", STYLE, paper, *parts, "</svg>"]) + "\n"
