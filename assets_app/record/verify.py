"""Is the chain in the database whole? The check itself is the stand-alone verifier's, so that the two cannot differ."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db import connection

from assets_app.record import triggers, verifier
from assets_app.record.models import RecordChain, RecordEntry
from assets_app.register.models import Site


@dataclass(frozen=True)
class Answer:
    """Whether a site's chain is whole; ``sequence`` and ``words`` name the first broken entry."""

    whole: bool
    entries: int
    words: str
    sequence: int | None = None


STEP = 2000  # entries between two words of progress


def chain(site: Site, told: Callable[[int, int], None] = lambda done, of: None) -> Answer:
    """Walk the chain of one site. No lock is taken: where entries were appended meanwhile, it is walked again.

    ``told`` hears how many of how many entries are walked.
    """
    while True:
        head_sequence, head_hash = _head(site)
        count = RecordEntry.objects.filter(site=site).count()
        found = verifier.first_break(
            _counted(_entries(site), count, told), head_sequence=head_sequence, head_hash=head_hash
        )
        if found is None:
            return Answer(True, count, f"{site.name}: whole, {count} entries, head {head_hash or 'none yet'}")
        if (head_sequence, head_hash) == _head(site):
            return Answer(False, count, f"{site.name}: BROKEN: {found[1]}", found[0])


def _counted(entries: Iterator[dict[str, Any]], of: int, told: Callable[[int, int], None]) -> Iterator[dict[str, Any]]:
    for done, entry in enumerate(entries, start=1):
        if done % STEP == 0:
            told(min(done, of), of)
        yield entry


def missing_triggers() -> list[str]:
    """Triggers that should keep the record and are not there."""
    return triggers.missing(connection)


def export_lines(site: Site) -> Iterator[str]:
    """The site's chain as JSON lines: its head, then every entry up to it in order."""
    head_sequence, head_hash = _head(site)
    head = {"site": site.slug, "site_id": site.pk, "head_sequence": head_sequence, "head_hash": head_hash}
    yield _line({"chain": head})
    for entry in _entries(site, upto=head_sequence or None):  # a head that was wiped must not hide the entries
        yield _line(entry)


def _head(site: Site) -> tuple[int, str]:
    head = RecordChain.objects.filter(site=site).values_list("head_sequence", "head_hash").first()
    return head or (0, "")


def _entries(site: Site, upto: int | None = None) -> Iterator[dict[str, Any]]:
    rows = RecordEntry.objects.filter(site=site).order_by("sequence", "pk")
    if upto is not None:
        rows = rows.filter(sequence__lte=upto)
    for entry in rows.iterator(chunk_size=2000):
        yield {**entry.hashed_fields(), "hash": entry.hash}


def _line(row: dict[str, Any]) -> str:
    return json.dumps(row, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
