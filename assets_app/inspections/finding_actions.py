"""What is done to a finding after it was seen: called graver or milder, assessed, joined, repaired, closed."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.db import transaction

from assets_app import events
from assets_app.inspections import hooks, rules
from assets_app.inspections.kinds import KINDS
from assets_app.inspections.models import SEVERITY_ORDER, Assessment, Finding, Inspection, Severity
from assets_app.inspections.queries import standing_sizes
from assets_app.people.models import Person, RoleName
from assets_app.people.qualification_rules import add_months
from assets_app.people.queries import day_at, require, require_signature
from assets_app.record import actions as record
from assets_app.record.queries import came_first
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from assets_app.register.models import Joint

WORSE = (True, None, False)  # against the acceptance limit: within it, not judged, beyond it
LONGEST_ASSESSMENT_MONTHS = 12  # where no growth window bounds it: common practice, no source


def raise_severity(*, finding_id: int, severity: str, reason: str, actor: Person, now: datetime) -> Finding:
    """Call a finding graver. Anyone at work on the site may."""
    _allowed(finding_id, "finding.raise", actor)
    _known_severity(severity)
    _reason(reason)
    with transaction.atomic():
        finding = _locked_open(finding_id)
        if not rules.is_graver(severity, finding.severity):
            raise Conflict("not_graver", f"It is {finding.severity} already.", severity=finding.severity)
        before = finding.severity
        finding.severity, finding.severity_reason = severity, f"Raised by {actor.display_name}: {reason.strip()}"
        if finding.state == Finding.State.ASSESSED:
            finding.state = Finding.State.OPEN
        finding.save()
        _tell(finding, "finding.raised", actor, now, before=before, reason=reason.strip())
    return finding


def lower_severity(*, finding_id: int, severity: str, reason: str, actor: Person, now: datetime) -> Finding:
    """Call a finding milder: an engineer's signature and reason. A crack needs an assessment with an end instead."""
    _signs(finding_id, "finding.lower", actor, now)
    _known_severity(severity)
    _reason(reason)
    with transaction.atomic():
        finding = _locked_open(finding_id)
        if not rules.is_graver(finding.severity, severity):
            raise Conflict("not_milder", f"It is {finding.severity}; lower means milder.", severity=finding.severity)
        floor = finding.severity_computed
        if _is_crack(finding) and SEVERITY_ORDER[severity] < SEVERITY_ORDER[floor]:
            message = "A crack is only made milder by a signed assessment with an end date inside the growth window."
            raise Conflict("assessment_needed", message, field="severity")
        before = finding.severity
        finding.severity, finding.severity_reason = severity, f"Lowered by {actor.display_name}: {reason.strip()}"
        finding.save()
        _tell(finding, "finding.lowered", actor, now, before=before, reason=reason.strip())
    return finding


def sign_assessment(
    *,
    ends_on: date,
    reason: str,
    actor: Person,
    now: datetime,
    finding_id: int | None = None,
    joint_id: int | None = None,
    severity: str = Severity.WATCH.value,
) -> Assessment:
    """An engineer signs that a finding, or a joint whose fatigue life is used up, may stand until a day.

    The end of a crack's assessment must lie inside its growth window; where the window is not known it is refused
    (``window_unknown``). Anything else ends within twelve months. ``severity`` is what the finding is until then.
    """
    if (finding_id is None) == (joint_id is None):
        raise Unprocessable("finding_or_joint", "An assessment is of one finding or of one joint.")
    _reason(reason)
    if finding_id is None:
        return _assess_life(joint_id or 0, ends_on, reason.strip(), actor, now)
    _signs(finding_id, "finding.assess", actor, now)
    _known_severity(severity)
    with transaction.atomic():
        finding = _locked_open(finding_id)
        _check_end(ends_on, _latest_end(finding, now), finding.joint, now)
        if SEVERITY_ORDER[severity] < SEVERITY_ORDER[Severity.WATCH] or rules.is_graver(severity, finding.severity):
            message = f"Until then it is at least watch and at most {finding.severity}."
            raise Unprocessable("severity_out_of_range", message, field="severity")
        assessment = Assessment.objects.create(
            joint=finding.joint,
            finding=finding,
            severity=severity,
            ends_on=ends_on,
            reason=reason.strip(),
            signed_by=actor,
            signed_at=now,
        )
        before = finding.severity
        finding.severity, finding.state = severity, Finding.State.ASSESSED
        finding.severity_reason = f"Assessed by {actor.display_name} until {ends_on:%-d %b %Y}: {reason.strip()}"
        finding.save()
        facts = {"before": before, "reason": reason.strip(), "ends_on": ends_on, "assessment": assessment.pk}
        _tell(finding, "finding.assessed", actor, now, **facts)
    return assessment


