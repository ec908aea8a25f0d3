"""Photos come in. The original is kept, byte for byte, under its hash; it is evidence and is served by no address.

Only the redrawn copy (``photos.read``) is ever shown: it carries no position. The files are written inside the
transaction and removed again when it fails; what a crash leaves behind is found by ``sweep_evidence``.
"""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import TypeVar

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from assets_app.inspections import photos
from assets_app.inspections.models import Evidence, Finding, Inspection
from assets_app.people.models import Person
from assets_app.people.queries import require
from assets_app.record import actions as record
from assets_app.refusals import NotFound, Unprocessable
from assets_app.register.models import Joint

FOLDER = "evidence"
_Row = TypeVar("_Row", Inspection, Finding)


def add_evidence(
    *,
    joint_id: int,
    data: bytes,
    actor: Person,
    now: datetime,
    name: str = "",
    caption: str = "",
    inspection_id: int | None = None,
    finding_id: int | None = None,
) -> Evidence:
    """Add one photo to a joint, and to a look or a finding of it. The same photo sent again is the first one.

    Refused as ``photos.read`` says, or ``other_joint`` where look or finding belong to another joint.
    """
    joint = joint_for(actor, "evidence.add", joint_id)
    if len(caption) > 160:
        raise Unprocessable("caption_too_long", "A caption may have at most 160 characters.", field="caption")
    with written_files() as written, transaction.atomic():
        Joint.objects.select_for_update().get(pk=joint.pk)
        inspection = _of_joint(Inspection, inspection_id, joint, "inspection")
        finding = _of_joint(Finding, finding_id, joint, "finding")
        evidence, fresh = store(
            joint=joint,
            data=data,
            name=name,
            caption=caption,
            inspection=inspection,
            finding=finding,
            actor=actor,
            now=now,
            written=written,
        )
        if fresh:
            content = {"sha256": evidence.original_sha256, "caption": caption, "taken_at": evidence.taken_at}
            content |= {"inspection": inspection_id, "finding": finding_id}
            record.append(
                site_id=joint.asset.site_id,
                deed="evidence.added",
                actor=actor,
                subject=evidence,
                content=content,
                now=now,
                asset_id=joint.asset_id,
                joint_id=joint.pk,
            )
    return evidence


def store(
    *,
    joint: Joint,
    data: bytes,
    name: str,
    caption: str,
    inspection: Inspection | None,
    finding: Finding | None,
    actor: Person,
    now: datetime,
    written: list[str],
) -> tuple[Evidence, bool]:
    """The row and its two files, and whether it is new; for the actions of this capability, in their transaction."""
    photo = photos.read(data, name=name, zone=joint.asset.site.time_zone)
    digest = hashlib.sha256(data).hexdigest()
    known = Evidence.objects.filter(joint=joint, original_sha256=digest, inspection=inspection, finding=finding).first()
    if known is not None:
        return known, False
    own = uuid.uuid4().hex
    evidence = Evidence(
        joint=joint,
        inspection=inspection,
        finding=finding,
        original_sha256=digest,
        taken_at=photo.taken_at,
        added_by=actor,
        added_at=now,
        caption=caption,
    )
    evidence.original.save(f"{own}.{photo.ending}", ContentFile(data), save=False)
    written.append(evidence.original.name)
    evidence.view.save(f"{own}.jpg", ContentFile(photo.view), save=False)
    written.append(evidence.view.name)
    evidence.width, evidence.height = photo.width, photo.height
    evidence.save(force_insert=True)
    return evidence, True


@contextmanager
def written_files() -> Iterator[list[str]]:
    """Names of the files written inside; they are removed again when the block fails."""
    written: list[str] = []
    try:
        yield written
    except BaseException:
        for name in written:
            default_storage.delete(name)
        raise


def read_upload(upload: UploadedFile) -> bytes:
    """The bytes of an upload, refused by its size before it is read into memory."""
    if upload.size is None or upload.size > photos.MOST_BYTES:
        limit = photos.MOST_BYTES // 1024**2
        raise Unprocessable("photo_too_large", f"A photo may have at most {limit} MB.", field="photo")
    return upload.read()


def sweep_evidence(*, now: datetime, older_than: timedelta = timedelta(days=1), dry_run: bool = False) -> list[str]:
    """Remove files that no row knows and that are older than a day (left by a crash between file and commit)."""
    known = set(Evidence.objects.values_list("original", flat=True)) | set(
        Evidence.objects.values_list("view", flat=True)
    )
    stray = [
        name
        for name in _files(FOLDER)
        if name not in known and default_storage.get_modified_time(name) < now - older_than
    ]
    if not dry_run:
        for name in stray:
            default_storage.delete(name)
    return stray


def joint_for(actor: Person, deed: str, joint_id: int) -> Joint:
    """The joint, after making sure that ``actor`` may do ``deed`` there; ``NotFound`` hides what is out of sight."""
    joint = Joint.objects.select_related("asset__site", "weld", "bolt_group").filter(pk=joint_id).first()
    if joint is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    require(actor, deed, joint.asset.site_id)
    return joint


def _of_joint(model: type[_Row], pk: int | None, joint: Joint, field: str) -> _Row | None:
    if pk is None:
        return None
    row = model.objects.filter(pk=pk, joint=joint).first()
    if row is None:
        raise Unprocessable("other_joint", f"That {field} does not belong to {joint.tag}.", field=field)
    return row


def _files(folder: str) -> Iterator[str]:
    try:
        folders, files = default_storage.listdir(folder)
    except FileNotFoundError:
        return
    for name in files:
        yield f"{folder}/{name}"
    for name in folders:
        yield from _files(f"{folder}/{name}")
