"""Entries of the record as a report quotes them. An entry whose hash no longer fits is never printed: it is refused."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from assets_app.inspections.kinds import KINDS, LOST
from assets_app.inspections.marks_rules import position_words
from assets_app.inspections.models import Inspection, Method
from assets_app.people import qualification_rules
from assets_app.people.models import Qualification
from assets_app.record.models import RecordEntry
from assets_app.record.rules import entry_hash
from assets_app.record.sentences import sentence
from assets_app.refusals import Conflict
from assets_app.register import drawing
from assets_app.register.drawing import weld_section
from assets_app.register.drawing_bolts import bolt_group
from assets_app.register.drawing_run import weld_run
from assets_app.register.joint_drawing import pattern_of, section_of
from assets_app.register.models import Joint, Site
from engineering.figures import grouped
from schedules.reports.content import NOT_KNOWN, DrawnJoint, Entry, Head, Look, SeenFinding, Signature

LOOKS = ("inspection.recorded", "inspection.corrected")
WORK = {"order.finished": "Did the work", "order.verified": "Verified the work"}


class Quoting:
    """Quotes one site's record: checks each entry's hash, remembers the newest, tells times by the site's clock."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self.zone = ZoneInfo(site.time_zone)
        self.newest: RecordEntry | None = None
        self.photos = 0  # printed so far
        self._numbers: dict[int, int] = {}

    def entry(self, row: RecordEntry) -> Entry:
        """``Conflict`` (``record_broken``) where the entry was altered."""
        if entry_hash(row.hashed_fields()) != row.hash:
            message = (
                f"Entry {row.sequence} of the record does not fit its hash. Nothing is printed from a broken record."
            )
            raise Conflict("record_broken", message, entry=row.sequence)
        if self.newest is None or row.sequence > self.newest.sequence:
            self.newest = row
        words = sentence(row.deed, row.facts)
        return Entry(row.sequence, row.hash, row.actor_name, self.when(row.at), words)

    def head(self) -> Head:
        """Up to which entry it was told; ask it last."""
        number, digest = (self.newest.sequence, self.newest.hash) if self.newest else (0, "")
        return Head(self.site.name, self.site.time_zone, number, digest)

    def when(self, moment: datetime) -> str:
        return f"{moment.astimezone(self.zone):%-d %b %Y %H:%M}"

    def day_of(self, row: RecordEntry) -> date:
        """The day of the deed; of a look, the day on which it was done."""
        told = row.facts.get("inspected_at") if row.deed in LOOKS else None
        moment = datetime.fromisoformat(told) if told else row.at
        return moment.astimezone(self.zone).date()

    def number(self, finding_id: int) -> int:
        """A finding's number in this document, in the order in which it is named."""
        return self._numbers.setdefault(finding_id, len(self._numbers) + 1)

    def look(self, row: RecordEntry, corrected_by: Mapping[int, int]) -> Look:
        facts = row.facts
        by = corrected_by.get(row.subject_id)
        counter = facts.get("counter_total")
        return Look(
            entry=self.entry(row),
            day=f"{self.day_of(row):%-d %b %Y}",
            method=Method(facts["method"]).label,
            result=Inspection.Result(facts["result"]).label,
            conditions=Inspection.Conditions(facts["conditions"]).label,
            inspector=facts["inspector"],
            counter=NOT_KNOWN if counter is None else grouped(counter),
            note=facts.get("note", ""),
            corrects=facts.get("reason", "") if row.deed == "inspection.corrected" else "",
            corrected_by=f"entry {by}" if by else "",
            findings=tuple(self.finding(told) for told in facts.get("findings", ())),
        )

    def finding(self, told: dict[str, Any]) -> SeenFinding:
        kind = KINDS.get(told["kind"])
        accepted = told.get("accepted")
        verdict = "cannot be judged" if accepted is None else "accepted" if accepted else "not accepted"
        return SeenFinding(
            number=self.number(told["finding"]),
            words=kind.words if kind else told["kind"],
            where=where_words(told),
            size=size_words(told),
            severity=told["severity"],
            verdict=_verdict(verdict, told.get("acceptance") or ""),
            note=" ".join(part for part in (told.get("severity_reason"), told.get("note")) if part),
        )

    def signature(self, row: RecordEntry, what: str, method: str = "") -> Signature:
        """The entry as a signature, with the role that its signer held then."""
        entry = self.entry(row)
        certificate = self._certificate(row, method) if method else ""
        return Signature(what, row.actor_name, row.signed_as, certificate, entry.when, row.sequence, row.hash)

    def _certificate(self, row: RecordEntry, method: str) -> str:
        if not qualification_rules.needs_ndt(method):
            return "none needed"
        day = self.day_of(row)
        rows = Qualification.objects.filter(person_id=row.actor_id).order_by("-level", "expires_on", "pk")
        for one in rows:
            if qualification_rules.ndt_valid(one, method, day):
                number = f", {one.certificate}" if one.certificate else ""
                return f"{method} level {one.level}{number}, to {one.expires_on:%-d %b %Y}"
        return "none on file for that day"


