"""A finding against its acceptance limit, and from there to its severity. Pure: rows in, an answer out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from assets_app.inspections import bolt_loads, rules
from assets_app.inspections.inputs import Size
from assets_app.inspections.kinds import Kind
from assets_app.register.models import BoltGroup, Joint, Weld
from engineering import acceptance
from engineering.acceptance import Judgement

BOLTS_NOTE = "No acceptance limit: judged by what the bolts that remain must carry."


@dataclass(frozen=True)
class Verdict:
    """What is stored with a finding."""

    severity: str
    reason: str
    accepted: bool | None
    note: str


def verdict(
    *,
    kind: Kind,
    size: Size,
    joint: Joint,
    lost_bolts: Sequence[int] = (),
    window_used: float | None = None,
    bolt_use: float | None = None,
) -> Verdict:
    """Acceptance and severity of one finding; ``lost_bolts`` are all bolts lost in the group so far, ``bolt_use`` the
    worst load on a remaining one over its resistance, where the load is known."""
    if not kind.is_weld_kind:
        return _bolts(kind, size, joint, lost_bolts, bolt_use)
    accepted, ratio, note = accept(kind, size, getattr(joint, "weld", None))
    severity, reason = rules.severity(
        kind.code,
        is_crack=kind.is_crack,
        single_load_path=joint.is_single_load_path,
        accepted=accepted,
        excess_ratio=ratio,
        window_used=window_used,
    )
    return Verdict(severity, reason, accepted, note)


def accept(kind: Kind, size: Size, weld: Weld | None) -> tuple[bool | None, float | None, str]:
    """(accepted, size over the size allowed, note) by ISO 5817 at the weld's quality level.

    Where the level is not known, all three are tried, and the answer stands only where they agree.
    """
    if weld is None:
        return (False, None, "A crack is accepted nowhere.") if kind.is_crack else (None, None, "No weld is on file.")
    if weld.quality_level:
        judged = _judge(kind, size, weld, weld.quality_level)
        return judged.accepted, _ratio(judged, size, kind), _note(judged, f"level {weld.quality_level}", weld)
    each = [_judge(kind, size, weld, level) for level in acceptance.LEVELS]
    if len({judged.accepted for judged in each}) == 1 and each[0].accepted is not None:
        return each[0].accepted, _ratio(each[0], size, kind), _note(each[0], "whatever the level", weld)
    return None, None, "The quality level (ISO 5817: B, C or D) of this weld is not known, and it decides."


def _judge(kind: Kind, size: Size, weld: Weld, level: str) -> Judgement:
    walls = [wall for wall in (weld.wall_mm, weld.other_wall_mm) if wall is not None]
    joint = {"fillet": "fillet", "full penetration": "butt", "partial penetration": "butt"}.get(weld.weld_type)
    measured = {"length": size.length_mm, "angle": None}.get(kind.measure, size.depth_mm)
    return acceptance.judge(
        kind.code,
        level=level,
        size_mm=measured,
        length_mm=size.length_mm,
        weld_length_mm=weld.length_mm,
        wall_mm=min(walls) if walls else None,
        throat_mm=weld.throat_mm,
        leg_mm=weld.leg_mm,
        angle_deg=size.angle_deg,
        joint=joint,
    )


def _ratio(judged: Judgement, size: Size, kind: Kind) -> float | None:
    """Size over the size allowed; None where no size is allowed or something other than the size is out."""
    measured = size.length_mm if kind.measure == "length" else size.depth_mm
    if judged.accepted is not False or not judged.limit_mm or measured is None or measured <= judged.limit_mm:
        return None
    return measured / judged.limit_mm


def _note(judged: Judgement, level: str, weld: Weld) -> str:
    one_wall = (weld.wall_mm is None) != (weld.other_wall_mm is None)
    assumed = " Judged by the one wall that is known." if one_wall else ""
    return f"{judged.reason}. {judged.clause}, {level}; {judged.status}.{assumed}"


def _bolts(kind: Kind, size: Size, joint: Joint, lost_bolts: Sequence[int], bolt_use: float | None) -> Verdict:
    group: BoltGroup | None = getattr(joint, "bolt_group", None)
    facts = bolt_loads.GroupFacts.of(group) if group else bolt_loads.GroupFacts(bolt_count=None)
    severity, reason = rules.severity(
        kind.code,
        is_crack=False,
        single_load_path=joint.is_single_load_path,
        accepted=False,
        bolts_lost=len(set(lost_bolts)),
        bolt_count=facts.bolt_count or (len(facts.positions) or None),
        bolt_rise=bolt_loads.rise(facts, lost_bolts),
        bolt_use=bolt_use,
        gap_mm=size.depth_mm,
    )
    return Verdict(severity, reason, False, BOLTS_NOTE)
