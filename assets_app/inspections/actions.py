"""Looks are recorded and corrected here; what is done to a finding afterwards is in ``finding_actions``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from assets_app import events
from assets_app.inspections import hooks, inputs, judging, look_rules, rules
from assets_app.inspections.evidence_actions import add_evidence, joint_for, store, sweep_evidence, written_files
from assets_app.inspections.finding_actions import (
    close_finding,
    lapse_assessments,
    lower_severity,
    mark_repaired,
    raise_severity,
    sign_assessment,
)
from assets_app.inspections.inputs import FindingInput, PhotoInput, Report, Size
from assets_app.inspections.kinds import KINDS, LOST, Kind
from assets_app.inspections.models import Evidence, Finding, FindingSize, Inspection, Method
from assets_app.people.models import Person
from assets_app.people.queries import day_at, require_qualified
from assets_app.record import actions as record
from assets_app.record.queries import came_first
from assets_app.refusals import Conflict, NotFound, Unprocessable
from assets_app.register.models import Joint

__all__ = [
    "FindingInput",
    "Inspection",
    "PhotoInput",
    "add_evidence",
    "close_finding",
    "correct_inspection",
    "lapse_assessments",
    "lower_severity",
    "mark_repaired",
    "raise_severity",
    "record_inspection",
    "sign_assessment",
    "sweep_evidence",
]


@dataclass
class _Look:
    """One look while it is being written."""

    joint: Joint
    inspection: Inspection
    actor: Person
    now: datetime
    findings: list[Finding] = field(default_factory=list)
    judged_again: list[Finding] = field(default_factory=list)  # earlier ones that this look makes graver
    said: list[dict[str, Any]] = field(default_factory=list)  # for the record


def record_inspection(
    *,
    joint_id: int,
    method: str,
    inspected_at: datetime,
    result: str,
    actor: Person,
    now: datetime,
    conditions: str = Inspection.Conditions.NORMAL.value,
    findings: Sequence[FindingInput] = (),
    note: str = "",
    counter_total: float | None = None,
    photos: Sequence[PhotoInput] = (),
) -> Inspection:
    """Record one look at a joint: its findings with acceptance and severity, its photos, the entry in the record.

    A finding that names a ``finding_id`` is that finding measured again: it gets another size, its severity may rise
    and never falls. Refused: who may not or is not qualified, a day ahead or before commissioning, a result that does
    not go with the findings, and whatever ``inputs`` and ``photos`` refuse.
    """
    report = Report(
        method=method,
        inspected_at=inspected_at,
        result=result,
        conditions=conditions,
        note=note.strip(),
        counter_total=counter_total,
        findings=findings,
        photos=photos,
    )
    joint = joint_for(actor, _deed(method), joint_id)
    with written_files() as written, transaction.atomic():
        joint = _locked(joint)
        look_rules.check(report, joint, now)
        require_qualified(actor, method, joint.asset.site_id, day_at(joint.asset.site, inspected_at))
        look = _begin(report, joint, actor, now)
        _write_findings(look, findings)
        images = _write_photos(look, photos, written)
        _finish(look, images, "inspection.recorded")
    return look.inspection


def correct_inspection(
    *,
    inspection_id: int,
    reason: str,
    method: str,
    inspected_at: datetime,
    result: str,
    actor: Person,
    now: datetime,
    conditions: str = Inspection.Conditions.NORMAL.value,
    findings: Sequence[FindingInput] = (),
    note: str = "",
    counter_total: float | None = None,
) -> Inspection:
    """Put a look right by a new one that stands for it; the old one stays on file and no longer counts.

    Findings first seen in the old look stay as they are, open ones too: a look corrected to *nothing found* is refused
    (``findings_still_open``) until each of them is closed with its reason.
    """
    old = Inspection.objects.filter(pk=inspection_id).first()
    if old is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    report = Report(
        method=method,
        inspected_at=inspected_at,
        result=result,
        conditions=conditions,
        note=note.strip(),
        counter_total=counter_total,
        findings=findings,
    )
    joint = joint_for(actor, _deed(method), old.joint_id)
    if not reason.strip():
        raise Unprocessable("reason_needed", "Say what was wrong.", field="reason")
    with transaction.atomic():
        joint = _locked(joint)
        newer = Inspection.objects.filter(corrects=old).first()
        if newer is not None:
            said = "This look has been corrected already; correct the newer one."
            raise came_first("already_corrected", said, Inspection, newer.pk)
        look_rules.check(report, joint, now)
        require_qualified(actor, method, joint.asset.site_id, day_at(joint.asset.site, inspected_at))
        still_open = [finding for finding in old.findings.all() if finding.is_open]
        if still_open and result != Inspection.Result.FINDINGS:
            raise Conflict("findings_still_open", "Findings of this look are open. Close each with its reason first.")
        look = _begin(report, joint, actor, now, corrects=old)
        _write_findings(look, findings)
        _finish(look, [], "inspection.corrected", corrects=old.pk, reason=reason.strip())
    return look.inspection


def _deed(method: str) -> str:
    if method not in Method.values:
        raise Unprocessable("unknown_method", f"There is no method {method!r}.", field="method")
    return "bolt_check.record" if method == Method.BOLT_CHECK else "inspection.record"


def _locked(joint: Joint) -> Joint:
    Joint.objects.select_for_update().get(pk=joint.pk)
    return Joint.objects.select_related("asset__site", "weld", "bolt_group").get(pk=joint.pk)


# What is written ------------------------------------------------------------------------------------------------------


def _begin(report: Report, joint: Joint, actor: Person, now: datetime, *, corrects: Inspection | None = None) -> _Look:
    inspection = Inspection.objects.create(
        joint=joint,
        method=report.method,
        inspected_at=report.inspected_at,
        inspected_on=day_at(joint.asset.site, report.inspected_at),
        inspector=actor,
        conditions=report.conditions,
        result=report.result,
        counter_total=report.counter_total,
        note=report.note,
        corrects=corrects,
        recorded_at=now,
    )
    return _Look(joint=joint, inspection=inspection, actor=actor, now=now)


def _write_findings(look: _Look, entries: Sequence[FindingInput]) -> None:
    earlier = list(Finding.objects.select_for_update().filter(joint=look.joint))
    by_id = {finding.pk: finding for finding in earlier}
    lost = {number for one in earlier if one.is_open and one.kind in LOST for number in one.bolts}
    read = []
    for index, entry in enumerate(entries):
        where = f"findings[{index}]."
        known = None if entry.finding_id is None else _known(by_id, entry, where)
        kind = KINDS[known.kind] if known else inputs.kind_of(entry, look.joint, where)
        numbers = inputs.bolts_of(entry, kind, look.joint, where) if not known or entry.bolts else list(known.bolts)
        size = inputs.size_of(entry, kind, look.joint.asset.site, where)
        lost |= set(numbers) if kind.code in LOST else set()
        read.append((entry, where, known, kind, numbers, size))
    for entry, where, known, kind, numbers, size in read:
        verdict = judging.verdict(
            kind=kind,
            size=size,
            joint=look.joint,
            lost_bolts=sorted(lost),
            window_used=_window_used(look, kind, size),
            bolt_use=entry.bolt_use,
        )
        if known is None:
            finding = _new_finding(look, entry, kind, numbers, verdict, where)
        else:
            finding = _measured_again(look, known, kind, numbers, size, verdict, where)
        _write_size(look, finding, size)
        look.findings.append(finding)
        look.said.append(_said(finding, size))
    _judge_lost_again(look, earlier, lost)


def _judge_lost_again(look: _Look, earlier: Sequence[Finding], lost: set[int]) -> None:
    """Findings of bolts lost earlier, judged by all that are lost now: graver where the whole says so.

    As with a finding measured again, its severity may rise and never falls, and what was signed for fewer bolts ends.
    """
    mentioned = {finding.pk for finding in look.findings}
    for finding in earlier:
        if finding.pk in mentioned or not finding.is_open or finding.kind not in LOST:
            continue
        verdict = judging.verdict(kind=KINDS[finding.kind], size=Size(), joint=look.joint, lost_bolts=sorted(lost))
        if not rules.is_graver(verdict.severity, finding.severity_computed):
            continue
        finding.severity_computed = verdict.severity
        if rules.is_graver(verdict.severity, finding.severity):
            finding.severity = verdict.severity
            finding.severity_reason = f"More bolts are lost since it was last judged. {verdict.reason}"
        finding.state = Finding.State.OPEN
        finding.save()
        look.judged_again.append(finding)
        look.said.append(_said(finding, Size()))


def _window_used(look: _Look, kind: Kind, size: Size) -> float | None:
    if not kind.is_crack:
        return None
    return hooks.window_used(
        joint_id=look.joint.pk, kind=kind.code, length_mm=size.length_mm, depth_mm=size.depth_mm, now=look.now
    )


def _known(by_id: dict[int, Finding], entry: FindingInput, where: str) -> Finding:
    known = by_id.get(entry.finding_id or 0)
    if known is None:
        raise Unprocessable("other_joint", "That finding is not one of this joint.", field=f"{where}finding_id")
    if not known.is_open:
        message = f"That finding is {known.get_state_display()}; report what is there now as a new one."
        raise came_first("finding_not_open", message, Finding, known.pk, field=f"{where}finding_id")
    if entry.kind and str(entry.kind) != known.kind:
        message = "A finding does not change its kind; report another kind as a new finding."
        raise Unprocessable("other_kind", message, field=f"{where}kind")
    return known


def _new_finding(
    look: _Look, entry: FindingInput, kind: Kind, numbers: list[int], verdict: judging.Verdict, where: str
) -> Finding:
    return Finding.objects.create(
        joint=look.joint,
        inspection=look.inspection,
        kind=kind.code,
        place=entry.place,
        clock_deg=entry.clock_deg,
        position_mm=inputs.position_of(entry, look.joint.asset.site, where),
        bolts=numbers,
        severity=verdict.severity,
        severity_computed=verdict.severity,
        severity_reason=verdict.reason,
        accepted=verdict.accepted,
        acceptance_note=verdict.note,
        note=entry.note.strip(),
        found_on=look.inspection.inspected_on,
    )


def _measured_again(
    look: _Look, finding: Finding, kind: Kind, numbers: list[int], size: Size, verdict: judging.Verdict, where: str
) -> Finding:
    """Another size of a finding. Its severity may rise; what an engineer lowered holds only while it has not grown."""
    if kind.is_crack and size.length_mm is None and size.depth_mm is None:
        message = "Measure the crack again: whether it has grown decides everything."
        raise Unprocessable("size_needed", message, field=f"{where}size")
    if any(item.pk == finding.pk for item in look.findings):
        raise Unprocessable("twice_in_one_look", "One finding has one size a look.", field=f"{where}finding_id")
    grown = _has_grown(look, finding, size) or not set(numbers) <= set(finding.bolts)
    made_milder = rules.is_graver(finding.severity_computed, finding.severity)
    finding.bolts = sorted(set(finding.bolts) | set(numbers))
    finding.accepted, finding.acceptance_note = verdict.accepted, verdict.note
    grown = grown or rules.is_graver(verdict.severity, finding.severity_computed)
    finding.severity_computed = rules.worst(finding.severity_computed, verdict.severity)
    if rules.is_graver(finding.severity_computed, finding.severity) and (grown or not made_milder):
        finding.severity = finding.severity_computed
        finding.severity_reason = f"It has grown since it was last judged. {verdict.reason}"
    if grown:  # what was signed for the smaller one does not cover it
        finding.state = Finding.State.OPEN
    finding.save()
    return finding


def _has_grown(look: _Look, finding: Finding, size: Size) -> bool:
    """Whether the new size is beyond every earlier one that stood until now, or there is none to compare with."""
    corrected = Q(inspection__corrections=None) | Q(inspection=look.inspection.corrects_id)  # the latter: by this look
    standing = finding.sizes.filter(corrected)
    for column in ("length_mm", "depth_mm", "angle_deg"):
        new = getattr(size, column)
        if new is None:
            continue
        earlier = [value for value in standing.values_list(column, flat=True) if value is not None]
        if not earlier or new > max(earlier):
            return True
    return False


def _write_size(look: _Look, finding: Finding, size: Size) -> None:
    if not size.is_known:
        return
    FindingSize.objects.create(
        finding=finding,
        inspection=look.inspection,
        measured_on=look.inspection.inspected_on,
        length_mm=size.length_mm,
        depth_mm=size.depth_mm,
        angle_deg=size.angle_deg,
        counter_total=look.inspection.counter_total,
        as_typed=size.as_typed,
    )


def _write_photos(look: _Look, photos: Sequence[PhotoInput], written: list[str]) -> list[Evidence]:
    images = []
    for number, photo in enumerate(photos):
        finding = None
        if photo.finding_index is not None:
            if not 0 <= photo.finding_index < len(look.findings):
                message = f"Photo {number + 1} names a finding that is not in this look."
                raise Unprocessable("no_such_finding", message, field=f"photos[{number}].finding_index")
            finding = look.findings[photo.finding_index]
        evidence, _ = store(
            joint=look.joint,
            data=photo.data,
            name=photo.name,
            caption=photo.caption[:160],
            inspection=look.inspection,
            finding=finding,
            actor=look.actor,
            now=look.now,
            written=written,
        )
        images.append(evidence)
    return images


def _finish(look: _Look, images: list[Evidence], deed: str, **more: Any) -> None:
    inspection = look.inspection
    content = {
        "method": inspection.method,
        "inspected_at": inspection.inspected_at,
        "inspector": look.actor.display_name,
        "result": inspection.result,
        "conditions": inspection.conditions,
        "counter_total": inspection.counter_total,
        "note": inspection.note,
        "findings": look.said,
        "photos": [evidence.original_sha256 for evidence in images],
        **more,
    }
    record.append(
        site_id=look.joint.asset.site_id,
        deed=deed,
        actor=look.actor,
        subject=inspection,
        content=content,
        now=look.now,
        asset_id=look.joint.asset_id,
        joint_id=look.joint.pk,
    )
    events.inspection_recorded.send(
        sender=__name__,
        inspection=inspection,
        findings=[*look.findings, *look.judged_again],
        actor=look.actor,
        now=look.now,
    )


def _said(finding: Finding, size: Size) -> dict[str, Any]:
    return {
        "finding": finding.pk,
        "kind": finding.kind,
        "place": finding.place,
        "bolts": finding.bolts,
        "clock_deg": finding.clock_deg,
        "position_mm": finding.position_mm,
        "length_mm": size.length_mm,
        "depth_mm": size.depth_mm,
        "angle_deg": size.angle_deg,
        "found_on": finding.found_on,
        "severity": finding.severity,
        "severity_reason": finding.severity_reason,
        "accepted": finding.accepted,
        "acceptance": finding.acceptance_note,
        "note": finding.note,
    }
