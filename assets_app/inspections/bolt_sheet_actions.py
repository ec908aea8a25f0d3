"""The bolt-by-bolt sheet: worked out without saving, and recorded as a look with its findings and readings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

from django.db import transaction

from assets_app.inspections import actions, bolt_loads, bolt_rules, judging, queries, rules
from assets_app.inspections.bolt_models import BoltReading
from assets_app.inspections.bolt_rules import BoltInput, BoltSeen, Tightening
from assets_app.inspections.evidence_actions import joint_for
from assets_app.inspections.inputs import FindingInput, PhotoInput, Size, Typed
from assets_app.inspections.kinds import KINDS, LOST
from assets_app.inspections.models import Finding, Inspection, Method
from assets_app.people.models import Person
from assets_app.people.queries import require
from assets_app.record import actions as record
from assets_app.refusals import Unprocessable
from assets_app.register.models import BoltGroup, Joint

LOADS_BY = "spectrum.change"  # who may say what loads there are


@dataclass(frozen=True)
class Following:
    """A finding that the sheet writes: its kind, bolts, how grave and why; ``known`` is the open one seen again."""

    kind: str
    bolts: list[int]
    severity: str
    reason: str
    known: int | None


@dataclass(frozen=True)
class Answer:
    """What a filled sheet says before it is recorded."""

    seen: list[BoltSeen]
    unchecked: int
    lost: list[int]  # on the sheet and in open findings
    rise: float | None
    loaded: bolt_loads.Loaded | None
    following: list[Following]
    standing: list[Finding]  # open findings of bolts that the sheet finds ok: they stay open
    tightening: Tightening
    result: str

    @property
    def cannot_carry(self) -> bool:
        return self.rise is not None and math.isinf(self.rise)

    @property
    def remarks(self) -> list[str]:
        return bolt_rules.against_expected(self.seen, self.tightening)


def work_out_sheet(
    *,
    joint_id: int,
    bolts: Sequence[BoltInput],
    actor: Person,
    k: float | None = None,
    moment: Typed = None,
    pull: Typed = None,
) -> Answer:
    """What the lost bolts do to the rest and what severity follows; nothing is written.

    ``moment`` (overturning, from whichever side is worst) and ``pull`` on the group are an engineer's to give; a plain
    number is kN m and kN. They can only make the answer graver.
    """
    joint = joint_for(actor, "bolt_check.record", joint_id)
    return _work_out(joint, bolts, actor, k, moment, pull)


def record_bolt_sheet(
    *,
    joint_id: int,
    bolts: Sequence[BoltInput],
    inspected_at: datetime,
    actor: Person,
    now: datetime,
    conditions: str = Inspection.Conditions.NORMAL.value,
    counter_total: float | None = None,
    note: str = "",
    k: float | None = None,
    moment: Typed = None,
    pull: Typed = None,
    result: str | None = None,
    findings: Sequence[FindingInput] = (),
    photos: Sequence[PhotoInput] = (),
) -> Inspection:
    """Record the look, its findings and every bolt's reading, all or nothing.

    A sheet on which a bolt has no state is recorded as *could not be completed*: it does not count as a look.
    ``findings`` are what else was seen (a gap, bare metal); lost bolts come from the sheet alone
    (``lost_by_the_sheet``). ``result`` is what the sender took it to be: another than the sheet's is refused
    (``result_contradicts``), save that a look may always be called incomplete.
    """
    joint_for(actor, "bolt_check.record", joint_id)
    with transaction.atomic():
        Joint.objects.select_for_update().get(pk=joint_id)
        joint = joint_for(actor, "bolt_check.record", joint_id)
        answer = _work_out(joint, bolts, actor, k, moment, pull)
        use = answer.loaded.use if answer.loaded else None
        result = _result(answer, result, findings)
        inspection = actions.record_inspection(
            joint_id=joint_id,
            method=Method.BOLT_CHECK.value,
            inspected_at=inspected_at,
            result=result,
            conditions=conditions,
            findings=[*findings, *bolt_rules.findings_of(answer.seen, _open(joint), bolt_use=use)],
            photos=photos,
            note=note,
            counter_total=counter_total,
            actor=actor,
            now=now,
        )
        BoltReading.objects.bulk_create(BoltReading(inspection=inspection, **asdict(each)) for each in answer.seen)
        _append(joint, inspection, answer, actor, now)
    return inspection


def _result(answer: Answer, said: str | None, findings: Sequence[FindingInput]) -> str:
    """The result of the sheet with what else was seen."""
    for index, entry in enumerate(findings):
        if entry.kind in LOST:
            message = "Lost bolts are given by the sheet; give them no second time."
            raise Unprocessable("lost_by_the_sheet", message, field=f"findings[{index}].kind")
    incomplete = Inspection.Result.INCOMPLETE.value
    found = Inspection.Result.FINDINGS.value if findings and answer.result != incomplete else answer.result
    if said not in (None, found, incomplete):
        message = f"By the sheet the result is: {Inspection.Result(found).label}."
        raise Unprocessable("result_contradicts", message, field="result")
    return said or found


def _work_out(
    joint: Joint, entries: Sequence[BoltInput], actor: Person, k: float | None, moment: Typed, pull: Typed
) -> Answer:
    group, count = group_of(joint)
    seen = bolt_rules.read_bolts(entries, count, joint.asset.site)
    open_ones = _open(joint)
    known_lost = {number for one in open_ones if one.kind in LOST for number in one.bolts}
    lost = sorted(known_lost | set(bolt_rules.lost_on(seen)))
    facts = bolt_loads.GroupFacts.of(group)
    tightening = bolt_rules.expected_tightening(group, k)
    loaded = _loaded(joint, group, lost, tightening, actor, moment, pull)
    fine = {each.number for each in seen if each.state == "ok"}
    return Answer(
        seen=seen,
        unchecked=count - len(seen),
        lost=lost,
        rise=bolt_loads.rise(facts, lost),
        loaded=loaded,
        following=_following(joint, seen, open_ones, lost, loaded.use if loaded else None),
        standing=[one for one in open_ones if one.kind in LOST and fine & set(one.bolts)],
        tightening=tightening,
        result=bolt_rules.result_of(seen, count),
    )


def group_of(joint: Joint) -> tuple[BoltGroup, int]:
    """The bolts of the joint and how many; refused where there is no sheet to fill."""
    group = getattr(joint, "bolt_group", None)
    if joint.kind != Joint.Kind.BOLTED:
        raise Unprocessable("method_does_not_fit", "A bolt sheet needs a bolted joint.", field="joint")
    count = (group.bolt_count or len(group.positions)) if group else 0
    if not group or not count:
        raise Unprocessable("bolt_count_unknown", "How many bolts there are is not on file; enter it first.")
    if count > bolt_rules.MOST_BOLTS:
        message = f"A sheet holds at most {bolt_rules.MOST_BOLTS} bolts; record the look by its findings."
        raise Unprocessable("too_many_bolts", message)
    return group, count


def _open(joint: Joint) -> list[Finding]:
    return list(queries.open_findings(joint.pk))


def _loaded(
    joint: Joint, group: BoltGroup, lost: list[int], tightening: Tightening, actor: Person, moment: Typed, pull: Typed
) -> bolt_loads.Loaded | None:
    given = [value for value in (moment, pull) if str(value if value is not None else "").strip()]
    if not given:
        return None
    require(actor, LOADS_BY, joint.asset.site_id)
    turn = bolt_rules.amount(moment, "N mm", "kN m", "moment") if str(moment or "").strip() else 0.0
    force = bolt_rules.amount(pull, "N", "kN", "pull") if str(pull or "").strip() else 0.0
    if turn < 0 or abs(turn) > 1e13 or abs(force) > 1e10:
        raise Unprocessable("out_of_range", "Give the size of the load; a moment is not negative.", field="moment")
    return bolt_loads.under_load(
        bolt_loads.GroupFacts.of(group),
        lost,
        size=group.size,
        property_class=group.property_class,
        preload_kn=tightening.preload_kn,
        moment_nmm=turn,
        pull_n=force,
    )


def _following(
    joint: Joint, seen: list[BoltSeen], open_ones: list[Finding], lost: list[int], use: float | None
) -> list[Following]:
    by_id, following = {one.pk: one for one in open_ones}, []
    for entry in bolt_rules.findings_of(seen, open_ones, bolt_use=use):
        known = by_id.get(entry.finding_id or 0)
        kind = KINDS[known.kind if known else entry.kind]
        told = judging.verdict(kind=kind, size=Size(), joint=joint, lost_bolts=lost, bolt_use=use)
        severity = rules.worst(told.severity, known.severity) if known else told.severity
        following.append(Following(kind.code, list(entry.bolts), severity, told.reason, known.pk if known else None))
    return sorted(following, key=lambda each: -rules.SEVERITY_ORDER[each.severity])


def _append(joint: Joint, inspection: Inspection, answer: Answer, actor: Person, now: datetime) -> None:
    loaded = answer.loaded
    record.append(
        site_id=joint.asset.site_id,
        deed="bolts.read",
        actor=actor,
        subject=inspection,
        content={
            "inspection": inspection.pk,
            "bolts": [asdict(each) for each in answer.seen],
            "unchecked": answer.unchecked,
            "moment_nmm": loaded.moment_nmm if loaded else None,
            "pull_n": loaded.pull_n if loaded else None,
            "expected_torque_nm": answer.tightening.torque_nm,
            "k": answer.tightening.k,
        },
        now=now,
        asset_id=joint.asset_id,
        joint_id=joint.pk,
    )
