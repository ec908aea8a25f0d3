"""Reads about bolt readings that the page and the API share."""

from __future__ import annotations

from django.db.models import QuerySet

from assets_app.inspections.bolt_models import BoltReading
from assets_app.inspections.bolt_sheet_actions import Answer
from assets_app.inspections.kinds import LOST
from assets_app.inspections.models import SEVERITY_ORDER, Inspection
from assets_app.inspections.queries import open_findings
from assets_app.people.models import Person
from assets_app.people.queries import sites_of


def readings_for(person: Person) -> QuerySet[BoltReading]:
    """Readings at the person's sites; those of a corrected look are left out."""
    rows = BoltReading.objects.filter(inspection__joint__asset__site__in=sites_of(person))
    return rows.filter(inspection__corrections=None).select_related("inspection")


def last_readings(joint_id: int) -> dict[int, BoltReading]:
    """Bolt number -> its newest reading at the joint."""
    rows = BoltReading.objects.filter(inspection__joint_id=joint_id, inspection__corrections=None)
    newest = rows.select_related("inspection").order_by("inspection__inspected_at", "pk")
    return {row.number: row for row in newest}


def lost_words(joint_id: int) -> dict[int, str]:
    """Bolt number -> what an open finding says of it: ``loose since 3 Mar 2026``."""
    words: dict[int, str] = {}
    for finding in open_findings(joint_id):
        if finding.kind in LOST:
            for number in finding.bolts:
                words.setdefault(number, f"{finding.kind} since {finding.found_on:%-d %b %Y}")
    return words


def result_words(answer: Answer) -> str:
    """What will be recorded, in a sentence."""
    if answer.unchecked:
        bolts = "1 bolt has" if answer.unchecked == 1 else f"{answer.unchecked} bolts have"
        return f"{bolts} no state yet: recorded now, it could not be completed and does not count as a look."
    if answer.following:
        return "Every bolt has a state. It is recorded as a look with findings."
    return "Every bolt has a state and none is lost. It is recorded as a look with nothing beyond the limits."


def recorded_words(inspection: Inspection) -> str:
    """What was recorded, the gravest severity named."""
    count = inspection.bolt_readings.count()
    bolts = "1 bolt" if count == 1 else f"{count} bolts"
    severities = [finding.severity for finding in open_findings(inspection.joint_id)]
    said = f"Recorded: {bolts} read."
    if not inspection.counts_as_look:
        said = f"Recorded: {bolts} read, not all. It does not count as a look."
    if severities:
        said += f" The gravest open finding here is {max(severities, key=SEVERITY_ORDER.__getitem__)}."
    return said
