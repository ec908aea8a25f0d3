"""The photos of a report, with the marks over them as the record holds them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from django.db.models import Q, QuerySet

from assets_app.inspections.marks_queries import shown
from assets_app.inspections.marks_rules import Mark, overlay, words
from assets_app.inspections.models import Evidence
from assets_app.record.models import RecordEntry
from assets_app.register.models import Joint
from schedules.reports.content import PrintedPhoto
from schedules.reports.quoting import LOOKS, Quoting

MOST_PHOTOS = 24  # a joint; the others are counted
MOST_PHOTOS_IN_ALL = 200  # a report: with 2000 looks 0.6 GB of memory at most while it is written
MARKED, STRUCK = "photo.marked", "photo.mark_struck"


class _Signed(NamedTuple):
    mark: Mark
    by: str


def photos_of(joint: Joint, rows: Sequence[RecordEntry]) -> QuerySet[Evidence]:
    return joint.evidence.filter(about(rows))


def about(rows: Sequence[RecordEntry]) -> Q:
    """Photos of the looks among these entries, or added by one of them."""
    looks = [row.subject_id for row in rows if row.deed in LOOKS]
    added = [row.subject_id for row in rows if row.deed == "evidence.added"]
    return Q(inspection__in=looks) | Q(pk__in=added)


def printed(
    photos: QuerySet[Evidence], rows: Iterable[RecordEntry], quoting: Quoting
) -> tuple[tuple[PrintedPhoto, ...], int]:
    """Photos in the order in which they came in, and how many more there are. Each says whether the record knows it."""
    known: set[str] = set()
    for row in rows:
        if row.deed == "evidence.added":
            quoting.entry(row)
        known |= set(row.facts.get("photos", ())) | {row.facts.get("sha256", "")}
    found = list(photos.select_related("inspection", "joint__asset__site").order_by("added_at", "pk"))
    room = max(min(MOST_PHOTOS, MOST_PHOTOS_IN_ALL - quoting.photos), 0)
    marks = _marks(found[:room], quoting)
    shown_here = tuple(
        _printed(photo, marks.get(photo.pk, []), in_record=photo.original_sha256 in known) for photo in found[:room]
    )
    quoting.photos += len(shown_here)
    return shown_here, len(found) - len(shown_here)


def _marks(photos: Sequence[Evidence], quoting: Quoting) -> dict[int, list[_Signed]]:
    """Photo -> the marks that stand by the record, in the order in which they were put on."""
    joints = {photo.joint_id for photo in photos}
    rows = RecordEntry.objects.filter(site=quoting.site, joint__in=joints, deed__in=(MARKED, STRUCK))
    ours = {photo.pk for photo in photos}
    found: dict[int, dict[int, _Signed]] = {}
    for row in rows.order_by("sequence"):
        facts = row.facts
        if facts["photo"] not in ours:
            continue
        quoting.entry(row)
        standing = found.setdefault(facts["photo"], {})
        if row.deed == STRUCK:
            standing.pop(row.subject_id, None)
        else:
            mark = Mark(**{name: facts[name] for name in ("shape", "x", "y", "x2", "y2", "text")})
            standing[row.subject_id] = _Signed(mark, row.actor_name)
    return {photo: list(standing.values()) for photo, standing in found.items()}


def _printed(photo: Evidence, signed: Sequence[_Signed], *, in_record: bool) -> PrintedPhoto:
    marks = [one.mark for one in signed]
    said = [shown(photo).label, *words(marks)]
    if marks:
        said.append(f"Marked by {', '.join(dict.fromkeys(one.by for one in signed))}")
    if not in_record:
        said.append("NOT IN THE RECORD: the entries printed here do not name this photo")
    svg = str(overlay(marks, photo.width, photo.height)) if marks else ""
    return PrintedPhoto(photo.view.name, photo.original_sha256, ". ".join(said), svg, photo.width, photo.height)