def close_finding(*, finding_id: int, reason: str, actor: Person, now: datetime) -> Finding:
    """Close a finding without a repair. One that stops use, and any crack, is only closed by an engineer."""
    roles = _allowed(finding_id, "finding.close", actor)
    _reason(reason)
    with transaction.atomic():
        finding = _locked_open(finding_id)
        grave = _is_crack(finding) or {finding.severity, finding.severity_computed} & set(rules.GRAVE)
        if grave and RoleName.ENGINEER.value not in roles:
            raise NotAllowed("engineer_needed", "Only an engineer closes a crack or a finding that stops use.")
        if grave:
            _signs(finding_id, "finding.lower", actor, now)
        finding.state, finding.closed_on = Finding.State.CLOSED, day_at(finding.joint.asset.site, now)
        finding.save()
        _tell(finding, "finding.closed", actor, now, reason=reason.strip())
    return finding


@transaction.atomic
def join_finding(*, finding_id: int, same_as: int, reason: str, actor: Person, now: datetime) -> Finding:
    """Say that a finding is one that was found before, seen again: its sizes and photos go there, and it is closed.

    Nothing is made milder by it: the one found first is as grave as the graver of the two, and an assessment that was
    signed for it ends unless it covers every size. Orders for the later one go on for the first. Gives the first.

    Refusals: ``reason_needed``, ``not_found``, ``same_finding``, ``other_joint``, ``other_kind``, ``found_later``,
    ``finding_not_open``, ``twice_in_one_look``.
    """
    _allowed(finding_id, "finding.close", actor)
    _reason(reason)
    told = events.findings_joined.send(sender=__name__, later_id=finding_id, first_id=same_as)  # locks orders first
    rows = Finding.objects.select_for_update().filter(pk__in=[finding_id, same_as]).order_by("pk")
    first = next((row for row in rows if row.pk == same_as), None)
    later = _locked_open(finding_id)
    if first is None or first.joint_id != later.joint_id:
        raise Unprocessable("other_joint", "That finding is not one of this joint.", field="same_as")
    _check_same(first, later)
    orders = [number for _, numbers in told for number in numbers]
    first = _locked_open(first.pk)
    covered = _covers(first, later)
    later.sizes.update(finding=first)
    later.evidence.update(finding=first)
    _take_over(first, later, covered=covered)
    later.state, later.closed_on = Finding.State.CLOSED, day_at(later.joint.asset.site, now)
    later.note = f"{later.note}\nThe same as finding {first.pk}, found {first.found_on:%-d %b %Y}.".strip()
    later.save()
    _tell(first, "finding.extended", actor, now, joined=later.pk, reason=reason.strip(), orders=orders)
    _tell(later, "finding.joined", actor, now, same_as=first.pk, reason=reason.strip())
    return first


