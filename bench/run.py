"""Runs every measurement of this folder and writes docs/benchmarks.json and docs/benchmarks.md: ``make bench``.

A measurement is a module here with ``measure()``, which returns one dict (or a list of them) with ``key``, ``what``,
``ratio`` (how many times better than the reference named in ``what``), ``goal`` and ``sizes``. Names of modules on the
command line run only those; the results of the others are kept.
"""

from __future__ import annotations

import json
import os
import platform
import sys
import time
from importlib import import_module
from pathlib import Path
from typing import Any

import django

from bench import drawing, scale

HERE = Path(__file__).resolve().parent
DOCS = HERE.parent / "docs"
NOT_MEASUREMENTS = {"__init__", "run", "drawing", "scale"}
HEAD = """# Measurements

Written by `make bench`; do not edit. Each ratio compares two ways of doing the same work on the same machine in the
same run, so it travels better than seconds do. *Goal* is what was set out before measuring; one that is missed stays
here as missed.
"""


def names() -> list[str]:
    """The modules of this folder that measure something."""
    found = sorted(path.stem for path in HERE.glob("*.py") if path.stem not in NOT_MEASUREMENTS)
    return [name for name in found if hasattr(import_module(f"bench.{name}"), "measure")]


def results_of(name: str) -> list[dict[str, Any]]:
    """What one module measured, with its name and how long measuring took."""
    began = time.monotonic()
    measured = import_module(f"bench.{name}").measure()
    rows = measured if isinstance(measured, list) else [measured]
    seconds = round(time.monotonic() - began, 1)
    return [{**row, "module": name, "measuring_took_s": seconds} for row in rows]


def machine() -> dict[str, Any]:
    """Processor, cores, memory and versions; nothing that names this machine."""
    model = platform.machine()
    for line in _lines("/proc/cpuinfo"):
        if line.startswith("model name"):
            model = line.partition(":")[2].strip()
            break
    memory = next((int(line.split()[1]) for line in _lines("/proc/meminfo") if line.startswith("MemTotal")), 0)
    return {
        "processor": model,
        "cores": os.cpu_count(),
        "memory_gib": round(memory / 1024**2),
        "python": platform.python_version(),
        "system": platform.system(),
    }


def _lines(path: str) -> list[str]:
    try:
        return Path(path).read_text().splitlines()
    except OSError:
        return []


def page(report: dict[str, Any]) -> str:
    """The report as Markdown."""
    here = report["machine"]
    words = (
        f"Measured on {here['processor']}, {here['cores']} cores, {here['memory_gib']} GiB, Python {here['python']}."
    )
    lines = [HEAD, words, "", "![Each measurement against its goal](benchmarks-goals.svg)", ""]
    if _growth_of(report["results"]):
        lines += ["![Seconds of a full recompute against the size of the fleet](benchmarks-growth.svg)", ""]
    lines += ["| | what | ratio | goal | |", "| --- | --- | ---: | ---: | --- |"]
    for row in report["results"]:
        verdict = "met" if drawing.is_met(row) else "**missed**"
        goal = f"at most {row['goal']:g}" if row.get("better") == "less" else f"{row['goal']:g}"
        lines.append(f"| {row['key']} | {row['what']} | {row['ratio']:g} | {goal} | {verdict} |")
    for row in report["results"]:
        sizes = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in row["sizes"].items())
        lines += ["", f"**{row['key']}** (`bench/{row['module']}.py`): {sizes}."]
    return "\n".join(lines) + "\n"


def _growth_of(rows: list[dict[str, Any]]) -> tuple[dict[int, float], dict[int, float]] | None:
    """Seconds by the size of the fleet, ours and the least, where they were measured."""
    for row in rows:
        if "seconds_by_fleet" in row["sizes"]:
            ours, least = row["sizes"]["seconds_by_fleet"], row["sizes"].get("least_seconds_by_fleet", {})
            return {int(n): s for n, s in ours.items()}, {int(n): s for n, s in least.items()}
    return None


def main(chosen: list[str]) -> int:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.test")
    django.setup()
    file = DOCS / "benchmarks.json"
    kept = {}
    if chosen and file.exists():
        kept = {row["key"]: row for row in json.loads(file.read_text())["results"]}
    for name in chosen or names():
        for row in results_of(name):
            kept[row["key"]] = row
            print(f"{row['key']}: {row['ratio']:g} times, goal {row['goal']:g}: {row['what']}", flush=True)
    report = {"machine": machine(), "results": [kept[key] for key in sorted(kept)]}
    file.write_text(json.dumps(report, indent=2) + "\n")
    (DOCS / "benchmarks.md").write_text(page(report))
    scale.write(DOCS / "scale.md", report)
    (DOCS / "benchmarks-goals.svg").write_text(drawing.goals(report["results"]))
    if growth := _growth_of(report["results"]):
        (DOCS / "benchmarks-growth.svg").write_text(drawing.growth(*growth))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
