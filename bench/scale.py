"""The sums of docs/scale.md, worked out from what was measured last, so that the page never rests on an older run."""

from __future__ import annotations

from pathlib import Path
from typing import Any

BEGIN, END = "<!-- written by make bench -->", "<!-- end -->"
LOOKS = 150e6  # programmes of 100 million joints
READINGS_A_SECOND = 100_000 / 86_400


def filled(page: str, report: dict[str, Any]) -> str:
    """``page`` with its sums worked out from ``report``."""
    head, _, rest = page.partition(BEGIN)
    _, _, tail = rest.partition(END)
    return f"{head}{BEGIN}\n{_sums({row['key']: row['sizes'] for row in report['results']})}{END}{tail}"


def write(file: Path, report: dict[str, Any]) -> None:
    file.write_text(filled(file.read_text(), report))


def _sums(sizes: dict[str, dict[str, Any]]) -> str:
    def per_million(key: str, name: str) -> float:
        return float(sizes[key][name]) / sizes[key]["joints"] * 1e6

    night, all_change = per_million("P1b", "ours_s"), per_million("P1", "ours_s")
    gain = sizes["P9"]["one_s"] / sizes["P9"]["two_s"]
    reading = sizes["P3"]["large_s"]
    memory = sizes["P9"]["peak_memory_mib_of_a_worker"]
    lines = [
        f"A worker takes {night:.1f} s for a million looks of which 1 % change (P1b), {all_change:.1f} s where all",
        f"change (P1), and {memory} MiB; two take {1 / gain:.2f} of the time of one (P9). An asset of 1,000",
        f"joints takes {reading:.2f} s after a reading (P3).",
        "",
        "| | work of one worker | by 2 workers | by 16 workers, 16 database cores |",
        "| --- | ---: | ---: | ---: |",
        _row("a night's sweep", night * LOOKS / 1e6, gain),
        _row("the worst night: all dates change", all_change * LOOKS / 1e6, gain),
    ]
    if "P1c" in sizes:
        rated = per_million("P1c", "at_once_s")
        lines.append(_row(f"and all ratings before it ({rated:.0f} s a million, P1c)", rated * LOOKS / 1e6, gain))
    lines += ["", f"Readings keep one worker busy for {READINGS_A_SECOND * reading:.0%} of its time.", ""]
    return "\n".join(lines)


def _row(what: str, seconds: float, gain: float) -> str:
    return f"| {what} | {_time(seconds)} | {_time(seconds / gain)} | {_time(seconds / (8 * gain))} |"


def _time(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds < 2 * 3600 else f"{seconds / 3600:.1f} h"
