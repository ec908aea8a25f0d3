"""Acceptance of weld imperfections: ISO 5817 quality levels B, C, D and the AWS D1.1 visual limits.

A finding goes in; accepted, not accepted or *cannot be judged* comes out, with the limit, how far the finding lies
outside it, and the clause. The limits are data (tables ``iso5817`` and ``aws_visual``). A fact that is not known is
carried through: every rule that might apply is tried, and only where all of them agree is the finding judged.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from engineering import tables
from engineering.acceptance_rules import AWS_RULES, ISO_RULES, Facts, Kind, Verdict
from engineering.errors import InputError, non_negative, positive
from engineering.tables import FROM_MEMORY, Row, Table

__all__ = ["CODES", "EDITIONS", "KINDS", "LEVELS", "Judgement", "Kind", "judge", "kinds", "level_for"]

LEVELS = ("B", "C", "D")
EDITIONS = ("2014", "2023")
CODES = ("AWS static", "AWS cyclic")
JOINTS = ("butt", "fillet")
THINNEST_MM = 0.5  # ISO 5817 clause 1 begins here


def kinds(table: Table | None = None) -> Mapping[str, Kind]:
    """The imperfections known, by ISO 6520-1 number, from table ``imperfections`` (or an office's own)."""
    rows = (table or tables.load("imperfections")).rows.values()
    return MappingProxyType(
        {
            row.id: Kind(row.id, row["name"], row["group"], bool(row["is_crack"]), row["measure"], row.get("how", ""))
            for row in rows
        }
    )


KINDS: Mapping[str, Kind] = kinds()


@dataclass(frozen=True)
class Judgement:
    """What a rule says of a finding.

    Attributes:
        accepted: True, False, or None where it cannot be judged (never read None as accepted).
        limit_mm: largest size allowed, mm; None where the rule has no size limit or it cannot be computed.
        excess_mm: size beyond the limit, mm (0 when inside); None where not computable.
        clause, source, status: where the rule stands, and how sure the figure is.
        reason: the answer in words.
        missing: names of the arguments that would let an unjudged finding be judged.
    """

    accepted: bool | None
    limit_mm: float | None
    excess_mm: float | None
    clause: str
    source: str
    status: str
    reason: str
    missing: tuple[str, ...] = ()


def judge(
    kind: str | int,
    *,
    level: str | None = None,
    code: str | None = None,
    edition: str = "2014",
    size_mm: float | None = None,
    length_mm: float | None = None,
    weld_length_mm: float | None = None,
    wall_mm: float | None = None,
    throat_mm: float | None = None,
    leg_mm: float | None = None,
    width_mm: float | None = None,
    angle_deg: float | None = None,
    joint: str | None = None,
    transverse: bool | None = None,
    pore_sum_25_mm: float | None = None,
    pore_sum_300_mm: float | None = None,
    pores_per_100_mm: float | None = None,
    table: Table | None = None,
) -> Judgement:
    """Judge one imperfection against ISO 5817 (``level``) or AWS D1.1 (``code``); give exactly one of the two.

    Args:
        kind: ISO 6520-1 number, see ``KINDS``.
        level: "B", "C" or "D" (ISO 5817 Table 1); ``edition`` "2014" or "2023".
        code: "AWS static" or "AWS cyclic" (AWS D1.1:2020 Table 8.1, metric figures).
        size_mm: depth, height, diameter, gap or shortfall, mm, as ``KINDS[kind].measure`` says; the shortfall of a
            fillet (5213) is of the throat, under AWS turned into leg by the square root of 2 (equal legs).
        length_mm: total length, mm, of the imperfection in the worst stretch the rule counts (100 mm in ISO 5817,
            300 mm for AWS undercut, whole weld for AWS undersize); the whole length is on the safe side.
        weld_length_mm: length of the weld, mm.
        wall_mm: thickness of the (thinner) wall, mm.
        throat_mm: nominal throat of a fillet, or nominal thickness of a part-penetration weld, mm.
        leg_mm: nominal leg, mm (AWS undersize only; else the throat times the square root of 2).
        width_mm: width of weld or root reinforcement, mm.
        angle_deg: toe angle (505), degrees.
        joint: "butt" or "fillet"; transverse: weld across the tension of a primary member (AWS).
        pore_sum_25_mm, pore_sum_300_mm: sum of pore diameters, mm, in the worst 25 and 300 mm of weld (AWS static).
        pores_per_100_mm: number of pores in the worst 100 mm (AWS cyclic).
        table: an office's own limits; None takes the shipped ones.

    Returns:
        A ``Judgement``; ``accepted`` is None, never True, where a fact is missing or the rule does not cover the case.

    Raises:
        InputError: unknown kind, level, code or edition; a negative or non-numeric size.

    >>> judge(5011, level="C", size_mm=0.8, wall_mm=10).excess_mm
    0.3
    """
    facts = _facts(
        kind=_kind(kind),
        size_mm=size_mm,
        length_mm=length_mm,
        weld_length_mm=weld_length_mm,
        wall_mm=wall_mm,
        throat_mm=throat_mm,
        leg_mm=leg_mm,
        width_mm=width_mm,
        angle_deg=angle_deg,
        joint=joint,
        transverse=transverse,
        pore_sum_25_mm=pore_sum_25_mm,
        pore_sum_300_mm=pore_sum_300_mm,
        pores_per_100_mm=pores_per_100_mm,
    )
    if (level is None) == (code is None):
        raise InputError("level", "give either an ISO 5817 level or an AWS code, not both and not neither")
    if level is not None:
        _one_of("level", level, LEVELS)
        _one_of("edition", edition, EDITIONS)
        return _judge_iso(facts, level, edition, table or tables.load("iso5817"))
    _one_of("code", code, CODES)
    return _judge_aws(facts, str(code), table or tables.load("aws_visual"))


def level_for(execution_class: str, kind: str | int, *, table: Table | None = None) -> str:
    """ISO 5817 level that EN 1090-2:2018 7.6.1 asks for: "EXC1".."EXC4", with the exceptions of EXC2.

    For EXC4 level B is the least asked for; the further demands are not covered. Raises ``InputError`` for an unknown
    class or kind.

    >>> level_for("EXC2", 5011), level_for("EXC2", 506)
    ('C', 'D')
    """
    row = (table or tables.load("execution_class")).row(execution_class)
    number = _kind(kind).number
    return str(row["exception_level"] if number in row.get("exceptions", []) else row["level"])


def _kind(kind: str | int) -> Kind:
    number = str(kind)
    if isinstance(kind, bool) or number not in KINDS:
        raise InputError("kind", f"no imperfection {kind!r}; known: {', '.join(KINDS)}", code="unknown_row")
    return KINDS[number]


def _one_of(argument: str, value: str | None, known: tuple[str, ...]) -> None:
    if value not in known:
        raise InputError(argument, f"must be one of {', '.join(known)}, got {value!r}", code="unknown_row")


def _facts(*, kind: Kind, joint: str | None, transverse: bool | None, **numbers: float | None) -> Facts:
    if joint is not None:
        _one_of("joint", joint, JOINTS)
    checked: dict[str, float | None] = {}
    for name, value in numbers.items():
        guard = positive if name in ("weld_length_mm", "wall_mm", "throat_mm", "leg_mm", "width_mm") else non_negative
        checked[name] = None if value is None else float(guard(name, value))
    return Facts(kind=kind, joint=joint, transverse=transverse, **checked)


# ISO 5817 -----------------------------------------------------------------------------------------------------------


def _judge_iso(facts: Facts, level: str, edition: str, table: Table) -> Judgement:
    rows = [
        row
        for row in table.rows.values()
        if facts.kind.number in row["numbers"]
        and row["level"] == level
        and edition in row["editions"]
        and row.get("joint") in (None, facts.joint if facts.joint else row.get("joint"))
        and _wall_fits(row, facts.wall_mm)
    ]
    verdicts = [ISO_RULES[row["rule"]](row, facts) for row in rows]
    name = f"ISO 5817:{edition}"
    judged = _combine(verdicts, facts, name, table, discriminators=_apart(rows, ("t_over_mm", "wall_mm")))
    seen = [row.get("seen_in") for row in rows]
    if any(editions is not None and edition not in editions for editions in seen):
        judged = replace(judged, status=FROM_MEMORY)
    return judged


def _wall_fits(row: Row, wall_mm: float | None) -> bool:
    if wall_mm is None:
        return True
    over, to = row.get("t_over_mm"), row.get("t_to_mm")
    if wall_mm < THINNEST_MM:  # outside the standard: only what no thickness could make acceptable still stands
        return over is None and to is None and row["rule"] == "not permitted"
    return (over is None or wall_mm > over) and (to is None or wall_mm <= to)


# AWS D1.1 -----------------------------------------------------------------------------------------------------------


def _judge_aws(facts: Facts, code: str, table: Table) -> Judgement:
    leg = facts.leg_mm if facts.leg_mm is not None else facts.throat_mm and facts.throat_mm * math.sqrt(2)
    rows = [
        row
        for row in table.rows.values()
        if facts.kind.number in row["numbers"]
        and code in row["codes"]
        and (facts.joint is None or row.get("joint") in (None, facts.joint))
        and (facts.transverse is None or row.get("transverse") in (None, facts.transverse))
        and (facts.wall_mm is None or row.get("t_from_mm", 0) <= facts.wall_mm < row.get("t_below_mm", math.inf))
    ]
    bands = [row["leg_from_mm"] for row in rows if leg is not None and row.get("leg_from_mm", math.inf) <= leg]
    if bands:
        rows = [row for row in rows if row["leg_from_mm"] == max(bands)]
    verdicts = [AWS_RULES[row["rule"]](row, facts) for row in rows]
    apart = _apart(rows, ("transverse", "transverse"), ("t_from_mm", "wall_mm"), ("leg_from_mm", "leg_mm"))
    return _combine(verdicts, facts, "AWS D1.1:2020", table, discriminators=apart)


def _apart(rows: Iterable[Row], *columns: tuple[str, str]) -> tuple[str, ...]:
    """Arguments that would tell the candidate rows apart."""
    found = list(rows)
    pairs = (*columns, ("joint", "joint"))
    return tuple(argument for column, argument in pairs if len({row.get(column) for row in found}) > 1)


def _combine(
    verdicts: list[Verdict], facts: Facts, name: str, table: Table, *, discriminators: tuple[str, ...]
) -> Judgement:
    """One answer where every row that might apply gives the same, else None with what is missing."""
    if not verdicts:
        reason = f"{facts.kind.name} ({facts.kind.number}) with these facts is not covered by the table of {name}"
        return Judgement(None, None, None, name, table.source, table.status, reason)
    strictest = min(verdicts, key=lambda v: math.inf if v.limit is None else v.limit)
    answers = {verdict.accepted for verdict in verdicts}
    accepted = answers.pop() if len(answers) == 1 else None
    missing: tuple[str, ...] = ()
    limit = strictest.limit
    if accepted is None:
        asked = [
            *discriminators,
            *(item for verdict in verdicts if verdict.accepted is None for item in verdict.missing),
        ]
        missing = tuple(dict.fromkeys(asked))
        if len({verdict.limit for verdict in verdicts}) > 1:
            limit = None
    worst_status = FROM_MEMORY if any(v.row.status == FROM_MEMORY for v in verdicts) else strictest.row.status
    return Judgement(
        accepted=accepted,
        limit_mm=limit,
        excess_mm=_excess(facts, limit, accepted),
        clause=f"{name} {strictest.row.get('clause', '')}".strip(),
        source=strictest.row.source,
        status=worst_status,
        reason=_reason(strictest, facts, accepted, limit, missing),
        missing=missing,
    )


def _excess(facts: Facts, limit: float | None, accepted: bool | None) -> float | None:
    if accepted is None or limit is None or facts.size_mm is None:
        return None
    return 0.0 if accepted else round(max(0.0, facts.size_mm - limit), 9)


def _reason(
    verdict: Verdict, facts: Facts, accepted: bool | None, limit: float | None, missing: tuple[str, ...]
) -> str:
    head = {True: "accepted", False: "not accepted", None: "cannot be judged"}[accepted]
    words = [f"{facts.kind.name}: {head}", verdict.reason if accepted is not None or len(missing) < 2 else ""]
    if limit is not None and facts.size_mm is not None:
        words.append(f"{facts.size_mm:g} mm against {limit:g} mm")
    if missing:
        words.append("missing: " + ", ".join(missing))
    if note := verdict.row.get("note"):
        words.append(str(note))
    return "; ".join(word for word in words if word)
