"""What is known of some joints, in one statement: looks, open findings and their sizes, looks owed once, excuses."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.db import connection

from assets_app.inspections.kinds import KINDS
from schedules.due import sentences
from schedules.due.life_line import Look, Size
from schedules.due.models import Programme


@dataclass
class Known:
    """Of one joint, each list in order of time, the findings from the newest back."""

    looks: list[Look] = field(default_factory=list)
    sizes: list[Size] = field(default_factory=list)  # of open cracks, the deepest a day
    findings: list[str] = field(default_factory=list)  # open ones that ask for something, in words
    owed: list[tuple[str, str, str]] = field(default_factory=list)  # method ("": any), limit, why
    excused_until: date | None = None  # the last day of an engineer's assessment of a used-up life


NOTHING_KNOWN = Known()

# Five lists of the same shape: what, joint, day, key, three words, a depth in mm.
_SQL = """
SELECT 'look' AS what, joint_id, inspected_on AS day, id, method AS a, result AS b, '' AS c,
       CAST(NULL AS double precision) AS depth
  FROM assets_app_inspection i WHERE joint_id IN ({joints}) AND result <> 'incomplete' AND {stands}
UNION ALL
SELECT 'finding', joint_id, found_on, id, kind, state, severity, NULL
  FROM assets_app_finding WHERE joint_id IN ({joints}) AND state IN ('open', 'assessed')
UNION ALL
SELECT 'size', f.joint_id, s.measured_on, s.id, f.kind, '', '', s.depth_mm
  FROM assets_app_finding f JOIN assets_app_findingsize s ON s.finding_id = f.id
  JOIN assets_app_inspection i ON i.id = s.inspection_id AND {stands}
  WHERE f.joint_id IN ({joints}) AND f.state IN ('open', 'assessed') AND s.depth_mm IS NOT NULL
UNION ALL
SELECT 'owed', joint_id, due_on, id, method, "limit",
       CASE WHEN source = '' THEN why ELSE why || ' (' || source || ')' END, NULL
  FROM schedules_owedlook WHERE joint_id IN ({joints}) AND satisfied_by_id IS NULL AND withdrawn_why = ''
UNION ALL
SELECT 'excuse', joint_id, ends_on, id, '', '', '', NULL
  FROM assets_app_assessment WHERE joint_id IN ({joints}) AND finding_id IS NULL
"""
_STANDS = "NOT EXISTS (SELECT 1 FROM assets_app_inspection c WHERE c.corrects_id = i.id)"  # was not corrected since


def known_of_joints(joint_ids: Sequence[int]) -> dict[int, Known]:
    """Joint id -> what is known of it; a joint of which nothing is known is not in it."""
    wanted = sorted(set(joint_ids))
    if not wanted:
        return {}
    sql = _SQL.format(joints=", ".join(str(int(each)) for each in wanted), stands=_STANDS)
    with connection.cursor() as cursor:
        cursor.execute(sql)
        rows = [(what, joint, _day(day), *rest) for what, joint, day, *rest in cursor.fetchall()]
    rows.sort(key=lambda row: (row[2] is None, row[2] or date.max, row[3]))  # an owed look without a day comes last
    found: dict[int, Known] = {}
    for what, joint, day, _, a, b, c, depth in rows:
        _put(found.setdefault(joint, Known()), what, day, (a, b, c), depth)
    return found


def owed_methods(joint_ids: Iterable[int]) -> dict[int, tuple[str, ...]]:
    """Joint id -> the methods owed there, in order; a joint that owes none is not in it."""
    found: dict[int, tuple[str, ...]] = {}
    rows = Programme.objects.filter(joint_id__in=list(joint_ids), active=True).order_by("joint_id", "method")
    for joint_id, method in rows.values_list("joint_id", "method"):
        found[joint_id] = (*found.get(joint_id, ()), method)
    return found


def _put(known: Known, what: str, day: date | None, words: tuple[str, str, str], depth: float | None) -> None:
    first, second, third = words
    if what == "owed":
        if not any(each[:2] == (first, second) for each in known.owed):  # the earliest says why
            known.owed.append(words)
        return
    assert day is not None  # the others always have their day
    if what == "look":
        known.looks.append(Look(day, first, second == "findings"))
    elif what == "finding" and third != "record":
        known.findings.insert(0, _finding_words(day, first, second, third))
    elif what == "size" and depth is not None and first in KINDS and KINDS[first].is_crack:
        _put_size(known.sizes, Size(day, depth))
    elif what == "excuse":
        known.excused_until = max(day, known.excused_until or day)


def _put_size(sizes: list[Size], size: Size) -> None:
    if sizes and sizes[-1].on == size.on:
        sizes[-1] = max(sizes[-1], size)
    else:
        sizes.append(size)


def _finding_words(day: date, kind: str, state: str, severity: str) -> str:
    name = KINDS[kind].name if kind in KINDS else kind
    return f"{name} found on {sentences.day(day)} ({severity}{', assessed' if state == 'assessed' else ''})"


def _day(value: date | str | None) -> date | None:
    """SQLite hands a day back as it keeps it: as text."""
    return date.fromisoformat(value) if isinstance(value, str) else value
