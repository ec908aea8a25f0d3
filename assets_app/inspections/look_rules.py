"""Whether a report of a look can be so. Pure: the joint with its asset and site is given, and so is the moment."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from assets_app.inspections.inputs import FindingInput, Report
from assets_app.inspections.models import Inspection, Method
from assets_app.refusals import Conflict, Unprocessable
from assets_app.register.models import Joint

MOST_FINDINGS = 50
MOST_PHOTOS = 20
MOST_COUNTED = 1e12


def check(report: Report, joint: Joint, now: datetime) -> None:
    """Refuse a report that cannot be so at this joint; ``now`` is the moment it is sent."""
    if not joint.active:
        raise Conflict("joint_retired", f"{joint.tag} is no longer in use.")
    if report.method == Method.BOLT_CHECK and joint.kind != Joint.Kind.BOLTED:
        raise Unprocessable("method_does_not_fit", "A bolt check needs a bolted joint.", field="method")
    if report.conditions not in Inspection.Conditions.values:
        raise Unprocessable("unknown_conditions", "Conditions are good, normal or poor.", field="conditions")
    _check_day(joint, report.inspected_at, now)
    _check_result(report.result, report.findings)
    if len(report.photos) > MOST_PHOTOS:
        raise Unprocessable("too_many_photos", f"At most {MOST_PHOTOS} photos with one look.", field="photos")
    if report.counter_total is not None and not 0 <= report.counter_total < MOST_COUNTED:
        raise Unprocessable("out_of_range", "The counter's total must be 0 or more.", field="counter_total")


def _check_day(joint: Joint, inspected_at: datetime, now: datetime) -> None:
    if inspected_at > now:
        raise Unprocessable("in_the_future", "The look lies ahead. Give the time it was done.", field="inspected_at")
    begin = joint.installed_on or joint.asset.commissioned_on
    if begin is not None and inspected_at.astimezone(ZoneInfo(joint.asset.site.time_zone)).date() < begin:
        message = f"{joint.tag} is in use only since {begin:%-d %b %Y}."
        raise Unprocessable("before_commissioning", message, field="inspected_at")


def _check_result(result: str, findings: Sequence[FindingInput]) -> None:
    if result not in Inspection.Result.values:
        raise Unprocessable("unknown_result", "The result is accepted, findings or incomplete.", field="result")
    if len(findings) > MOST_FINDINGS:
        raise Unprocessable("too_many_findings", f"At most {MOST_FINDINGS} findings with one look.", field="findings")
    if result == Inspection.Result.FINDINGS and not findings:
        raise Unprocessable("findings_missing", "The result says findings, but none is given.", field="findings")
    if result == Inspection.Result.ACCEPTED and findings:
        raise Unprocessable("result_contradicts", "Findings are given, so the result is findings.", field="result")
