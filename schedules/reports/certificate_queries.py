"""Gathers what a return-to-service certificate says: from the entries of the record, not from rows that may change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet

from assets_app.inspections.models import Finding
from assets_app.people.models import Person
from assets_app.record.models import RecordEntry
from assets_app.record.queries import came_first
from assets_app.refusals import Conflict
from schedules.reports.content import NOT_KNOWN, Certificate, Entry, PrintedPhoto
from schedules.reports.printed_photos import photos_of, printed
from schedules.reports.quoting import LOOKS, WORK, Quoting, drawings, latest
from schedules.work.models import Hold
from schedules.work.queries import hold_in_sight, who_lifts


@dataclass(frozen=True)
class _Ends:
    """Both ends of a hold in the record; ``rows`` is the record of its site."""

    rows: QuerySet[RecordEntry]
    placed: RecordEntry
    lifted: RecordEntry

    @property
    def finding(self) -> int | None:
        number: int | None = self.placed.facts.get("finding")
        return number

    @property
    def here(self) -> QuerySet[RecordEntry]:
        """Of what was held, the joint or the whole asset, until the hold was lifted."""
        held = Q(joint=self.placed.joint_id) if self.placed.joint_id else Q(asset=self.placed.asset_id)
        return self.rows.filter(held, sequence__lte=self.lifted.sequence)


def certificate(person: Person, hold_id: int) -> Certificate:
    """What the record says of a hold that was lifted. ``Conflict`` (``hold_stands``) while it stands,
    ``not_in_record`` where the record does not know of its release."""
    hold = hold_in_sight(person, hold_id)
    if hold.released_at is None:
        lifts = who_lifts(hold.site_id) or "nobody named yet"
        said = f"The hold still stands: there is nothing to certify until it is lifted. Who lifts holds here: {lifts}."
        raise came_first("hold_stands", said, Hold, hold.pk, deed="hold.placed")
    quoting, ends = Quoting(hold.site), _ends(hold)
    placed, lifted, joint = ends.placed, ends.lifted, ends.placed.joint
    looks = list(ends.here.filter(deed__in=LOOKS, sequence__gt=placed.sequence))
    named = _naming(ends.here, ends.finding)
    story = list(ends.here.filter(subject_kind="finding", subject_id=ends.finding)) if ends.finding else []
    work = _work(ends)
    seen = _as_last_seen(named, ends.finding)
    corrected = _corrections(ends.rows, looks)
    photos, left_out = _photos(ends, quoting)
    signatures = [quoting.signature(placed, "Placed the hold")]
    signatures += [quoting.signature(row, WORK[row.deed]) for row in work]
    signatures += [quoting.signature(row, f"Look by {row.facts['method']}", row.facts["method"]) for row in looks]
    signatures += [quoting.signature(row, "Signed an assessment") for row in story if row.deed == "finding.assessed"]
    signatures.append(quoting.signature(lifted, "Lifted the hold"))
    return Certificate(
        number=hold.pk,
        asset=str(placed.asset),
        subject=f"{joint.tag} {joint.name}".strip() if joint else "the asset as a whole",
        held=quoting.entry(placed),
        reason=placed.facts.get("reason", ""),
        released=quoting.entry(lifted),
        release_reason=lifted.facts["reason"],
        release_evidence=lifted.facts["evidence"],
        finding=_finding_facts(ends, seen, [*story, *named], quoting),
        story=tuple(quoting.entry(row) for row in story),
        since=tuple(quoting.entry(row) for row in _since(ends)),
        work=tuple(_work_entry(row, quoting) for row in work),
        looks=tuple(quoting.look(row, corrected) for row in looks),
        drawings=drawings(joint, seen, quoting) if joint else (),
        photos=photos,
        photos_left_out=left_out,
        standing=_standing(ends, quoting),
        signatures=tuple(signatures),
        limits=_limits(story, work),
        head=quoting.head(),
    )


def _ends(hold: Hold) -> _Ends:
    rows = RecordEntry.objects.filter(site=hold.site).select_related("asset", "joint__asset").order_by("sequence")
    own = {row.deed: row for row in rows.filter(subject_kind="hold", subject_id=hold.pk)}
    placed, lifted = own.get("hold.placed"), own.get("hold.released")
    if placed is None or lifted is None:
        raise Conflict("not_in_record", "The record does not hold both ends of this hold: nothing can be certified.")
    return _Ends(rows, placed, lifted)


def _corrections(rows: QuerySet[RecordEntry], looks: Sequence[RecordEntry]) -> dict[int, int]:
    """Look -> the entry that corrects it, whenever that was written."""
    own = {row.subject_id for row in looks}
    found = rows.filter(deed="inspection.corrected", joint__in={row.joint_id for row in looks})
    return {row.facts["corrects"]: row.sequence for row in found if row.facts["corrects"] in own}


# The finding ----------------------------------------------------------------------------------------------------------


def _naming(rows: QuerySet[RecordEntry], finding: int | None) -> list[RecordEntry]:
    """Looks that speak of the finding and were not corrected among these entries."""
    if finding is None:
        return []
    looks = list(rows.filter(deed__in=LOOKS))
    corrected = {row.facts["corrects"] for row in looks if row.deed == "inspection.corrected"}
    return [row for row in looks if row.subject_id not in corrected and _told(row, finding)]


def _told(row: RecordEntry, finding: int) -> dict[str, Any]:
    """What a look says of the finding; empty where it says nothing."""
    return next((one for one in row.facts.get("findings", ()) if one["finding"] == finding), {})


def _as_last_seen(looks: Sequence[RecordEntry], finding: int | None) -> list[dict[str, Any]]:
    return [one for one in latest(looks) if one["finding"] == finding]


def _finding_facts(
    ends: _Ends, seen: Sequence[dict[str, Any]], rows: Sequence[RecordEntry], quoting: Quoting
) -> tuple[tuple[str, str], ...]:
    if ends.finding is None:
        return ()
    last = quoting.finding(seen[0]) if seen else None
    facts = [("Finding", f"{last.number}: {last.words}" if last else "the record holds no look at it")]
    facts += [("Where", last.where), ("Last measured", last.size)] if last else []
    facts.append(("When the hold was lifted", _state(max(rows, key=lambda row: row.sequence, default=None), ends)))
    return tuple(facts)


def _state(row: RecordEntry | None, ends: _Ends) -> str:
    """How the last entry about the finding before the lifting left it."""
    if row is None or ends.finding is None:
        return NOT_KNOWN
    if row.deed in LOOKS:
        return f"seen by the look of entry {row.sequence}; severity {_told(row, ends.finding)['severity']}"
    state = Finding.State(row.facts["state"]).label
    return f"{state}; severity {row.facts['severity']} (entry {row.sequence})"


def _since(ends: _Ends) -> list[RecordEntry]:
    """What the record says of the finding after the lifting; whoever reads a certificate must not miss it."""
    if ends.finding is None:
        return []
    looks = list(ends.rows.filter(joint=ends.placed.joint_id, deed__in=LOOKS))
    own = {row.subject_id for row in looks if _told(row, ends.finding)}
    deeds = list(ends.rows.filter(subject_kind="finding", subject_id=ends.finding))
    deeds += [row for row in looks if row.subject_id in own or row.facts.get("corrects") in own]
    return sorted((row for row in deeds if row.sequence > ends.lifted.sequence), key=lambda row: row.sequence)


# Work, photos, other holds --------------------------------------------------------------------------------------------


def _work(ends: _Ends) -> list[RecordEntry]:
    """Repairs and tightening on what was held, done or verified before it was lifted: for its finding, or since."""
    done = [row for row in ends.here.filter(deed="order.finished") if "repaired" in row.facts]  # a look has a result
    about = ends.here.filter(deed="order.raised")
    for_finding = {row.subject_id for row in about if ends.finding and row.facts.get("finding") == ends.finding}
    ours = {row.subject_id for row in done if row.sequence > ends.placed.sequence or row.subject_id in for_finding}
    return list(ends.here.filter(subject_kind="workorder", subject_id__in=ours, deed__in=WORK))


def _work_entry(row: RecordEntry, quoting: Quoting) -> Entry:
    entry, facts = quoting.entry(row), row.facts
    words = f"{entry.words} (order {facts['number']}, {facts['title']})"
    return Entry(entry.sequence, entry.hash, entry.who, entry.when, words)


def _photos(ends: _Ends, quoting: Quoting) -> tuple[tuple[PrintedPhoto, ...], int]:
    joint = ends.placed.joint
    if joint is None:
        return (), 0
    own = list(ends.here.filter(deed__in=(*LOOKS, "evidence.added")))
    about = Q(added_at__gte=ends.placed.at, added_at__lte=ends.lifted.at)
    if ends.finding:
        about |= Q(finding=ends.finding, added_at__lte=ends.lifted.at)
    return printed(photos_of(joint, own).filter(about), own, quoting)


def _standing(ends: _Ends, quoting: Quoting) -> tuple[str, ...]:
    """Other holds on the asset that no entry lifts."""
    of_asset = ends.rows.filter(asset=ends.placed.asset_id)
    lifted = set(of_asset.filter(deed="hold.released").values_list("subject_id", flat=True))
    return tuple(
        f"{row.joint.tag if row.joint else 'the asset as a whole'}, since {quoting.entry(row).when}: "
        f"{row.facts.get('reason', '')} (entry {row.sequence})"
        for row in of_asset.filter(deed="hold.placed")
        if row.subject_id not in lifted
    )


def _limits(story: Sequence[RecordEntry], work: Sequence[RecordEntry]) -> tuple[str, ...]:
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