def _verdict(verdict: str, why: str) -> str:
    """The verdict once, and why."""
    if verdict in why:
        return why
    return f"{verdict}. {why}".strip()


def where_words(told: Mapping[str, Any]) -> str:
    return position_words(
        place=told.get("place") or "",
        clock_deg=told.get("clock_deg"),
        position_mm=told.get("position_mm"),
        bolts=told.get("bolts") or (),
    )


def size_words(told: Mapping[str, Any]) -> str:
    parts = [
        f"{told[name]:g} {unit}"
        for name, unit in (("length_mm", "mm long"), ("depth_mm", "mm deep"), ("angle_deg", "°"))
        if told.get(name) is not None
    ]
    return ", ".join(parts) or "not measured"


def latest(rows: Iterable[RecordEntry]) -> list[dict[str, Any]]:
    """Each finding as the last of these looks recorded it; a size that was not taken again stays the earlier one."""
    found: dict[int, dict[str, Any]] = {}
    for row in rows:
        for told in row.facts.get("findings", ()):
            known = found.get(told["finding"], {})
            kept = {name: value for name, value in told.items() if value is not None or name not in known}
            found[told["finding"]] = known | kept
    return list(found.values())


def drawings(joint: Joint, findings: Iterable[dict[str, Any]], quoting: Quoting) -> tuple[DrawnJoint, ...]:
    """The joint to scale with these findings where they are."""
    told = list(findings)
    if joint.kind == Joint.Kind.BOLTED:
        drawn = bolt_group(pattern_of(getattr(joint, "bolt_group", None)), _bolts(told), name=joint.tag)
        return (DrawnJoint("Bolts by position, seen along them", drawn.svg, tuple(drawn.words)),)
    weld = getattr(joint, "weld", None)
    seen = sorted((_drawn(one, quoting) for one in told), key=lambda one: one.number)
    section = weld_section(section_of(weld), seen, name=joint.tag)
    run = weld_run(
        seen,
        tube_diameter_mm=weld.tube_diameter_mm if weld else None,
        length_mm=weld.length_mm if weld else None,
        name=joint.tag,
    )
    return (
        DrawnJoint("Cross-section to scale, sizes in mm", section.svg, tuple(section.words)),
        DrawnJoint("Along the weld", run.svg, tuple(words for words in run.words if words not in section.words)),
    )


def _drawn(told: dict[str, Any], quoting: Quoting) -> drawing.SeenFinding:
    kind = KINDS.get(told["kind"])
    return drawing.SeenFinding(
        number=quoting.number(told["finding"]),
        words=kind.words if kind else told["kind"],
        severity=told["severity"],
        place=told.get("place") or "",
        depth_mm=told.get("depth_mm"),
        length_mm=told.get("length_mm"),
        clock_deg=told.get("clock_deg"),
        position_mm=told.get("position_mm"),
        is_crack=bool(kind and kind.is_crack),
    )


def _bolts(findings: Iterable[dict[str, Any]]) -> dict[int, str]:
    """Bolt number -> its gravest state among these findings."""
    order = (*LOST, "gap", "movement")
    states: dict[int, str] = {}
    for told in findings:
        for number in told.get("bolts") or ():
            if told["kind"] in order:
                states[number] = min(states.get(number, told["kind"]), told["kind"], key=order.index)
    return states
