"""Everything that a technician needs where there is no signal, as one JSON bundle for the device."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery

from assets_app.inspections import kinds
from assets_app.inspections.models import Evidence, Finding, Inspection
from assets_app.inspections.queries import evidence_for, with_sizes
from assets_app.people import qualification_rules
from assets_app.people import rules as rights
from assets_app.people.models import Person
from assets_app.people.queries import day_at, qualified_for, roles_at, sites_of, welders_for
from assets_app.register import joint_drawing
from assets_app.register.drawing import weld_section
from assets_app.register.models import Asset, Joint, Site
from schedules.duty.models import Counter, Reading
from schedules.work import queries, rules, welding
from schedules.work.models import Hold, Step, Wait, WorkOrder
from schedules.work.steel import bolts

MOST_ORDERS = 60  # the most urgent ones; more does not fit a day, and the first visit is to stay small
PHOTOS_A_JOINT = 2  # the newest ones

MOST_JOINTS = 200  # of one asset, named for a finding on the way; the others are held and reported with the asset

# key of the bundle -> field of the row
_STEP = "sequence text kind unit required value done_at".split()
_PART = "id name quantity arrived_on".split()


def bundle(person: Person, *, now: datetime) -> dict[str, Any]:
    """My orders with their joints, drawings, steps, findings, holds and counters, and the words to choose from.

    The same state of the database gives the same bundle: nothing in it but the day depends on the clock.
    """
    orders, left_out = _my_orders(person, now=now)
    joints = _joints({order.joint_id for order in orders})
    rights_of = _Rights(person, now)
    welded = {order.site_id for order in orders if welding.welds(order)}
    told = {
        "person": {"id": person.pk, "name": person.display_name},
        "sites": {site.pk: _site(site, rights_of, welded) for site in sites_of(person).order_by("name", "pk")},
        "orders": [_order(order, rights_of) for order in orders],
        "left_out": left_out,
        "assets": _assets(orders),
        "joints": {joint.pk: _joint(joint) for joint in joints},
        "elsewhere": _findings_elsewhere({order.asset_id for order in orders}, {joint.pk for joint in joints}),
        "unmeasured": _touch(joint_drawing.unmeasured_touch()),
        "counters": _counters({order.asset_id for order in orders}),
        "bolt_rules": bolts.severity_table(),
        "temporary": [
            [name, work.words, work.on.text, work.on.kind, work.off.text] for name, work in rules.TEMPORARY.items()
        ],
        "kinds": {kind: _kinds(kind) for kind in Joint.Kind.values},
        "positions": list(qualification_rules.POSITIONS.items()),
        "waits": Wait.Reason.choices,
        "results": Inspection.Result.choices,
        "conditions": Inspection.Conditions.choices,
    }
    _add_findings(told["joints"])
    _add_photos(told["joints"])
    return told


def small_photos(person: Person) -> QuerySet[Evidence]:
    """Photos whose small copy the person may take along."""
    return evidence_for(person)


def _my_orders(person: Person, *, now: datetime) -> tuple[list[WorkOrder], int]:
    """What is mine and not done, the most urgent first, and how many more there are."""
    mine = queries.with_put_off(queries.orders_in_sight(person)).filter(assignee=person, state__in=rules.AT_WORK)
    mine = mine.prefetch_related("steps", "parts", "waits")
    ordered = sorted(mine, key=queries.urgency)
    return ordered[:MOST_ORDERS], max(0, len(ordered) - MOST_ORDERS)


def _site(site: Site, rights_of: _Rights, welded: Iterable[int]) -> dict[str, Any]:
    today = day_at(site, rights_of.now)
    return {
        "name": site.name,
        "units": "in" if site.units == Site.Units.US else "mm",
        "today": today.isoformat(),
        "lifts": queries.who_lifts(site.pk),
        "may_look": rights_of.may_sign("VT", site),
        **({"welders": _welders(site, today)} if site.pk in welded else {}),
    }


def _welders(site: Site, today: date) -> list[dict[str, Any]]:
    """Who may weld here today, and what each certificate covers: ``[process, positions as printed, its last day]``."""
    return [
        {
            "id": who.pk,
            "name": who.display_name,
            "holds": [
                [one.process, one.welding_position, min(one.expires_on, qualification_rules.continuity_ends(one))]
                for one in who.qualifications.all()
                if qualification_rules.welder_valid(one, today, process=one.process)
            ],
        }
        for who in welders_for(site.pk, today)
    ]


class _Rights:
    """What a person may do at each site and with each method, asked once."""

    def __init__(self, person: Person, now: datetime) -> None:
        self.person, self.now = person, now
        self._roles: dict[int, frozenset[str]] = {}
        self._able: dict[tuple[int, str], list[Person]] = {}

    def may_work(self, site_id: int) -> bool:
        if site_id not in self._roles:
            self._roles[site_id] = roles_at(self.person, site_id)
        return rights.may("order.work", self._roles[site_id])

    def who_could_sign(self, order: WorkOrder) -> str:
        """Who could sign the look, where this person cannot; empty where it can or where no look is asked for."""
        if order.kind != rules.INSPECT:
            return ""
        if self.may_sign(order.method, order.site):
            return ""
        return " or ".join(who.display_name for who in self._able[order.site_id, order.method]) or "nobody at this site"

    def may_sign(self, method: str, site: Site) -> bool:
        key = (site.pk, method)
        if key not in self._able:
            self._able[key] = qualified_for(method, site.pk, day_at(site, self.now))
        return any(who.pk == self.person.pk for who in self._able[key])


def _order(order: WorkOrder, rights_of: _Rights) -> dict[str, Any]:
    waits = [wait for wait in order.waits.all() if wait.ended_on is None]
    return {
        **{name: getattr(order, name) for name in "id number kind method title due_on planned_on why state".split()},
        **{"version": order.version, "site": order.site_id, "asset": order.asset_id, "joint": order.joint_id},
        "finding": order.finding_id,
        "put_off_until": order.put_off_until,
        "place": order.asset.place or order.asset.name,
        "for_today": queries.is_for_today(order, day_at(order.site, rights_of.now)),
        "may_work": rights_of.may_work(order.site_id),
        "who_could": rights_of.who_could_sign(order),
        "may_check_bolts": order.joint.kind == Joint.Kind.BOLTED and rights_of.may_sign("BC", order.site),
        **({"welds": True} if welding.welds(order) else {}),
        "steps": [_step(step, order.joint) for step in order.steps.all()],
        "parts": [{name: getattr(part, name) for name in _PART} for part in order.parts.all()],
        "waits": [
            {"reason": one.reason, "note": one.note, "since": one.since, "until": one.expected_until} for one in waits
        ],
    }


def _step(step: Step, joint: Joint) -> dict[str, Any]:
    told = {name: getattr(step, name) for name in _STEP}
    if joint.kind == Joint.Kind.BOLTED and step.text in rules.BOLT_STEPS:
        told["sheet"] = True
    return told


def _assets(orders: Iterable[WorkOrder]) -> dict[int, dict[str, Any]]:
    assets: dict[int, Asset] = {order.asset_id: order.asset for order in orders}
    holds: dict[int, list[Hold]] = defaultdict(list)
    for hold in queries.standing_holds(assets):
        holds[hold.asset_id].append(hold)
    joints: dict[int, list[list[Any]]] = defaultdict(list)
    rows = Joint.objects.filter(asset_id__in=assets, active=True).order_by("asset_id", "tag")
    for asset_id, *said in rows.values_list("asset_id", "pk", "tag", "name", "kind"):
        joints[asset_id].append(said)
    return {
        pk: {
            "words": str(asset),
            "tag": asset.tag,
            "site": asset.site_id,
            "joints": joints[pk][:MOST_JOINTS],
            "holds": [
                {
                    "reason": hold.reason,
                    "by": hold.placed_by.display_name if hold.placed_by else "the rule table",
                    "at": hold.placed_at,
                    "joint": hold.joint_id,
                    "where": f"{hold.joint.tag} {hold.joint.name}".strip() if hold.joint else "",
                }
                for hold in holds[pk]
            ],
        }
        for pk, asset in assets.items()
    }


def _joints(ids: Iterable[int]) -> list[Joint]:
    return list(
        Joint.objects.filter(pk__in=list(ids)).select_related("weld", "bolt_group", "asset__site").order_by("pk")
    )


def _joint(joint: Joint) -> dict[str, Any]:
    touch = joint_drawing.touch_drawing(joint)
    weld = getattr(joint, "weld", None)
    section = weld_section(joint_drawing.section_of(weld), (), name=joint.tag) if weld else None
    return {
        **{"tag": joint.tag, "name": joint.name, "kind": joint.kind, "position": joint.position},
        "access": joint.get_access_display() if joint.access else "",
        **({"process": weld.process} if weld and weld.process else {}),
        "drawing": {"svg": section.svg, "words": section.words} if section else None,
        "touch": _touch(touch) if touch else None,
        "bolts": bolts.sheet_facts(joint, joint.asset.site),
        "findings": [],
        "photos": [],
    }


def _touch(touch: joint_drawing.TouchDrawing) -> dict[str, Any]:
    return {
        **{"field": touch.field, "svg": touch.drawing.svg, "words": touch.drawing.words},
        **{"run_mm": touch.run_mm, "diameter_mm": touch.diameter_mm},
    }


def _add_findings(joints: dict[int, dict[str, Any]]) -> None:
    for joint_id, found in _open_findings(Finding.objects.filter(joint_id__in=joints)).items():
        joints[joint_id]["findings"] = found


def _findings_elsewhere(asset_ids: Iterable[int], joint_ids: Iterable[int]) -> dict[int, list[dict[str, Any]]]:
    """Open findings of the assets' other joints, so that one met on the way is known as the same again."""
    rows = Finding.objects.filter(joint__asset_id__in=asset_ids, joint__active=True)
    return _open_findings(rows.exclude(joint_id__in=joint_ids))