def _check_same(first: Finding, later: Finding) -> None:
    if first.pk == later.pk:
        raise Unprocessable(
            "same_finding", "That is this finding itself; choose the one found before.", field="same_as"
        )
    if first.kind != later.kind:
        raise Unprocessable("other_kind", "They are of two kinds, so they are two findings.", field="same_as")
    if first.found_on > later.found_on:
        message = "That one was found later. Open it, and join it to this one there."
        raise Unprocessable("found_later", message, field="same_as")
    looks = {first.inspection_id, *first.sizes.values_list("inspection", flat=True)}
    if looks & {later.inspection_id, *later.sizes.values_list("inspection", flat=True)}:
        message = "One look saw both, so they are two findings. Correct that look if it was wrong."
        raise Unprocessable("twice_in_one_look", message, field="same_as")


def _covers(first: Finding, later: Finding) -> bool:
    """Whether no size of the later one is beyond what the first one had; not where there is nothing to compare."""
    columns = ("length_mm", "depth_mm", "angle_deg")
    known = list(standing_sizes().filter(finding=first).values_list(*columns))
    for size in later.sizes.values_list(*columns):
        for column, value in enumerate(size):
            before = [row[column] for row in known if row[column] is not None]
            if value is not None and (not before or value > max(before)):
                return False
    return later.sizes.exists() and set(later.bolts) <= set(first.bolts)


def _take_over(first: Finding, later: Finding, *, covered: bool) -> None:
    """The graver of the two, and what was said of both."""
    for name in ("place", "clock_deg", "position_mm"):
        if getattr(first, name) in (None, ""):
            setattr(first, name, getattr(later, name))
    first.bolts = sorted(set(first.bolts) | set(later.bolts))
    first.severity_computed = rules.worst(first.severity_computed, later.severity_computed)
    if not covered:
        first.state = Finding.State.OPEN
    gravest = later.severity if covered else rules.worst(later.severity, first.severity_computed)
    if rules.is_graver(gravest, first.severity):
        first.severity = gravest
        first.severity_reason = f"Seen again on {later.found_on:%-d %b %Y}. {later.severity_reason}"
    if WORSE.index(later.accepted) > WORSE.index(first.accepted):
        first.accepted, first.acceptance_note = later.accepted, later.acceptance_note
    if later.note.strip():
        first.note = f"{first.note}\n{later.found_on:%-d %b %Y}: {later.note.strip()}".strip()
    first.save()


def mark_repaired(*, finding: Finding, actor: Person, now: datetime, inspection: Inspection | None = None) -> Finding:
    """A repair order closed: the finding is repaired. ``inspection`` is the look that showed it."""
    _allowed(finding.pk, "order.work", actor)
    with transaction.atomic():
        row = _locked_open(finding.pk)
        if inspection is not None and inspection.joint_id != row.joint_id:
            raise Unprocessable("other_joint", "That look was at another joint.", field="inspection")
        row.state, row.closed_on = Finding.State.REPAIRED, day_at(row.joint.asset.site, now)
        row.save()
        _tell(row, "finding.repaired", actor, now, inspection=inspection.pk if inspection else None)
    return row


def lapse_assessments(*, now: datetime) -> int:
    """Findings whose assessment has ended are open again, as grave as the table says. Safe to run again."""
    lapsed = 0
    for pk in Finding.objects.filter(state=Finding.State.ASSESSED).values_list("pk", flat=True):
        with transaction.atomic():
            finding = _locked(pk)
            last = finding.assessments.first()
            today = day_at(finding.joint.asset.site, now)
            if finding.state != Finding.State.ASSESSED or (last is not None and last.ends_on >= today):
                continue
            before = finding.severity
            finding.state = Finding.State.OPEN
            finding.severity = rules.worst(finding.severity, finding.severity_computed)
            finding.severity_reason = "The assessment has ended and no other is signed."
            finding.save()
            _tell(finding, "finding.assessment_lapsed", None, now, before=before)
            lapsed += 1
    return lapsed


