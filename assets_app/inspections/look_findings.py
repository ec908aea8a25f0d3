"""The findings of a look while it is being written: new ones, earlier ones measured again, each judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Q

from assets_app.inspections import hooks, inputs, judging, rules
from assets_app.inspections.inputs import FindingInput, Size
from assets_app.inspections.kinds import KINDS, LOST, Kind
from assets_app.inspections.models import Finding, FindingSize, Inspection
from assets_app.inspections.queries import joined_into
from assets_app.people.models import Person
from assets_app.record.queries import came_first
from assets_app.refusals import Unprocessable
from assets_app.register.models import Joint


@dataclass
class Look:
    """One look while it is being written."""

    joint: Joint
    inspection: Inspection
    actor: Person
    now: datetime
    findings: list[Finding] = field(default_factory=list)
    judged_again: list[Finding] = field(default_factory=list)  # earlier ones that this look makes graver
    said: list[dict[str, Any]] = field(default_factory=list)  # for the record


def write_findings(look: Look, entries: Sequence[FindingInput]) -> None:
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
            _say_more(look, known, entry, where)
            finding = _measured_again(look, known, kind, numbers, size, verdict, where)
        _write_size(look, finding, size)
        look.findings.append(finding)
        look.said.append(_said(finding, size))
    _judge_lost_again(look, earlier, lost)


def _judge_lost_again(look: Look, earlier: Sequence[Finding], lost: set[int]) -> None:
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


def _window_used(look: Look, kind: Kind, size: Size) -> float | None:
    if not kind.is_crack:
        return None
    return hooks.window_used(
        joint_id=look.joint.pk, kind=kind.code, length_mm=size.length_mm, depth_mm=size.depth_mm, now=look.now
    )


def _known(by_id: dict[int, Finding], entry: FindingInput, where: str) -> Finding:
    known = by_id.get(entry.finding_id or 0)
    while known is not None and not known.is_open and (first := joined_into(known.pk)) is not None:
        known = by_id.get(first)  # a phone that was out of signal names it as it was then
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
    look: Look, entry: FindingInput, kind: Kind, numbers: list[int], verdict: judging.Verdict, where: str
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


def _say_more(look: Look, finding: Finding, entry: FindingInput, where: str) -> None:
    """What was said with the new size: the place where none was known yet, and the note with its day.

    A place that was given stays: of a crack that grew its middle moves, and the finding is known by where it was found.
    """
    position = inputs.position_of(entry, look.joint.asset.site, where)
    for name, value in (("place", entry.place), ("clock_deg", entry.clock_deg), ("position_mm", position)):
        if getattr(finding, name) in (None, ""):
            setattr(finding, name, value)
    note = entry.note.strip()
    if note and note not in finding.note:  # a corrected look says it again
        day = look.inspection.inspected_on
        finding.note = f"{finding.note}\n{day:%-d %b %Y}: {note}".strip()


def _measured_again(
    look: Look, finding: Finding, kind: Kind, numbers: list[int], size: Size, verdict: judging.Verdict, where: str
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


def _has_grown(look: Look, finding: Finding, size: Size) -> bool:
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


def _write_size(look: Look, finding: Finding, size: Size) -> None:
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
