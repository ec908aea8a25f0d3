"""Checks an exported record with nothing but Python: ``python verifier.py record.jsonl [--head HASH]``.

The file is JSON lines, as ``manage.py export_record`` writes it: for each site a line ``{"chain": {...}}`` with the
head it claims, then its entries in order. An entry's hash is SHA-256 over the canonical JSON (sorted keys, no spaces,
UTF-8) of the fields in HASHED. Exit code 0: every chain is whole; 1: the first broken entry of each broken chain is
named; 2: no such file, or not such a file. Somebody who may rewrite the whole file can rewrite every hash in it: keep
the head hash elsewhere (on paper, with the insurer) and give it with --head.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Iterable, Iterator
from typing import Any

HASHED = (
    "previous_hash",
    "site_id",
    "sequence",
    "at",
    "deed",
    "actor_id",
    "actor_name",
    "subject_kind",
    "subject_id",
    "asset_id",
    "joint_id",
    "content",
)


def entry_hash(entry: dict[str, Any]) -> str:
    fields = {name: entry[name] for name in HASHED}
    text = json.dumps(fields, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def first_break(entries: Iterable[dict[str, Any]], *, head_sequence: int, head_hash: str) -> tuple[int, str] | None:
    """(sequence, what is wrong) of the first entry that does not fit; None where the chain is whole."""
    previous, expected = "", 1
    for entry in entries:
        if entry["sequence"] != expected:
            return expected, f"entry {expected} is not there; the next one is {entry['sequence']}"
        if entry["previous_hash"] != previous:
            return expected, f"entry {expected} does not follow the one before it"
        if entry_hash(entry) != entry["hash"]:
            return expected, f"entry {expected} was altered: its hash does not fit what it says"
        previous, expected = entry["hash"], expected + 1
    if expected - 1 != head_sequence:
        short = expected if head_sequence >= expected else head_sequence + 1
        return short, f"the chain should end at entry {head_sequence} and ends at {expected - 1}"
    if previous != head_hash:
        return max(head_sequence, 1), "the last entry is not the one that the head of the chain names"
    return None


def chains(lines: Iterable[str]) -> Iterator[tuple[dict[str, Any], list[dict[str, Any]]]]:
    """Head and entries of each chain in the file."""
    head: dict[str, Any] | None = None
    entries: list[dict[str, Any]] = []
    for line in lines:
        row = json.loads(line)
        if "chain" in row:
            if head is not None:
                yield head, entries
            head, entries = row["chain"], []
        elif head is None:
            raise ValueError("the first line does not name a chain")
        else:
            entries.append(row)
    if head is None:
        raise ValueError("the file is empty")
    yield head, entries


def check_file(path: str, *, known_head: str = "") -> tuple[int, list[str]]:
    """(exit code, lines to print)."""
    said, broken, heads = [], False, set()
    with open(path, encoding="utf-8") as file:
        for head, entries in chains(file):
            heads.add(head["head_hash"])
            found = first_break(entries, head_sequence=head["head_sequence"], head_hash=head["head_hash"])
            broken = broken or found is not None
            whole = f"whole: {len(entries)} entries, head {head['head_hash'] or 'none yet'}"
            said.append(f"{head['site']}: {'BROKEN: ' + found[1] if found else whole}")
    if known_head and known_head not in heads:
        broken = True
        said.append(f"BROKEN: no chain in the file ends with the head given, {known_head}")
    return int(broken), said


def main(arguments: list[str]) -> int:
    known = ""
    if "--head" in arguments:
        at = arguments.index("--head")
        known = arguments[at + 1] if at + 1 < len(arguments) else ""
        arguments = arguments[:at] + arguments[at + 2 :]
    if len(arguments) != 1:
        print(__doc__)
        return 2
    try:
        code, said = check_file(arguments[0], known_head=known)
    except (OSError, ValueError, KeyError, TypeError) as error:
        print(f"not an exported record: {error}")
        return 2
    print("\n".join(said))
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
