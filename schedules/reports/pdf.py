"""The two documents, from their plain content to the bytes of a PDF."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import Flowable, KeepTogether, Spacer

from assets_app.doors.paper import is_spelled_out
from schedules.reports import sheet
from schedules.reports.content import (
    Certificate,
    Entry,
    InspectionReport,
    JointPart,
    Look,
    content_hash,
    plain,
)
from schedules.reports.sheet import BODY, CELL, GRAVE, HASH, PART, SAID, SECTION, SMALL, TITLE, Block, text

SIGNING = (
    "Each signature is an entry of the chained record, made by that person signed in; one by Soundjoint was made by "
    "the service itself, by its rules."
)
SPELLED_OUT = (
    "Characters that the typeface of these sheets lacks are written as their code point, such as [U+05E1]. The record "
    "and the pages of the service show them as they were written."
)


def inspection_report(report: InspectionReport, told: sheet.Told | None = None) -> bytes:
    """What was seen at a joint or an asset in a period. ``told`` hears how many of how many pieces are drawn."""
    story: list[Flowable] = [text("Inspection report", TITLE)]
    story.append(
        sheet.pairs(
            [
                ("Site", f"{report.head.site} (times by {report.head.clock})"),
                ("Asset", report.asset),
                ("What", report.subject),
                ("Period", f"{report.since} to {report.until}, both days included"),
                ("From", report.head.words),
            ]
        )
    )
    story += [text("What was seen", SECTION), *_overview(report)]
    if report.without:
        story.append(text("Nobody looked in this period at:", PART))
        story.append(text(", ".join(report.without)))
    for part in report.joints:
        story += _joint(part)
    story += _signatures(report)
    block = Block(
        "Inspection report",
        f"{report.head.site} · {report.asset} · {report.subject} · {report.since} to {report.until}",
        report.head.words,
        content_hash(report),
        report.caution,
    )
    return sheet.build(block, story, told)


def _overview(report: InspectionReport) -> list[Flowable]:
    rows = [
        (part.tag, part.name, str(len(part.looks)), _gravest_first(part), str(len(part.photos) + part.photos_left_out))
        for part in report.joints
    ]
    if not rows:
        return [text("The record says nothing of it in this period. That is not the same as nothing being wrong.")]
    return [sheet.table(("Joint", "Name", "Looks", "Findings recorded", "Photos"), rows, (2, 3, 1, 6, 1))]


def _gravest_first(part: JointPart) -> str:
    """Findings of looks that stand, one line each."""
    last = {f.number: f for look in part.looks if not look.corrected_by for f in look.findings}
    said = [f"{f.number}: {f.words}, {f.severity}" for f in last.values()]
    return "\n".join(said) or ("nothing beyond the limits" if part.looks else "no look")


def _joint(part: JointPart) -> list[Flowable]:
    head: list[Flowable] = [text(f"{part.tag} {part.name}".strip(), SECTION)]
    if part.facts:
        head.append(sheet.pairs(part.facts))
    if part.drawings:
        head += [Spacer(1, 4), *sheet.drawings(part.drawings)]
    story: list[Flowable] = [KeepTogether(head)] if part.facts or part.drawings else head
    for look in part.looks:
        story += _look(look)
    if part.deeds:
        story += [text("What else was done", PART), *_entries(part.deeds)]
    if part.photos or part.photos_left_out:
        story += sheet.photos(part.photos, part.photos_left_out)
    return story


def _look(look: Look) -> list[Flowable]:
    story: list[Flowable] = [text(f"{look.day}: {look.method}", PART)]
    if look.corrected_by:
        story.append(text(f"Corrected by {look.corrected_by}: this look no longer counts.", GRAVE))
    said = (
        f"{look.result[:1].upper()}{look.result[1:]}. Conditions {look.conditions}. Inspector {look.inspector}. "
        f"Counter {look.counter}. Entry {look.entry.sequence} of the record, {look.entry.when}."
    )
    story.append(text(said, SAID if look.findings and not look.corrects and not look.note else BODY))
    if look.corrects:
        story.append(text(f"It corrects an earlier look: {look.corrects}"))
    if look.note:
        story.append(text(f"Note: {look.note}"))
    if look.findings:
        rows = [
            (str(f.number), f.words, f.where, f.size, f.severity, f"{f.verdict}\n{f.note}".strip())
            for f in look.findings
        ]
        heads = ("No.", "Finding", "Where", "Size", "Severity", "Against the limit, and why")
        story.append(sheet.table(heads, rows, (1, 4, 3, 3, 2.6, 7)))
    return story


def return_to_service(certificate: Certificate) -> bytes:
    """A hold that was lifted: why it stood, what was done, who lifted it on what evidence."""
    story: list[Flowable] = [text("Return to service", TITLE), text(f"Hold {certificate.number}, lifted", BODY)]
    story.append(
        sheet.pairs(
            [
                ("Site", f"{certificate.head.site} (times by {certificate.head.clock})"),
                ("Asset", certificate.asset),
                ("What was held", certificate.subject),
                ("Held", f"{certificate.held.when} by {certificate.held.who}"),
                ("Why", certificate.reason),
                ("Lifted", f"{certificate.released.when} by {certificate.released.who}"),
                ("Why it is safe again", certificate.release_reason),
                ("Evidence relied on", certificate.release_evidence),
                ("From", certificate.head.words),
            ]
        )
    )
    if certificate.since:
        story.append(text("THE RECORD SAYS MORE OF THIS FINDING SINCE THE LIFTING: see below.", GRAVE))
    for line in certificate.standing:
        story.append(text(f"ANOTHER HOLD STANDS on this asset: {line}", GRAVE))
    story.append(text("What this does not say", PART))
    story += [text(line) for line in certificate.limits]
    story += _held_for(certificate)
    story += _signatures(certificate)
    block = Block(
        f"Return to service, hold {certificate.number}",
        f"{certificate.head.site} · {certificate.asset} · {certificate.subject}",
        certificate.head.words,
        content_hash(certificate),
        certificate.caution,
    )
    return sheet.build(block, story)


def _held_for(certificate: Certificate) -> list[Flowable]:
    story: list[Flowable] = []
    if certificate.finding:
        story += [text("What it was held for", SECTION), sheet.pairs(certificate.finding)]
    if certificate.drawings:
        story += [Spacer(1, 4), *sheet.drawings(certificate.drawings)]
    if certificate.story:
        story += [text("What became of the finding", PART), *_entries(certificate.story)]
    if certificate.since:
        story += [text("What the record says of the finding since the lifting", PART), *_entries(certificate.since)]
    if certificate.work:
        story += [text("Work", PART), *_entries(certificate.work)]
    if certificate.looks:
        story.append(text("Looks between the hold and its lifting", SECTION))
        for look in certificate.looks:
            story += _look(look)
    if certificate.photos or certificate.photos_left_out:
        story += sheet.photos(certificate.photos, certificate.photos_left_out)
    return story


def _entries(entries: Sequence[Entry]) -> list[Flowable]:
    rows = [(str(one.sequence), one.when, f"{one.who} {one.words}") for one in entries]
    return [sheet.table(("Entry", "When", "Who did what"), rows, (1, 3, 14))]


def _signatures(said: InspectionReport | Certificate) -> list[Flowable]:
    """An entry of the record is the signature; its hash ties this sheet to the chain."""
    story: list[Flowable] = [text("Signatures", SECTION)]
    if not said.signatures:
        story.append(text("Nobody signed anything that is told here."))
    for one in said.signatures:
        certificate = f" Certificate: {one.certificate}." if one.certificate else ""
        role = f"Role when signed: {one.role}.{certificate} Entry {one.sequence} of the record."
        signed = [
            text(f"{one.what}: {one.name}, {one.when}", PART),
            text(role, CELL),
            text(f"SHA-256 {one.hash}", HASH),
        ]
        story.append(KeepTogether(signed))
    story += [
        Spacer(1, 6),
        text(SIGNING, SMALL),
    ]
    if is_spelled_out(plain(said)):
        story.append(text(SPELLED_OUT, SMALL))
    story += [text("What here is not from the record", PART), *[text(line) for line in said.beside_record]]
    story.append(text(said.caution))
    return story
