"""Checks an exported record with nothing but Python: ``python verifier.py record.jsonl [--head HASH ...]``.

The file is JSON lines, as the record's page, the API and ``manage.py export_record`` give it: for each site a line
``{"chain": {...}}`` with the head it claims, then its entries in order. An entry's hash is SHA-256 over the canonical
JSON (sorted keys, no spaces, UTF-8) of the fields in HASHED. Exit code 0: every chain is whole; 1: the first broken
entry of each broken chain is named; 2: no such file, or not such a file. Somebody who may rewrite the whole file can
rewrite every hash in it: keep the head hash elsewhere (on paper, with the insurer) and give it with --head; every later
export holds it too, however far the chain has grown. Several may be given, each after its --head: one of each site, or
of each export. Each is answered for itself, and one that is found nowhere is named and makes the exit code 1.
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
        if "unreadable" in entry:
            return expected, f"entry {expected} cannot be read ({entry['unreadable']})"
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
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        row = _row(line, number)
        if "chain" in row:
            if head is not None:
                yield head, entries
            head, entries = row["chain"], []
        elif head is None:
            raise ValueError(row.get("unreadable", "the first line does not name a chain"))
        else:
            entries.append(row)
    if head is None:
        raise ValueError("the file is empty")
    yield head, entries


def _row(line: str, number: int) -> dict[str, Any]:
    """What a line says; ``{"unreadable": why}`` for one that is neither a head nor exactly an entry.

    A field twice or one too many is not bound by the hash, so that a reader could be shown what nobody wrote.
    """
    try:
        row = json.loads(line, object_pairs_hook=_once, parse_constant=_no_number)
    except ValueError as error:
        return {"unreadable": f"line {number} of the file: {error}"}
    if not isinstance(row, dict):
        return {"unreadable": f"line {number} of the file is no entry"}
    odd = {"chain"} ^ row.keys() if "chain" in row else {*HASHED, "hash"} ^ row.keys()
    return {"unreadable": f"line {number} of the file lacks or adds: {', '.join(sorted(odd))}"} if odd else row


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(dict(pairs)) != len(pairs):
        raise ValueError("it names a field twice")
    return dict(pairs)


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _known_at(known_head: str, entries: list[dict[str, Any]], broken_at: int) -> int:
    """The entry whose hash was kept elsewhere, before anything broken; 0 where it is not there."""
    sound = entries[: broken_at - 1] if broken_at else entries
    return next((entry["sequence"] for entry in sound if entry["hash"] == known_head), 0)


def check_file(path: str, *, known_heads: Iterable[str] = ()) -> tuple[int, list[str]]:
    """(exit code, lines to print)."""
    said, broken = [], False
    known: dict[str, str] = dict.fromkeys(known_heads, "")
    with open(path, encoding="utf-8-sig", errors="replace") as file:  # a byte that is no UTF-8 breaks its entry
        for head, entries in chains(file):
            found = first_break(entries, head_sequence=head["head_sequence"], head_hash=head["head_hash"])
            broken = broken or found is not None
            whole = f"whole: {len(entries)} entries, head {head['head_hash'] or 'none yet'}"
            said.append(f"{head['site']}: {'BROKEN: ' + found[1] if found else whole}")
            for given in known:
                at = _known_at(given, entries, found[0] if found else 0)
                if at:
                    known[given] = f"head {given}: entry {at} of {head['site']}; up to there nothing was rewritten"
    for given, answer in known.items():
        said.append(answer or f"head {given}: BROKEN: no whole part of a chain in the file holds it")
    return int(broken or not all(known.values())), said


def main(arguments: list[str]) -> int:
    known = []
    while "--head" in arguments:
        at = arguments.index("--head")
        known += arguments[at + 1 : at + 2] or [""]
        arguments = arguments[:at] + arguments[at + 2 :]
    if len(arguments) != 1 or not all(known):
        print(__doc__)
        return 2
    try:
        code, said = check_file(arguments[0], known_heads=known)
    except (OSError, ValueError, KeyError, TypeError) as error:
        print(f"not an exported record, or its first line is damaged: {error}")
        return 2
    print("\n".join(said))
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
