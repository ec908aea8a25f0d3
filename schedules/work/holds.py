"""Holds: anybody places one; only the named authority lifts it, and never who did the work."""

from __future__ import annotations

from datetime import datetime

from django.db import IntegrityError, transaction

from assets_app.inspections.models import Finding, Severity
from assets_app.people import queries as people
from assets_app.people.models import Person
from assets_app.record import actions as record
from assets_app.record.queries import by_and_when
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from assets_app.register.models import Asset, Joint
from schedules.work import events, eyes
from schedules.work.models import Hold


def place_hold(
    *,
    reason: str,
    actor: Person,
    now: datetime,
    asset_id: int | None = None,
    joint_id: int | None = None,
    finding_id: int | None = None,
) -> Hold:
    """Hold an asset, a joint or what a finding stands on. Anybody with a role at the site may, the auditor too.

    Refusals: ``what_is_held`` (none given, or they do not belong together), ``reason_needed``, ``already_held``.
    """
    finding = Finding.objects.select_related("joint__asset").filter(pk=finding_id).first() if finding_id else None
    joint = Joint.objects.select_related("asset").filter(pk=joint_id).first() if joint_id else None
    asset = Asset.objects.filter(pk=asset_id).first() if asset_id else None
    if (finding_id and not finding) or (joint_id and not joint) or (asset_id and not asset):
        raise NotFound("not_found", "There is nothing here that you can see.")
    held_joint = joint or (finding.joint if finding else None)
    held = asset or (held_joint.asset if held_joint else None)
    if held is None:
        raise Unprocessable("what_is_held", "Say what is held: an asset, a joint or a finding.", field="asset")
    people.require(actor, "hold.place", held.site_id)
    apart = (held_joint and held_joint.asset_id != held.pk) or (finding and finding.joint_id != held_joint.pk)
    if apart:
        raise Unprocessable("what_is_held", "Asset, joint and finding do not belong together.", field="joint")
    if not reason.strip():
        raise Unprocessable("reason_needed", "Say what is wrong: it stands on every page.", field="reason")
    with transaction.atomic():
        if held_joint:
            Joint.objects.select_for_update().get(pk=held_joint.pk)
        if finding:
            Finding.objects.select_for_update().get(pk=finding.pk)
        hold = Hold(
            site_id=held.site_id,
            asset=held,
            joint=held_joint,
            finding=finding,
            reason=reason.strip(),
            placed_by=actor,
            placed_at=now,
        )
        return _place(hold, actor, now)


def place_for_finding(*, finding: Finding, now: datetime) -> Hold | None:
    """A finding that says *hold now* holds its joint, once, in the transaction that says so."""
    if not finding.is_open or finding.severity != Severity.HOLD_NOW:
        return None
    if Hold.objects.filter(finding=finding, released_at=None).exists():
        return None
    joint = finding.joint
    hold = Hold(
        site_id=joint.asset.site_id,
        asset=joint.asset,
        joint=joint,
        finding=finding,
        reason=finding.severity_reason,
        placed_by=None,
        placed_at=now,
    )
    return _place(hold, None, now)


def release_hold(*, hold_id: int, reason: str, evidence: str, actor: Person, now: datetime) -> Hold:
    """Lift a hold. Only a named authority of the site, never who did the work, with the reason and the evidence.

    Refusals: ``engineer_not_certified``, ``not_release_authority``, ``did_the_work``, ``reason_needed``,
    ``evidence_needed``, ``already_released``, ``finding_still_open`` (what it stands on still says *hold now*).
    """
    require_authority(actor, hold_id, now)
    if not reason.strip():
        raise Unprocessable("reason_needed", "Say why it is safe again.", field="reason")
    if not evidence.strip():
        raise Unprocessable("evidence_needed", "Name the report, certificate or photo relied on.", field="evidence")
    with transaction.atomic():
        hold = (
            Hold.objects.select_for_update(of=("self",))
            .select_related("finding", "asset", "joint", "site")
            .get(pk=hold_id)
        )
        if hold.released_at is not None:
            raise _already("already_released", "It was lifted", hold, hold.released_by, hold.released_at)
        if eyes.worked_on_held(hold, actor):
            raise NotAllowed("did_the_work", "You did the work on it; another authority must lift the hold.")
        if hold.finding and hold.finding.is_open and hold.finding.severity == Severity.HOLD_NOW:
            message = "The finding still says hold now. Repair it, or let an engineer sign an assessment, first."
            raise Conflict("finding_still_open", message, finding=hold.finding_id)
        hold.released_by, hold.released_at = actor, now
        hold.release_reason, hold.release_evidence = reason.strip(), evidence.strip()[:240]
        hold.save()
        facts = {"reason": hold.release_reason, "evidence": hold.release_evidence}
        _write_down(hold, "hold.released", actor, now, **facts)
        events.hold_released.send(sender=__name__, hold=hold, now=now)
    return hold


def require_authority(actor: Person, hold_id: int, now: datetime) -> None:
    """Refuse who may not lift this hold by role, certificate and name; doors ask it before they look at what was sent.

    Whether the person did the work is judged with the hold locked.
    """
    site_id = Hold.objects.filter(pk=hold_id).values_list("site_id", flat=True).first()
    if site_id is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    people.require_signature(actor, "hold.release", site_id, now)
    if not people.is_release_authority(actor, site_id):
        could = people.who_could_sign("hold.release", site_id, now)
        who_could = f"{' or '.join(could)} could." if could else "Nobody at this site could today."
        message = f"Only a person named as release authority of this site lifts a hold. {who_could}"
        raise NotAllowed("not_release_authority", message, who_could=could)


def _place(hold: Hold, actor: Person | None, now: datetime) -> Hold:
    try:
        with transaction.atomic():
            hold.save(force_insert=True)
    except IntegrityError:
        rows = Hold.objects.select_related("site", "placed_by").filter(finding=hold.finding, released_at=None)
        standing = rows.first() or hold  # lifted again meanwhile: then this one may be placed by asking once more
        said = "A hold stands on this finding already: placed"
        raise _already("already_held", said, standing, standing.placed_by, standing.placed_at) from None
    _write_down(hold, "hold.placed", actor, now, reason=hold.reason)
    events.hold_placed.send(sender=__name__, hold=hold, now=now)
    return hold


def _already(code: str, said: str, hold: Hold, who: Person | None, at: datetime) -> Conflict:
    """Who was first, and when, by the site's clock."""
    name = who.display_name if who else "the rule table"
    return Conflict(
        code, f"{said} {by_and_when(name, at, hold.site.time_zone)}.", hold=hold.pk, by=name, at=at.isoformat()
    )


def _write_down(hold: Hold, deed: str, actor: Person | None, now: datetime, **facts: str) -> None:
    record.append(
        site_id=hold.site_id,
        deed=deed,
        actor=actor,
        subject=hold,
        content={"finding": hold.finding_id, **facts},
        now=now,
        asset_id=hold.asset_id,
        joint_id=hold.joint_id,
    )
