"""Whatever is written to the record reads as a sentence."""

import ast
import re
from pathlib import Path

import pytest

from assets_app.people.rules import MAY
from assets_app.record.sentences import DEEDS, PLAIN, sentence

ROOT = Path(__file__).resolve().parents[3]
# A deed is said in the past: the last word tells it from the names of rights, files and columns.
DONE = re.compile(r"[a-z_]+\.[a-z_]*(ed|set|made|read|struck|taken|by_look|by_work|incomplete)")
WRITES = re.compile(r"\brecord\b.*\bactions\b|record\.actions import|from schedules\.work.*\borders\b")


def deeds_in_the_code() -> dict[str, str]:
    """Every kind of entry that the code names -> a file that names it."""
    found = {}
    for folder in ("assets_app", "schedules"):
        for file in sorted((ROOT / folder).rglob("*.py")):
            text = file.read_text()
            if "migrations" in file.parts or not WRITES.search(text):
                continue
            for node in ast.walk(ast.parse(text)):
                if isinstance(node, ast.Constant) and isinstance(node.value, str) and DONE.fullmatch(node.value):
                    found[node.value] = file.name
                if isinstance(node, ast.keyword) and node.arg in ("deed", "entry"):
                    given = node.value.value if isinstance(node.value, ast.Constant) else None
                    if isinstance(given, str) and "." in given and given not in MAY:
                        found[given] = file.name
    return found


def test_every_kind_of_entry_that_the_code_writes_has_its_sentence():
    written = deeds_in_the_code()
    assert len(written) > 60
    assert {"recording.started", "recording.used", "finding.closed", "order.verified"} <= set(written), "the control"
    assert {deed: file for deed, file in written.items() if deed not in DEEDS and deed not in PLAIN} == {}


@pytest.mark.parametrize("deed", sorted({*DEEDS, *PLAIN}))
def test_a_sentence_can_be_said_of_an_entry_that_tells_nothing(deed):
    words = sentence(deed, {})
    assert words
    assert deed not in words
