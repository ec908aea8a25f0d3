"""A joint's page: its life line, why each look falls due, its drawing, findings, looks, orders and record."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from assets_app.inspections.kinds import KINDS, LOST
from assets_app.inspections.models import SEVERITY_ORDER, Finding, Inspection
from assets_app.inspections.queries import with_sizes
from assets_app.people import queries as people
from assets_app.people.models import Role
from assets_app.people.rules import may
from assets_app.record.models import RecordEntry
from assets_app.record.sentences import sentence
from assets_app.register.drawing import SeenFinding, weld_section
from assets_app.register.drawing_bolts import bolt_group
from assets_app.register.drawing_run import weld_run
from assets_app.register.joint_drawing import pattern_of, section_of
from assets_app.register.models import Joint
from assets_app.register.pen import Drawing
from schedules.due.growth_data import growth_of, open_growths
from schedules.due.growth_drawing import growth_drawing
from schedules.due.left_out import NOT_OF_AN_ASSET
from schedules.due.life_data import life_of
from schedules.due.life_line import LifeLine, life_line
from schedules.due.list_queries import site_today
from schedules.due.models import NotComputed, Programme
from schedules.due.queries import Explanation, explain
from schedules.planning.standing import standing_holds
from schedules.work.models import Hold, WorkOrder

log = logging.getLogger(__name__)

LOOKS_SHOWN, ORDERS_SHOWN, RECORD_SHOWN, PHOTOS_SHOWN, GROWTHS_SHOWN = 20, 12, 8, 8, 3


@dataclass(frozen=True)
class ListedFinding:
    """A finding with its number on the drawing and its latest size in words."""

    number: int
    finding: Finding
    words: str
    size_words: str


@require_safe
@login_required
def joint(request: HttpRequest, pk: int) -> HttpResponse:
    """The page. A joint at a site where the person has no role is not there."""
    rows = Joint.objects.select_related("asset__site", "member", "other_member", "weld", "bolt_group")
    found = get_object_or_404(rows, pk=pk, asset__site__in=people.sites_of(request.user))
    now, site = timezone.now(), found.asset.site
    today = site_today(site, now)
    told, unexplained = _explained(found, now)
    lead = next((each for each in told if each.method == request.GET.get("method")), told[0] if told else None)
    holds = standing_holds([found.pk], [found.asset_id])
    life = _life(found, lead, today, holds)
    listed = _findings(found)
    open_ones = [each for each in listed if each.finding.is_open]
    roles = people.roles_at(request.user, site.pk)
    context = {
        "joint": found,
        "asset": found.asset,
        "today": today,
        "told": told,
        "lead": lead,
        "holds": holds,
        "unexplained": unexplained,
        "left_out": NotComputed.objects.filter(asset_id=found.asset_id).first(),
        "who_lifts": _who_lifts(site.pk),
        "life": life_line(life, name=found.tag),
        "life_narrow": life_line(life, name=found.tag, narrow=True),
        "drawings": joint_drawings(found, open_ones),
        "growths": _growths(found, now),
        "open_findings": open_ones,
        "closed_findings": [each for each in listed if not each.finding.is_open],
        "looks": _looks(found),
        "photos": found.evidence.select_related("added_by").order_by("-added_at", "-id")[:PHOTOS_SHOWN],
        "orders": _orders(found),
        "record": _record(found),
        "facts": register_facts(found),
        "may_look": may("bolt_check.record" if found.kind == "bolted" else "inspection.record", roles),
    }
    with timezone.override(ZoneInfo(site.time_zone)):  # every time on the sheet is on the site's clock
        return render(request, "due/joint.html", context)


def _explained(joint: Joint, now: Any) -> tuple[list[Explanation], list[str]]:
    """Each method owed here, the earliest date first, undated ones last; and the methods whose sum broke off, which
    must not take the rest of the sheet from whoever stands at the joint."""
    if not joint.active or joint.asset.status == "retired":
        return [], []
    told, broken = [], []
    owed = Programme.objects.filter(joint=joint, active=True).order_by("method").values_list("pk", "method")
    for pk, method in owed:
        try:
            with transaction.atomic():
                told.append(explain(pk, now=now))
        except NOT_OF_AN_ASSET:
            raise
        except Exception:
            log.exception("the date of programme %s could not be worked out", pk)
            broken.append(method)
    return sorted(told, key=lambda each: (each.due_on is None, each.due_on or date.max)), broken


def _life(joint: Joint, lead: Explanation | None, today: date, holds: Sequence[Hold]) -> LifeLine:
    born = joint.installed_on or joint.asset.commissioned_on
    life = life_of(lead, joint) if lead else LifeLine(today=today, commissioned=born)
    past = Hold.objects.filter(joint=joint, released_at__isnull=False)
    spans = [(hold.placed_at.date(), hold.released_at.date()) for hold in past if hold.released_at]
    spans += [(hold.placed_at.date(), today) for hold in holds]
    return replace(life, holds=[(min(first, last), last) for first, last in spans])


def _growths(joint: Joint, now: datetime) -> list[dict[str, Any]]:
    """The fitted growth of the open cracks drawn, the one that asks first at the head."""
    drawn = []
    for row in open_growths(joint.pk)[:GROWTHS_SHOWN]:
        told, name = growth_of(row.finding, now=now), f"{kind_words(row.finding)} at {joint.tag}"
        wide, narrow = growth_drawing(told, name=name), growth_drawing(told, name=name, narrow=True)
        drawn.append({"finding": row.finding, "name": name, "growth": told, "wide": wide, "narrow": narrow})
    return drawn


def _who_lifts(site_id: int) -> str:
    rows = Role.objects.filter(site_id=site_id, release_authority=True, person__is_active=True).select_related("person")
    names = list(dict.fromkeys(str(row.person) for row in rows))
    return " or ".join(names)


def _findings(joint: Joint) -> list[ListedFinding]:
    """Open ones first, the gravest first; numbered in that order."""
    rows = list(joint.findings.prefetch_related(with_sizes()))
    rows.sort(key=lambda row: (not row.is_open, -SEVERITY_ORDER[row.severity], -row.found_on.toordinal()))
    return [ListedFinding(number, row, kind_words(row), _size_words(row)) for number, row in enumerate(rows, start=1)]


def kind_words(finding: Finding) -> str:
    """``continuous undercut (5011)``; a kind that the catalogue no longer knows is shown as it was written."""
    return KINDS[finding.kind].words if finding.kind in KINDS else finding.kind


def _latest(finding: Finding, name: str) -> float | None:
    values = [getattr(size, name) for size in finding.sizes.all() if getattr(size, name) is not None]
    return values[-1] if values else None


def _size_words(finding: Finding) -> str:
    length, depth = _latest(finding, "length_mm"), _latest(finding, "depth_mm")
    parts = [f"{length:g} mm long"] if length is not None else []
    parts += [f"{depth:g} mm deep"] if depth is not None else []
    if finding.bolts:
        parts.append("bolt " + ", ".join(str(number) for number in finding.bolts))
    return ", ".join(parts)


def _looks(joint: Joint) -> list[Inspection]:
    rows = joint.inspections.select_related("inspector").annotate(photos=Count("evidence"))
    return list(rows.order_by("-inspected_at", "-id")[:LOOKS_SHOWN])


def _orders(joint: Joint) -> list[WorkOrder]:
    return list(joint.work_orders.select_related("assignee").order_by("-raised_at")[:ORDERS_SHOWN])


def _record(joint: Joint) -> list[tuple[RecordEntry, str]]:
    """The newest entries, each with what was done in words."""
    rows = RecordEntry.objects.filter(joint=joint).order_by("-sequence")[:RECORD_SHOWN]
    return [(entry, sentence(entry.deed, entry.facts)) for entry in rows]


# Drawings -------------------------------------------------------------------------------------------------------------


def joint_drawings(joint: Joint, findings: Sequence[ListedFinding]) -> list[tuple[str, Drawing]]:
    """The drawings of a joint with its open findings: (caption, drawing)."""
    seen = [_seen(each) for each in findings]
    weld = getattr(joint, "weld", None)
    if joint.kind == Joint.Kind.BOLTED:
        pattern = pattern_of(getattr(joint, "bolt_group", None))
        return [("Bolts by position, seen along them", bolt_group(pattern, bolt_states(findings), name=joint.tag))]
    section = weld_section(section_of(weld), seen, name=joint.tag)
    run = weld_run(
        seen,
        tube_diameter_mm=weld.tube_diameter_mm if weld else None,
        length_mm=weld.length_mm if weld else None,
        name=joint.tag,
    )
    return [("Cross-section to scale, sizes in mm", section), ("Along the weld", run)]


def bolt_states(findings: Sequence[ListedFinding]) -> dict[int, str]:
    """Bolt number -> its gravest open state: lost before gaping or moving."""
    order = {kind: rank for rank, kind in enumerate((*LOST, "gap", "movement"))}
    states: dict[int, str] = {}
    for each in findings:
        if each.finding.kind not in order:
            continue
        for number in each.finding.bolts:
            worse = states.get(number)
            if worse is None or order[each.finding.kind] < order[worse]:
                states[number] = each.finding.kind
    return states


def _seen(each: ListedFinding) -> SeenFinding:
    row = each.finding
    kind = KINDS.get(row.kind)
    return SeenFinding(
        number=each.number,
        words=each.words,
        severity=row.severity,
        place=row.place,
        depth_mm=_latest(row, "depth_mm"),
        length_mm=_latest(row, "length_mm"),
        clock_deg=row.clock_deg,
        position_mm=row.position_mm,
        is_crack=bool(kind and kind.is_crack),
    )


def register_facts(joint: Joint) -> list[tuple[str, str]]:
    """What the register holds, name and value; an empty value is not known."""
    facts = [
        ("Load path", joint.get_load_path_display()),
        ("Access", joint.get_access_display() if joint.access else ""),
        ("Where", joint.position),
        ("Members", " to ".join(str(m) for m in (joint.member, joint.other_member) if m)),
    ]
    weld, bolts = getattr(joint, "weld", None), getattr(joint, "bolt_group", None)
    if weld:
        category = f"{weld.detail_category_mpa:g} MPa" if weld.detail_category_mpa else ""
        facts += [
            ("Process (ISO 4063)", weld.process),
            ("Detail", weld.detail),
            ("Detail category", category or ("by the catalogue" if weld.detail else "")),
            ("Quality level (ISO 5817)", weld.quality_level),
        ]
    if bolts:
        facts += [
            ("Bolts", f"{bolts.bolt_count} × {bolts.size or 'size not known'}" if bolts.bolt_count else ""),
            ("Property class", bolts.property_class),
            ("Preload", f"{bolts.preload_kn:g} kN" if bolts.preload_kn else ""),
            ("Tightening", bolts.get_tightening_display() if bolts.tightening else ""),
        ]
    return facts
