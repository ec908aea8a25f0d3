"""Gathers what an inspection report says, from the record. Reads only; today plays no part in it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from django.db.models import Count, Q, QuerySet

from assets_app.inspections.models import Evidence
from assets_app.people.models import Person
from assets_app.record.models import RecordEntry
from assets_app.refusals import Unprocessable
from assets_app.register.models import Asset, Joint
from assets_app.register.queries import assets_in_sight, joints_in_sight, one
from engineering.figures import grouped
from schedules.reports.content import InspectionReport, JointPart, Signature
from schedules.reports.printed_photos import MOST_PHOTOS, MOST_PHOTOS_IN_ALL, about, photos_of, printed
from schedules.reports.quoting import LOOKS, WORK, Quoting, drawings, latest

# Measured on two busy cores: 200 looks take 1.8 s, 100 photos 1 s. More than this is written by a worker.
LOOKS_AT_ONCE, PHOTOS_AT_ONCE = 200, 100
MOST_LOOKS = 5000
MOST_DAYS = 3700
# Deeds that are signatures, and what the signature says.
SIGNED = WORK | {
    "finding.lowered": "Called a finding milder",
    "finding.assessed": "Signed an assessment",
    "finding.closed": "Closed a finding",
    "finding.joined": "Said that a finding is one found before",
    "joint.assessed": "Signed that the joint may stand",
    "hold.released": "Lifted a hold",
}
_TOLD = Q(deed__startswith="finding.") | Q(deed__startswith="hold.") | Q(deed="joint.assessed") | Q(deed__in=WORK)


@dataclass(frozen=True)
class Wanted:
    """Of what an inspection report is to tell; ``rows`` is the record of it, of all days."""

    asset: Asset
    joints: Sequence[Joint]
    rows: QuerySet[RecordEntry]
    subject: str
    since: date
    until: date


class Size(NamedTuple):
    looks: int
    photos: int

    @property
    def is_large(self) -> bool:
        return self.looks > LOOKS_AT_ONCE or self.photos > PHOTOS_AT_ONCE


def joint_report(person: Person, joint_id: int, since: date, until: date) -> InspectionReport:
    """What was seen at one joint from ``since`` to ``until``, both days included, on the site's clock; ``report_large``
    where that is more than is written while somebody waits."""
    return _at_once(wanted(person, since, until, joint_id=joint_id))


def asset_report(person: Person, asset_id: int, since: date, until: date) -> InspectionReport:
    """What was seen at the joints of one asset in a period, and at which nobody looked; refused as ``joint_report``."""
    return _at_once(wanted(person, since, until, asset_id=asset_id))


def wanted(
    person: Person, since: date, until: date, *, asset_id: int | None = None, joint_id: int | None = None
) -> Wanted:
    """Of a joint, or else of an asset, where ``person`` may see it."""
    if joint_id is not None:
        joint = one(joints_in_sight(person).select_related("asset__site"), joint_id)
        asset, joints, subject = joint.asset, [joint], f"{joint.tag} {joint.name}".strip()
        its = Q(joint=joint) | Q(asset=asset, joint=None, deed__startswith="hold.")
    else:
        asset = one(assets_in_sight(person).select_related("site"), asset_id or 0)
        joints = list(joints_in_sight(person).filter(asset=asset).order_by("tag", "pk"))
        its, subject = Q(asset=asset), f"all {len(joints)} joints"
    _check_period(since, until)
    return Wanted(asset, joints, RecordEntry.objects.filter(its, site=asset.site), subject, since, until)


def size(wanted: Wanted) -> Size:
    """How much it is; ``too_many_looks`` where it is more than a report holds."""
    quoting = Quoting(wanted.asset.site)
    told = wanted.rows.filter(deed__in=(*LOOKS, "evidence.added"))
    inside = [row for row in told if wanted.since <= quoting.day_of(row) <= wanted.until]
    looks = sum(row.deed in LOOKS for row in inside)
    if looks > MOST_LOOKS:
        message = (
            f"{grouped(looks)} looks fall in it, and a report holds {grouped(MOST_LOOKS)}: choose a shorter period."
        )
        raise Unprocessable("too_many_looks", message, field="since")
    found = Evidence.objects.filter(joint__in=[joint.pk for joint in wanted.joints]).filter(about(inside))
    counts = found.order_by().values("joint").annotate(photos=Count("pk")).values_list("photos", flat=True)
    return Size(looks, min(sum(min(count, MOST_PHOTOS) for count in counts), MOST_PHOTOS_IN_ALL))


def _at_once(wanted: Wanted) -> InspectionReport:
    told = size(wanted)
    if told.is_large:
        message = (
            f"{grouped(told.looks)} looks and {grouped(told.photos)} photos are too many to write while you wait "
            f"(more than {LOOKS_AT_ONCE} looks or {PHOTOS_AT_ONCE} photos). Have it written, and fetch it when "
            "it is done."
        )
        raise Unprocessable("report_large", message, looks=told.looks, photos=told.photos)
    return gather(wanted)


def gather(wanted: Wanted, told: Callable[[int, int], None] = lambda done, of: None) -> InspectionReport:
    """What the report says. ``told`` hears how many of how many joints are read."""
    asset, joints, since, until = wanted.asset, wanted.joints, wanted.since, wanted.until
    quoting = Quoting(asset.site)
    told_rows = wanted.rows.filter(_TOLD | Q(deed__in=LOOKS) | Q(deed="evidence.added"))
    entries = list(told_rows.select_related("joint").order_by("sequence"))
    corrected = {row.facts["corrects"]: row.sequence for row in entries if row.deed == "inspection.corrected"}
    inside = [row for row in entries if since <= quoting.day_of(row) <= until]
    looks = [row for row in inside if row.deed in LOOKS]
    by_joint: dict[int | None, list[RecordEntry]] = defaultdict(list)
    for row in inside:
        by_joint[row.joint_id].append(row)
    parts = []
    for number, joint in enumerate(joints, start=1):
        parts.append(_joint_part(joint, by_joint[joint.pk], corrected, quoting))
        told(number, len(joints))
    whole = by_joint[None]
    if whole:
        parts.append(_asset_part(asset, whole, quoting))
    shown_looks = {row.subject_id for row in looks}
    for row in entries:  # a correction that came after the period still changes what a look in it is worth
        if row.deed == "inspection.corrected" and row.facts["corrects"] in shown_looks:
            quoting.entry(row)
    looked_at = {row.joint_id for row in looks if row.subject_id not in corrected}
    return InspectionReport(
        head=quoting.head(),
        asset=str(asset),
        subject=wanted.subject,
        since=f"{since:%-d %b %Y}",
        until=f"{until:%-d %b %Y}",
        joints=tuple(part for part in parts if part is not None),
        without=tuple(joint.tag for joint in joints if joint.active and joint.pk not in looked_at),
        signatures=_signatures(inside, quoting),
    )


def _check_period(since: date, until: date) -> None:
    if until < since:
        raise Unprocessable("period_backwards", "The period ends before it begins.", field="until")
    if until - since > timedelta(days=MOST_DAYS):
        raise Unprocessable("period_too_long", "A report holds ten years at most.", field="since")


def _joint_part(
    joint: Joint, own: Sequence[RecordEntry], corrected: dict[int, int], quoting: Quoting
) -> JointPart | None:
    """None where the record says nothing of the joint in the period."""
    if not own:
        return None
    looks = [row for row in own if row.deed in LOOKS]
    standing = [row for row in looks if row.subject_id not in corrected]
    photos, left_out = printed(photos_of(joint, own), own, quoting)
    return JointPart(
        tag=joint.tag,
        name=joint.name,
        facts=_facts(joint),
        drawings=drawings(joint, latest(standing), quoting),
        looks=tuple(quoting.look(row, corrected) for row in looks),
        deeds=tuple(quoting.entry(row) for row in own if row.deed not in (*LOOKS, "evidence.added")),
        photos=photos,
        photos_left_out=left_out,
    )


def _asset_part(asset: Asset, rows: Sequence[RecordEntry], quoting: Quoting) -> JointPart:
    deeds = tuple(quoting.entry(row) for row in rows if row.deed not in (*LOOKS, "evidence.added"))
    return JointPart(asset.tag, "the asset as a whole", (), (), (), deeds, ())


def _facts(joint: Joint) -> tuple[tuple[str, str], ...]:
    return (
        ("Kind", joint.get_kind_display()),
        ("Load path", joint.get_load_path_display()),
        ("Where", joint.position or "not known"),
    )


def _signatures(rows: Iterable[RecordEntry], quoting: Quoting) -> tuple[Signature, ...]:
    signed = []
    for row in rows:
        where = f", {row.joint.tag}" if row.joint else ""
        if row.deed in LOOKS:
            method = row.facts["method"]
            signed.append(quoting.signature(row, f"Look by {method}{where}", method))
        elif row.deed in SIGNED:
            signed.append(quoting.signature(row, f"{SIGNED[row.deed]}{where}"))
    return tuple(signed)
