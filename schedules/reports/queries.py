"""Gathers what a report says, from the record. Reads only; today plays no part in it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, NamedTuple

from django.db.models import Count, Q, QuerySet

from assets_app.inspections.marks_queries import plain, shown, with_marks
from assets_app.inspections.marks_rules import overlay, words
from assets_app.inspections.models import Evidence
from assets_app.people.models import Person
from assets_app.record.models import RecordEntry
from assets_app.record.queries import came_first
from assets_app.refusals import Conflict, Unprocessable
from assets_app.register.models import Asset, Joint
from assets_app.register.queries import assets_in_sight, joints_in_sight, one
from schedules.reports.content import Certificate, Entry, Head, InspectionReport, JointPart, PrintedPhoto, Signature
from schedules.reports.quoting import LOOKS, Quoting, drawings, latest
from schedules.work.models import Hold, WorkOrder
from schedules.work.queries import hold_in_sight, holds_in_sight, who_lifts

# Measured on two busy cores: 200 looks take 1.8 s, 100 photos 1 s. More than this is written by a worker.
LOOKS_AT_ONCE, PHOTOS_AT_ONCE = 200, 100
MOST_LOOKS = 5000
MOST_DAYS = 3700
MOST_PHOTOS = 24  # a joint; the others are counted
MOST_PHOTOS_IN_ALL = 200  # a report: with 2000 looks 0.6 GB of memory at most while it is written
WORK = {"order.finished": "Did the work", "order.verified": "Verified the work"}
# Deeds that are signatures, and what the signature says.
SIGNED = WORK | {
    "finding.lowered": "Called a finding milder",
    "finding.assessed": "Signed an assessment",
    "finding.closed": "Closed a finding",
    "joint.assessed": "Signed that the joint may stand",
    "hold.released": "Lifted a hold",
}
_TOLD = Q(deed__startswith="finding.") | Q(deed__startswith="hold.") | Q(deed="joint.assessed") | Q(deed__in=WORK)


# The inspection report ------------------------------------------------------------------------------------------------


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
        message = f"{looks} looks fall in it, and a report holds {MOST_LOOKS}: choose a shorter period."
        raise Unprocessable("too_many_looks", message, field="since")
    found = Evidence.objects.filter(joint__in=[joint.pk for joint in wanted.joints]).filter(_about(inside))
    counts = found.order_by().values("joint").annotate(photos=Count("pk")).values_list("photos", flat=True)
    return Size(looks, min(sum(min(count, MOST_PHOTOS) for count in counts), MOST_PHOTOS_IN_ALL))


def _at_once(wanted: Wanted) -> InspectionReport:
    told = size(wanted)
    if told.is_large:
        message = (
            f"{told.looks} looks and {told.photos} photos are too many to write while you wait (more than "
            f"{LOOKS_AT_ONCE} looks or {PHOTOS_AT_ONCE} photos). Have it written, and fetch it when it is done."
        )
        raise Unprocessable("report_large", message, looks=told.looks, photos=told.photos)
    return gather(wanted)


def gather(wanted: Wanted, told: Callable[[int, int], None] = lambda done, of: None) -> InspectionReport:
    """What the report says. ``told`` hears how many of how many joints are read."""
    asset, joints, since, until = wanted.asset, wanted.joints, wanted.since, wanted.until
    quoting = Quoting(asset.site)
    about = wanted.rows.filter(_TOLD | Q(deed__in=LOOKS) | Q(deed="evidence.added"))
    entries = list(about.select_related("joint").order_by("sequence"))
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
        head=_head(quoting),
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
    printed = tuple(quoting.look(row, corrected) for row in looks)
    standing = [row for row in looks if row.subject_id not in corrected]
    photos, left_out = _photos(_photos_of(joint, own), own, quoting)
    return JointPart(
        tag=joint.tag,
        name=joint.name,
        facts=_facts(joint),
        drawings=drawings(joint, latest(standing), quoting),
        looks=printed,
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


def _head(quoting: Quoting) -> Head:
    newest = quoting.newest
    number, digest = (newest.sequence, newest.hash) if newest else (0, "")
    return Head(quoting.site.name, quoting.site.time_zone, number, digest)


# Photos ---------------------------------------------------------------------------------------------------------------


def _photos_of(joint: Joint, rows: Sequence[RecordEntry]) -> QuerySet[Evidence]:
    return joint.evidence.filter(_about(rows))


def _about(rows: Sequence[RecordEntry]) -> Q:
    """Photos of the looks among these entries, or added by one of them."""
    looks = [row.subject_id for row in rows if row.deed in LOOKS]
    added = [row.subject_id for row in rows if row.deed == "evidence.added"]
    return Q(inspection__in=looks) | Q(pk__in=added)


def _photos(
    photos: QuerySet[Evidence], rows: Iterable[RecordEntry], quoting: Quoting
) -> tuple[tuple[PrintedPhoto, ...], int]:
    """Photos in the order in which they came in, and how many more there are. Each says whether the record knows it."""
    known: set[str] = set()
    for row in rows:
        if row.deed == "evidence.added":
            quoting.entry(row)
        known |= set(row.facts.get("photos", ())) | {row.facts.get("sha256", "")}
    found = list(with_marks(photos.order_by("added_at", "pk")))
    room = max(min(MOST_PHOTOS, MOST_PHOTOS_IN_ALL - quoting.photos), 0)
    printed = tuple(_printed(photo, photo.original_sha256 in known) for photo in found[:room])
    quoting.photos += len(printed)
    return printed, len(found) - len(printed)


def _printed(photo: Evidence, in_record: bool) -> PrintedPhoto:
    marks = plain(photo.marks_now)
    said = [shown(photo).label, *words(marks)]
    if marks:
        said.append(f"Marked by {', '.join(dict.fromkeys(str(mark.by) for mark in photo.marks_now))}")
    if not in_record:
        said.append("NOT IN THE RECORD: the entries printed here do not name this photo")
    svg = str(overlay(marks, photo.width, photo.height)) if marks else ""
    return PrintedPhoto(photo.view.name, photo.original_sha256, ". ".join(said), svg, photo.width, photo.height)


# The return-to-service certificate ------------------------------------------------------------------------------------


def certificate(person: Person, hold_id: int) -> Certificate:
    """What the record says of a hold that was lifted. ``Conflict`` (``hold_stands``) while it stands,
    ``not_in_record`` where the record does not know of its release."""
    hold = hold_in_sight(person, hold_id)
    if hold.released_at is None:
        lifts = who_lifts(hold.site_id) or "nobody named yet"
        said = f"The hold still stands: there is nothing to certify until it is lifted. Who lifts holds here: {lifts}."
        raise came_first("hold_stands", said, Hold, hold.pk, deed="hold.placed")
    quoting = Quoting(hold.site)
    site_rows = RecordEntry.objects.filter(site=hold.site).select_related("joint").order_by("sequence")
    own = {row.deed: row for row in site_rows.filter(subject_kind="hold", subject_id=hold.pk)}
    placed, lifted = own.get("hold.placed"), own.get("hold.released")
    if placed is None or lifted is None:
        raise Conflict("not_in_record", "The record does not hold both ends of this hold: nothing can be certified.")
    rows = site_rows.filter(sequence__lte=lifted.sequence)
    looks = _looks_between(hold, rows, placed.sequence)
    story = list(rows.filter(subject_kind="finding", subject_id=hold.finding_id)) if hold.finding_id else []
    work = _work_of(hold, rows)
    found = _finding_looks(hold, rows)
    corrected = _corrections(site_rows, looks)
    photos, left_out = _certificate_photos(hold, rows, quoting)
    signatures = [quoting.signature(placed, "Placed the hold")]
    signatures += [quoting.signature(row, WORK[row.deed]) for row in work]
    signatures += [quoting.signature(row, f"Look by {row.facts['method']}", row.facts["method"]) for row in looks]
    signatures += [quoting.signature(row, "Signed an assessment") for row in story if row.deed == "finding.assessed"]
    signatures.append(quoting.signature(lifted, "Lifted the hold"))
    return Certificate(
        number=hold.pk,
        asset=str(hold.asset),
        subject=f"{hold.joint.tag} {hold.joint.name}".strip() if hold.joint else "the asset as a whole",
        held=quoting.entry(placed),
        reason=placed.facts.get("reason", ""),
        released=quoting.entry(lifted),
        release_reason=lifted.facts["reason"],
        release_evidence=lifted.facts["evidence"],
        finding=_finding_facts(hold, found, quoting),
        story=tuple(quoting.entry(row) for row in story),
        work=tuple(_work_entry(row, quoting) for row in work),
        looks=tuple(quoting.look(row, corrected) for row in looks),
        drawings=drawings(hold.joint, found, quoting) if hold.joint else (),
        photos=photos,
        photos_left_out=left_out,
        standing=_standing(person, hold, quoting),
        signatures=tuple(signatures),
        limits=_limits(hold, story, work),
        head=_head(quoting),
    )


def _looks_between(hold: Hold, rows: QuerySet[RecordEntry], first: int) -> list[RecordEntry]:
    if hold.joint_id is None:
        return list(rows.filter(deed__in=LOOKS, asset=hold.asset, sequence__gt=first))
    return list(rows.filter(deed__in=LOOKS, joint=hold.joint, sequence__gt=first))


def _corrections(rows: QuerySet[RecordEntry], looks: Sequence[RecordEntry]) -> dict[int, int]:
    """Look -> the entry that corrects it, whenever that was written."""
    own = {row.subject_id for row in looks}
    found = rows.filter(deed="inspection.corrected", joint__in={row.joint_id for row in looks})
    return {row.facts["corrects"]: row.sequence for row in found if row.facts["corrects"] in own}


def _finding_looks(hold: Hold, rows: QuerySet[RecordEntry]) -> list[dict[str, Any]]:
    """The finding that was held for, as last measured before the hold was lifted."""
    if hold.finding_id is None or hold.joint_id is None:
        return []
    told = latest(rows.filter(deed__in=LOOKS, joint=hold.joint))
    return [one for one in told if one["finding"] == hold.finding_id]


def _finding_facts(hold: Hold, found: Sequence[dict[str, Any]], quoting: Quoting) -> tuple[tuple[str, str], ...]:
    if hold.finding is None:
        return ()
    seen = quoting.finding(found[0]) if found else None
    facts = [("Finding", f"{seen.number}: {seen.words}" if seen else hold.finding.kind)]
    facts += [("Where", seen.where), ("Last measured", seen.size)] if seen else []
    facts.append(("State now", f"{hold.finding.get_state_display()}; severity {hold.finding.severity}"))
    return tuple(facts)


def _work_of(hold: Hold, rows: QuerySet[RecordEntry]) -> list[RecordEntry]:
    """Repairs and tightening on what was held, done or verified before it was lifted: for its finding, or since."""
    orders = WorkOrder.objects.exclude(kind=WorkOrder.Kind.INSPECT).exclude(done_at=None)
    here = orders.filter(joint=hold.joint) if hold.joint_id else orders.filter(asset=hold.asset)
    ours = Q(done_at__gte=hold.placed_at) | (Q(finding=hold.finding) if hold.finding_id else Q(pk=None))
    ids = list(here.filter(ours).values_list("pk", flat=True))
    return list(rows.filter(subject_kind="workorder", subject_id__in=ids, deed__in=WORK))


def _work_entry(row: RecordEntry, quoting: Quoting) -> Entry:
    order = WorkOrder.objects.get(pk=row.subject_id)
    entry = quoting.entry(row)
    words = f"{entry.words} (order {order.number}, {order.title})"
    return Entry(entry.sequence, entry.hash, entry.who, entry.when, words)


def _certificate_photos(
    hold: Hold, rows: QuerySet[RecordEntry], quoting: Quoting
) -> tuple[tuple[PrintedPhoto, ...], int]:
    if hold.joint is None:
        return (), 0
    own = list(rows.filter(joint=hold.joint, deed__in=(*LOOKS, "evidence.added")))
    about = Q(added_at__gte=hold.placed_at, added_at__lte=hold.released_at)
    if hold.finding_id:
        about |= Q(finding=hold.finding, added_at__lte=hold.released_at)
    return _photos(_photos_of(hold.joint, own).filter(about), own, quoting)


def _standing(person: Person, hold: Hold, quoting: Quoting) -> tuple[str, ...]:
    others = holds_in_sight(person).filter(asset=hold.asset, released_at=None).exclude(pk=hold.pk)
    return tuple(
        f"{other.joint.tag if other.joint else 'the asset as a whole'}, since {quoting.when(other.placed_at)}: "
        f"{other.reason}"
        for other in others.order_by("placed_at", "pk")
    )


def _limits(hold: Hold, story: Sequence[RecordEntry], work: Sequence[RecordEntry]) -> tuple[str, ...]:
    """What a reader must not read into it."""
    said = ["It says that this hold was lifted, by whom and on what evidence. It is no approval of the asset."]
    assessed = [row for row in story if row.deed == "finding.assessed"]
    if assessed:
        said.append(f"The finding may stand until {assessed[-1].facts.get('ends_on')} only, as an engineer signed.")
    if not any(row.deed == "order.finished" for row in work):
        said.append("The record holds no repair or tightening on it between the hold and its lifting.")
    elif not any(row.deed == "order.verified" for row in work):
        said.append("The work done was not verified in the record before the hold was lifted.")
    return tuple(said)
