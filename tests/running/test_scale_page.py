"""The sums of docs/scale.md are those of the last measurements."""

import json
from pathlib import Path

from bench import scale

DOCS = Path(__file__).parents[2] / "docs"


def test_the_page_stands_as_the_last_measurements_fill_it():
    page, report = (DOCS / "scale.md").read_text(), json.loads((DOCS / "benchmarks.json").read_text())
    assert scale.filled(page, report) == page
    for row in report["results"]:
        if row["key"] == "P1b":
            row["sizes"]["ours_s"] *= 2
    assert scale.filled(page, report) != page
