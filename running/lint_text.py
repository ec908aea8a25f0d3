"""Refuses what must not be in a tracked file: index hosts in the locks, this machine's folders, registries' names."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from running.processes import ROOT

SELF = "running/lint_text.py"
# Written in pieces, so that the rule does not find itself.
_NAMES = ["pypi" + r"\.org", "python" + r"hosted\.org", "npm" + r"js\.(?:org|com)", "index" + r"-url\s*[=:]"]
REGISTRIES = re.compile("|".join(_NAMES))
MACHINE = re.compile(r"(?<![\w.{}<>$-])/(?:" + "root/|work/(?:main|shared)|home/[a-z]" + ")")
LOCK_ADDRESS = re.compile(r"://")
TEXT_LIMIT_BYTES = 2_000_000


def tracked() -> list[str]:
    """Files that git tracks or would add."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    names = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout.split("\0")
    return sorted({name for name in names if name and (ROOT / name).is_file()})


def faults(name: str, text: str) -> list[str]:
    """One line a fault, as ``file:line: what``."""
    rules = [(MACHINE, "a folder of one machine"), (REGISTRIES, "the name of a package registry")]
    if name.startswith("requirements/"):
        rules.append((LOCK_ADDRESS, "an address in a lock file"))
    return [
        f"{name}:{number}: {what}"
        for number, line in enumerate(text.splitlines(), start=1)
        for rule, what in rules
        if rule.search(line)
    ]


def main() -> int:
    found: list[str] = []
    for name in tracked():
        path: Path = ROOT / name
        if name == SELF or path.stat().st_size > TEXT_LIMIT_BYTES:
            continue
        try:
            found += faults(name, path.read_text(encoding="utf-8"))
        except UnicodeDecodeError:
            continue
    print("\n".join(found) or "No hosts of registries and no machine's folders in the files.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
