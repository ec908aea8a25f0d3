"""Marks on photos: put on, and struck off again with a reason. Nothing is edited."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction

from assets_app.inspections import marks_rules
from assets_app.inspections.evidence_actions import joint_for
from assets_app.inspections.marks_models import PhotoMark, StruckMark
from assets_app.inspections.models import Evidence
from assets_app.people.models import Person
from assets_app.record import actions as record
from assets_app.record.queries import came_first
from assets_app.refusals import Conflict, NotFound, Unprocessable


def mark_photo(
    *,
    evidence_id: int,
    shape: str,
    x: float,
    y: float,
    actor: Person,
    now: datetime,
    x2: float | None = None,
    y2: float | None = None,
    text: str = "",
) -> PhotoMark:
    """Put one mark on a photo. Refused as ``marks_rules.check`` says, or ``too_many_marks``."""
    evidence = _evidence(evidence_id, actor)
    mark = marks_rules.Mark(shape=shape, x=x, y=y, x2=x2, y2=y2, text=text.strip())
    if shape == PhotoMark.Shape.TEXT:
        mark = marks_rules.Mark(shape=shape, x=x, y=y, text=text.strip())
    marks_rules.check(mark)
    with transaction.atomic():
        Evidence.objects.select_for_update().get(pk=evidence.pk)
        if PhotoMark.objects.filter(evidence=evidence, struck=None).count() >= marks_rules.MOST_MARKS:
            message = f"A photo carries at most {marks_rules.MOST_MARKS} marks. Strike one off first."
            raise Conflict("too_many_marks", message)
        row = PhotoMark.objects.create(
            evidence=evidence, shape=mark.shape, x=x, y=y, x2=mark.x2, y2=mark.y2, text=mark.text, by=actor, at=now
        )
        facts = {name: getattr(row, name) for name in ("shape", "x", "y", "x2", "y2", "text")}
        _write_down("photo.marked", row, actor, now, **facts)
    return row


def strike_mark(*, mark_id: int, reason: str, actor: Person, now: datetime) -> StruckMark:
    """Strike a mark off: it is no longer shown, and stays on file. Refused: ``reason_needed``, ``already_struck``."""
    mark = PhotoMark.objects.select_related("evidence").filter(pk=mark_id).first()
    if mark is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    _evidence(mark.evidence_id, actor)
    if not reason.strip():
        raise Unprocessable("reason_needed", "Say what was wrong with the mark.", field="reason")
    with transaction.atomic():
        PhotoMark.objects.select_for_update().get(pk=mark.pk)
        if StruckMark.objects.filter(mark=mark).exists():
            raise came_first("already_struck", "This mark was struck off already.", PhotoMark, mark.pk)
        struck = StruckMark.objects.create(mark=mark, reason=reason.strip()[:200], by=actor, at=now)
        _write_down("photo.mark_struck", mark, actor, now, reason=struck.reason)
    return struck


def _evidence(evidence_id: int, actor: Person) -> Evidence:
    evidence = Evidence.objects.select_related("joint").filter(pk=evidence_id).first()
    if evidence is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    joint_for(actor, "evidence.add", evidence.joint_id)
    return evidence


def _write_down(deed: str, mark: PhotoMark, actor: Person, now: datetime, **facts: Any) -> None:
    joint = mark.evidence.joint
    record.append(
        site_id=joint.asset.site_id,
        deed=deed,
        actor=actor,
        subject=mark,
        content={"photo": mark.evidence_id, "sha256": mark.evidence.original_sha256, **facts},
        now=now,
        asset_id=joint.asset_id,
        joint_id=joint.pk,
    )