def _assess_life(joint_id: int, ends_on: date, reason: str, actor: Person, now: datetime) -> Assessment:
    joint = Joint.objects.select_related("asset__site").filter(pk=joint_id).first()
    if joint is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    require_signature(actor, "finding.assess", joint.asset.site_id, now)
    with transaction.atomic():
        Joint.objects.select_for_update().get(pk=joint.pk)
        _check_end(ends_on, _a_year_on(joint, now), joint, now)
        assessment = Assessment.objects.create(
            joint=joint, ends_on=ends_on, reason=reason, signed_by=actor, signed_at=now
        )
        record.append(
            site_id=joint.asset.site_id,
            deed="joint.assessed",
            actor=actor,
            subject=assessment,
            content={"reason": reason, "ends_on": ends_on},
            now=now,
            asset_id=joint.asset_id,
            joint_id=joint.pk,
        )
        events.joints_changed.send(sender=__name__, joint_ids=[joint.pk], why="an assessment was signed", now=now)
    return assessment


def _latest_end(finding: Finding, now: datetime) -> date:
    if not _is_crack(finding):
        return _a_year_on(finding.joint, now)
    window_ends_on = hooks.latest_assessment_end(finding, now)
    if window_ends_on is None:
        message = "How long this crack takes to become critical is not known, so nothing can be signed for it."
        raise Unprocessable("window_unknown", message, field="ends_on")
    return window_ends_on


def _a_year_on(joint: Joint, now: datetime) -> date:
    return add_months(day_at(joint.asset.site, now), LONGEST_ASSESSMENT_MONTHS)


def _check_end(ends_on: date, latest: date, joint: Joint, now: datetime) -> None:
    if ends_on <= day_at(joint.asset.site, now):
        raise Unprocessable("ends_too_early", "The end must lie ahead.", field="ends_on")
    if ends_on > latest:
        message = f"The end must lie by {latest:%-d %b %Y} at the latest."
        raise Unprocessable("ends_too_late", message, field="ends_on", latest=latest.isoformat())


def _allowed(finding_id: int, deed: str, actor: Person) -> frozenset[str]:
    return require(actor, deed, _site_of(finding_id))


def _signs(finding_id: int, deed: str, actor: Person, now: datetime) -> None:
    require_signature(actor, deed, _site_of(finding_id), now)


def _site_of(finding_id: int) -> int:
    site_id = Finding.objects.filter(pk=finding_id).values_list("joint__asset__site_id", flat=True).first()
    if site_id is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    return site_id


def _locked(finding_id: int) -> Finding:
    return Finding.objects.select_for_update(of=("self",)).select_related("joint__asset__site").get(pk=finding_id)


def _locked_open(finding_id: int) -> Finding:
    finding = _locked(finding_id)
    if not finding.is_open:
        said = f"This finding is {finding.get_state_display()} already."
        raise came_first("finding_not_open", said, Finding, finding.pk)
    return finding


def _known_severity(severity: str) -> None:
    if severity not in SEVERITY_ORDER:
        raise Unprocessable("unknown_severity", f"Severity is one of {', '.join(SEVERITY_ORDER)}.", field="severity")


def _reason(reason: str) -> None:
    if not reason.strip():
        raise Unprocessable("reason_needed", "Say why: the reason goes into the record.", field="reason")


def _is_crack(finding: Finding) -> bool:
    return KINDS[finding.kind].is_crack


def _tell(finding: Finding, deed: str, actor: Person | None, now: datetime, **facts: Any) -> None:
    """Into the record, and to the floor above."""
    joint = finding.joint
    content = {"kind": finding.kind, "severity": finding.severity, "state": finding.state, **facts}
    record.append(
        site_id=joint.asset.site_id,
        deed=deed,
        actor=actor,
        subject=finding,
        content=content,
        now=now,
        asset_id=joint.asset_id,
        joint_id=joint.pk,
    )
    events.finding_changed.send(sender=__name__, finding=finding, actor=actor, now=now)