def _open_findings(rows: QuerySet[Finding]) -> dict[int, list[dict[str, Any]]]:
    """By joint, the oldest first."""
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for row in rows.filter(state__in=["open", "assessed"]).prefetch_related(with_sizes()).order_by("pk"):
        sizes = list(row.sizes.all())
        found[row.joint_id].append(
            {
                "id": row.pk,
                "kind": row.kind,
                "words": kinds.KINDS[row.kind].words if row.kind in kinds.KINDS else row.kind,
                "severity": row.severity,
                "found_on": row.found_on,
                "size": sizes[-1].as_typed if sizes else "",
                **({"bolts": row.bolts} if row.bolts else {}),
            }
        )
    return found


def _add_photos(joints: dict[int, dict[str, Any]]) -> None:
    for row in Evidence.objects.filter(joint_id__in=joints).order_by("-added_at", "-pk"):
        there = joints[row.joint_id]["photos"]
        if len(there) < PHOTOS_A_JOINT:
            there.append({"id": row.pk, "at": row.taken_at or row.added_at, "caption": row.caption})


def _counters(asset_ids: Iterable[int]) -> list[dict[str, Any]]:
    newest = Reading.objects.filter(counter=OuterRef("pk")).order_by("-read_at")
    rows = Counter.objects.filter(asset_id__in=list(asset_ids)).annotate(
        last_value=Subquery(newest.values("value")[:1]), last_on=Subquery(newest.values("read_on")[:1])
    )
    return [
        {
            **{"id": row.pk, "asset": row.asset_id, "name": row.name, "unit": row.get_unit_display()},
            **{"primary": row.is_primary, "last_value": row.last_value, "last_on": row.last_on},
        }
        for row in rows.order_by("asset_id", "-is_primary", "name")
    ]


def _kinds(joint_kind: str) -> list[list[Any]]:
    """``[group, [[code, words, measure, needs bolts], ...]]`` as a picker shows them."""
    groups = kinds.for_joint(joint_kind).items()
    return [[group, [[one.code, one.words, one.measure, one.needs_bolts] for one in rows]] for group, rows in groups]
