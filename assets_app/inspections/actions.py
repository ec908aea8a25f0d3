"""Looks are recorded and corrected here; what is done to a finding afterwards is in ``finding_actions``."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from assets_app import events
from assets_app.inspections import look_rules
from assets_app.inspections.evidence_actions import add_evidence, joint_for, store, sweep_evidence, written_files
from assets_app.inspections.finding_actions import (
    close_finding,
    join_finding,
    lapse_assessments,
    lower_severity,
    mark_repaired,
    raise_severity,
    sign_assessment,
)
from assets_app.inspections.inputs import FindingInput, PhotoInput, Report
from assets_app.inspections.kinds import KINDS
from assets_app.inspections.look_findings import Look, write_findings
from assets_app.inspections.models import Evidence, Inspection, Method
from assets_app.people.models import Person
from assets_app.people.queries import day_at, require_qualified
from assets_app.people.rules import who_could
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
    "join_finding",
    "lapse_assessments",
    "lower_severity",
    "mark_repaired",
    "raise_severity",
    "record_inspection",
    "sign_assessment",
    "sweep_evidence",
]


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
    joint = joint_for(actor, _right_to(method), joint_id)
    with written_files() as written, transaction.atomic():
        joint = _locked(joint)
        look_rules.check(report, joint, now)
        require_qualified(actor, method, joint.asset.site_id, day_at(joint.asset.site, inspected_at))
        look = _begin(report, joint, actor, now)
        write_findings(look, findings)
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
    joint = joint_for(actor, _right_to(method), old.joint_id)
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
        if result != Inspection.Result.FINDINGS:
            _require_closed(old)
        look = _begin(report, joint, actor, now, corrects=old)
        write_findings(look, findings)
        _finish(look, [], "inspection.corrected", corrects=old.pk, reason=reason.strip())
    return look.inspection


def _require_closed(old: Inspection) -> None:
    still_open = [finding for finding in old.findings.order_by("pk") if finding.is_open]
    if not still_open:
        return
    named = "; ".join(
        f"{KINDS[each.kind].words} found on {each.found_on:%-d %b %Y}, {each.severity}" for each in still_open
    )
    raise Conflict(
        "findings_still_open",
        f"Open from this look: {named}. Close each with its reason first. {who_could('finding.close').capitalize()} "
        "could; a grave one only an engineer.",
        findings=[each.pk for each in still_open],
    )


def right_to_look(sent: object) -> str:
    """The deed of the table of roles that the look described by ``sent`` is, however little that says."""
    method = sent.get("method") if isinstance(sent, dict) else None
    return "bolt_check.record" if method == Method.BOLT_CHECK.value else "inspection.record"


def _right_to(method: str) -> str:
    if method not in Method.values:
        raise Unprocessable("unknown_method", f"There is no method {method!r}.", field="method")
    return right_to_look({"method": method})


def _locked(joint: Joint) -> Joint:
    Joint.objects.select_for_update().get(pk=joint.pk)
    return Joint.objects.select_related("asset__site", "weld", "bolt_group").get(pk=joint.pk)


# What is written ------------------------------------------------------------------------------------------------------


def _begin(report: Report, joint: Joint, actor: Person, now: datetime, *, corrects: Inspection | None = None) -> Look:
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
    return Look(joint=joint, inspection=inspection, actor=actor, now=now)


def _write_photos(look: Look, photos: Sequence[PhotoInput], written: list[str]) -> list[Evidence]:
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


def _finish(look: Look, images: list[Evidence], deed: str, **more: Any) -> None:
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
