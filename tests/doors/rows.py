"""Who may go through which door: one row for each address and HTTP method. A new door needs a new row here.

A guard is a deed of ``assets_app.people.rules.MAY`` (or several, any of which suffices), or one of the words below.
``refused`` and ``outsider`` are what those are answered who may not: 403 at the site and 404 elsewhere, unless the door
offers a choice in which the thing of another site does not stand, which is 422.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile

from assets_app.labels.rules import GRIDS
from tests.doors.world import MARK, PASSWORD, REGISTER_FILE, World, photo_bytes

PUBLIC = "public"
SIGNED_IN = "signed in"  # anybody; what is shown is the person's own, or of the person's sites
OWN = "own"  # the technician's own thing
READ = "read"
WORK, PLAN = ("order.work",), ("order.plan",)
EITHER = (*WORK, *PLAN)
SHOWN = {"hand_over": "show"}
CHANGED = {"current": PASSWORD, "password": "tern-over-the-mole", "again": "tern-over-the-mole"}
Of = Callable[[World], dict[str, Any]]


def _nothing(_: World) -> dict[str, Any]:
    return {}


@dataclass(frozen=True)
class Row:
    """One door; ``where`` gives the address its arguments, ``sent`` the query or the content."""

    guard: str | tuple[str, ...]
    where: Of = _nothing
    sent: Of = _nothing
    form: bool = False  # the content travels as a form, not as JSON; always so at pages
    refused: int = 403
    outsider: int = 404
    content: tuple[int, ...] = ()  # refusals about the content that stand for "may" as well
    shows: bool = False  # the answer to those who may shows the site's things


def pk(name: str, argument: str = "pk") -> Of:
    return lambda w: {argument: getattr(w, name)}


def upload(content: bytes = REGISTER_FILE, name: str = "register.csv") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content)


def readings_file() -> SimpleUploadedFile:
    return upload(b"asset,counter,read_at,value\nR-01,,2026-06-15 09:00,950\n")


def photo() -> SimpleUploadedFile:
    return upload(photo_bytes(), "weld.jpg")


def on(order: str, **more: Any) -> Of:
    """Content of a deed on an order, with the version as it was seen."""
    return lambda w: {
        "version": w.version(getattr(w, order)),
        **{k: v(w) if callable(v) else v for k, v in more.items()},
    }


LISTED = Row(SIGNED_IN, shows=True)
AT = "2026-06-15T08:30:00Z"
LOOK = {"method": "VT", "inspected_at": AT, "result": "accepted"}
FINDINGS = {"findings-TOTAL_FORMS": 1, "findings-INITIAL_FORMS": 0}
KIND = {"kind": "ride", "status": "in service", "consequence": "high"}
MARK_ON = {"shape": "text", "x": 0.5, "y": 0.5, "text": "here"}
HOOK = "https://hooks.example.org/in"
TAGS = {"asset_tag": "R-01", "joint_tag": "W-001"}
WHY = {"reason": "seen on the rounds"}
GRAVER = {"severity": "hold now", **WHY}
MILDER = {"severity": "watch", **WHY}
STANDS = {"severity": "watch", "ends_on": "2026-06-20", **WHY}
RELEASE = {"reason": "repaired", "evidence": "report 7"}
DAYS = {"opens_month": 4, "opens_day": 1, "closes_month": 9, "closes_day": 30}
SPECTRUM = {"bins": [[20.0, 1.0]], "status": "assumed", "source": "estimate", "valid_from": "2026-06-01"}
RECORDING = {"unit": "mpa", "operating_cycles": 10}
PUT_OFF = {"ends_on": "2026-06-25", "reason": "no crane", "interim_measure": "half load"}


def recorded() -> SimpleUploadedFile:
    return upload(b"time,stress\n" + b"".join(b"%d,%d\n" % (k, 10 * (k % 2)) for k in range(50)), "stress.csv")


REGISTER_API = {
    "GET api-site-list": LISTED,
    "GET api-site-detail": Row(READ, pk("site"), shows=True),
    "GET api-asset-list": LISTED,
    "POST api-asset-list": Row("register.change", sent=lambda w: {"site": w.site, "tag": "N-1", "name": "New", **KIND}),
    "GET api-asset-detail": Row(READ, pk("asset"), shows=True),
    "PATCH api-asset-detail": Row("register.change", pk("asset"), lambda w: {"note": "painted"}),
    "GET api-member-list": LISTED,
    "POST api-member-list": Row("register.change", sent=lambda w: {"asset": w.asset, "tag": "C-9"}),
    "GET api-member-detail": Row(READ, pk("member"), shows=True),
    "PATCH api-member-detail": Row("register.change", pk("member"), lambda w: {"name": "column"}),
    "GET api-joint-list": LISTED,
    "POST api-joint-list": Row(
        "register.change",
        sent=lambda w: {"asset": w.asset, "tag": "W-900", "kind": "weld", "weld": {"leg_mm": "1/4 in"}},
    ),
    "GET api-joint-detail": Row(READ, pk("weld"), shows=True),
    "PATCH api-joint-detail": Row("register.change", pk("weld"), lambda w: {"note": "painted"}),
    "GET api-import-list": LISTED,
    "POST api-import-list": Row(
        "register.import", sent=lambda w: {"site": w.site, "file": upload(), "dry_run": "true"}, form=True
    ),
    "GET api-import-template": Row(SIGNED_IN, lambda w: {"kind": "certificates"}),
    "GET api-import-detail": Row(READ, pk("checked_import"), shows=True),
    "POST api-import-write": Row("register.import", pk("checked_import")),
}
INSPECTIONS_API = {
    "GET api-inspection-list": LISTED,
    "POST api-inspection-list": Row("inspection.record", sent=lambda w: {"joint": w.weld, **LOOK}),
    "GET api-inspection-detail": Row(READ, pk("look"), shows=True),
    "POST api-inspection-correct": Row("inspection.record", pk("clean_look"), lambda w: LOOK | WHY),
    "GET api-finding-list": LISTED,
    "GET api-finding-detail": Row(READ, pk("finding"), shows=True),
    "POST api-finding-raise-severity": Row("finding.raise", pk("finding"), lambda w: GRAVER),
    "POST api-finding-lower-severity": Row("finding.lower", pk("finding"), lambda w: MILDER),
    "POST api-finding-assess": Row("finding.assess", pk("finding"), lambda w: STANDS),
    "POST api-finding-close": Row("finding.close", pk("finding"), lambda w: WHY),
    "POST api-finding-join": Row(  # it is no earlier one of itself
        "finding.close", pk("finding"), lambda w: {"same_as": w.finding, **WHY}, content=(422,)
    ),
    "GET api-assessment-list": LISTED,
    "POST api-assessment-list": Row(  # the joint's life is not used up: nothing to sign, but for the engineer only
        "finding.assess", sent=lambda w: {"joint": w.weld, "ends_on": "2026-07-01", **WHY}, content=(409, 422)
    ),
    "GET api-assessment-detail": Row(READ, pk("assessment"), shows=True),
    "GET api-evidence-list": LISTED,
    "POST api-evidence-list": Row("evidence.add", sent=lambda w: {"joint": w.weld, "photo": photo()}, form=True),
    "GET api-evidence-detail": Row(READ, pk("photo"), shows=True),
    "GET api-evidence-view": Row(READ, pk("photo")),
}
PEOPLE_API = {
    "GET api-person-list": LISTED,
    "POST api-person-list": Row(
        "account.change",
        sent=lambda w: {"site": w.site, "username": "wick", "first_name": "Wick", "role": "technician", **SHOWN},
    ),
    "POST api-person-sign-in-link": Row("account.change", pk("worker"), lambda w: SHOWN),
    "POST api-person-mails-again": Row("account.change", pk("worker")),
    "POST api-person-shut-account": Row("account.change", pk("worker"), lambda w: WHY),
    "POST api-person-open-account": Row("account.change", pk("worker"), content=(409,)),  # it is open
    "GET api-person-me": Row(SIGNED_IN),
    "POST api-person-my-password": Row(SIGNED_IN, sent=lambda w: CHANGED, content=(422,)),
    "GET api-person-detail": Row(READ, pk("worker"), shows=True),
    "POST api-person-give-role": Row(
        "people.change", sent=lambda w: {"site": w.site, "username": "worker", "name": "inspector"}
    ),
    "POST api-person-take-role": Row("people.change", pk("worker"), lambda w: {"site": w.site, "name": "technician"}),
    "POST api-person-email": Row("people.change", pk("worker"), lambda w: {"email": "new@pier.example"}),
    "GET api-qualification-list": LISTED,
    "POST api-qualification-list": Row(
        "people.change",
        sent=lambda w: {
            **{"site": w.site, "person": w.worker, "kind": "ndt", "method": "VT", "level": 2},
            **{"issued_on": "2026-01-01", "expires_on": "2030-01-01", "certificate": "VT-7"},
        },
    ),
    "POST api-qualification-withdraw": Row(
        "people.change", pk("welding"), lambda w: {"site": w.site, "ends_on": "2026-06-10", **WHY}
    ),
    "POST api-qualification-confirm": Row(
        "people.change", pk("welding"), lambda w: {"site": w.site, "used_on": "2026-06-10"}
    ),
    "GET api-token-list": Row(SIGNED_IN),
    "POST api-token-list": Row(PUBLIC, sent=lambda w: {"username": "worker", "password": PASSWORD, "name": "phone"}),
    "DELETE api-token-detail": Row(OWN, pk("token")),
    "GET api-record-list": LISTED,
    "GET api-record-detail": Row(READ, pk("entry"), shows=True),
    "GET api-record-export": Row(READ, pk("site", "site"), shows=True),
    "POST api-record-check-now": Row("record.check", pk("site", "site")),
    "GET api-record-check-list": LISTED,
    "GET api-record-check-detail": Row(READ, pk("record_check"), shows=True),
}
DUTY_API = {
    "GET api-counter-list": LISTED,
    "POST api-counter-list": Row(
        "counter.change", sent=lambda w: {"asset": w.asset, "name": "doors", "unit": "cycles", "is_primary": False}
    ),
    "GET api-counter-detail": Row(READ, pk("counter"), shows=True),
    "PUT api-counter-detail": Row(
        "counter.change", pk("counter"), lambda w: {"rolls_over_at": None, "expected_every_days": 7}
    ),
    "POST api-counter-exchange": Row(
        "reading.post", pk("counter"), lambda w: {"closing_value": 950, "opening_value": 0, "at": AT}
    ),
    "GET api-counter-forecast": Row(READ, pk("counter")),
    "GET api-reading-list": LISTED,
    "POST api-reading-list": Row("reading.post", sent=lambda w: {"counter": w.counter, "value": 950, "read_at": AT}),
    "POST api-reading-bulk": Row(
        "reading.post", sent=lambda w: {"readings": [{"counter": w.counter, "value": 950, "read_at": AT}]}
    ),
    "POST api-reading-file": Row("reading.post", sent=lambda w: {"site": w.site, "file": readings_file()}, form=True),
    "GET api-reading-detail": Row(READ, pk("reading"), shows=True),
    "POST api-reading-withdraw": Row("counter.change", pk("reading"), lambda w: WHY),
    "GET api-season-list": LISTED,
    "POST api-season-list": Row("season.change", sent=lambda w: {"site": w.site, "name": "winter", **DAYS}),
    "GET api-season-detail": Row(READ, pk("season"), shows=True),
    "PUT api-season-detail": Row("season.change", pk("season"), lambda w: {"name": "summer", **DAYS}),
    "DELETE api-season-detail": Row("season.change", pk("season")),
    "GET api-spectrum-list": LISTED,
    "POST api-spectrum-list": Row("spectrum.change", sent=lambda w: {"joint": w.weld, **SPECTRUM}),
    "GET api-spectrum-detail": Row(READ, pk("spectrum"), shows=True),
    "GET api-recording-list": LISTED,
    "POST api-recording-list": Row(
        "spectrum.change", sent=lambda w: {"asset": w.asset, "file": recorded(), **RECORDING}, form=True
    ),
    "GET api-recording-detail": Row(READ, pk("recording"), shows=True),
    "POST api-recording-use": Row(
        "spectrum.change", pk("recording"), lambda w: {"joints": [w.weld], "valid_from": "2026-06-01"}
    ),
}
DUE_API = {
    "GET api-due-dates": Row(SIGNED_IN),
    "GET api-recomputes": Row(SIGNED_IN),
    "GET api-due-date": Row(READ, pk("programme", "programme")),
    "GET api-sum": Row(READ, pk("programme", "programme")),
    "POST api-sum": Row(READ, pk("programme", "programme"), lambda w: {"wall_mm": 14}),
    "GET api-programmes": LISTED,
    "POST api-programmes": Row(
        "programme.change", sent=lambda w: {"joint": w.weld, "method": "VT", "calendar_months": 12}
    ),
    "POST api-fixed-days": Row(
        "programme.change", sent=lambda w: {"joint": w.weld, "due_on": "2026-09-01", "why": "maker's letter"}
    ),
    "GET api-like-joints": Row(READ, pk("weld", "joint")),
    "POST api-like-joints": Row(
        "sweep.owe",
        pk("weld", "joint"),
        lambda w: {"joints": [w.bolted], "due_on": "2090-01-01", "why": "cracked"},
        content=(422,),  # a joint at which nothing is owed
    ),
    "POST api-owed-look-withdraw": Row("owed_look.withdraw", pk("owed_look", "owed"), lambda w: WHY),
    "GET api-policies": Row(SIGNED_IN),
    "POST api-policies": Row("policy.change", sent=lambda w: {"site": w.site, "watch_days": 20, **WHY}),
}
WORK_API = {
    "GET api-orders": LISTED,
    "POST api-orders": Row("order.raise", sent=lambda w: {"joint": w.weld, "kind": "repair", "why": "rust"}),
    "POST api-orders-raise-due": Row("order.raise", sent=lambda w: {"site": w.site, "within_days": 30}),
    "GET api-order": Row(READ, pk("order", "order"), shows=True),
    "POST api-order-step": Row(WORK, lambda w: {"order": w.order, "sequence": 1}, on("order")),
    "POST api-order-finish": Row(WORK, pk("ready", "order"), on("ready")),
    "POST api-order-assign": Row(PLAN, pk("order", "order"), on("order", assignee_id=lambda w: w.worker)),
    "POST api-order-plan": Row(PLAN, pk("order", "order"), on("order", planned_on="2026-06-20")),
    "POST api-order-add-part": Row(EITHER, pk("order", "order"), on("order", name="plate")),
    "POST api-order-temporary-work": Row(EITHER, pk("order", "order"), on("order", what="shoring")),
    "POST api-order-order-part": Row(PLAN, pk("order", "order"), on("order", part_id=lambda w: w.part)),
    "POST api-order-part-arrived": Row(EITHER, pk("order", "order"), on("order", part_id=lambda w: w.ordered_part)),
    "POST api-order-wait": Row(EITHER, pk("order", "order"), on("order", reason="parts")),
    "POST api-order-end-wait": Row(EITHER, pk("waiting", "order"), on("waiting")),
    "POST api-order-part-done": Row(WORK, pk("order", "order"), on("order", note="half")),
    "POST api-order-verify": Row("order.verify", pk("done", "order"), on("done")),
    "POST api-order-cancel": Row("order.cancel", pk("order", "order"), on("order", reason="sold")),
    "GET api-holds": LISTED,
    "POST api-holds": Row("hold.place", sent=lambda w: {"joint": w.weld, **WHY}),
    "POST api-hold-release": Row("hold.release", pk("hold", "hold"), lambda w: RELEASE),
    "GET api-deferrals": LISTED,
    "POST api-deferrals": Row(
        "deferral.sign", sent=lambda w: {"order": w.due_order, "version": w.version(w.due_order), **PUT_OFF}
    ),
    "POST api-deferral-withdraw": Row("deferral.sign", pk("deferral", "deferral"), lambda w: WHY),
    "GET api-alerts": Row(SIGNED_IN),
    "POST api-alerts-seen": Row(SIGNED_IN),
    "GET api-alerts-not-delivered": Row(SIGNED_IN),
    "POST api-alert-again": Row("people.change", pk("delivery", "delivery_id")),
}
SERVICE = {
    "GET schema": Row(PUBLIC),
    "GET api-docs": Row(PUBLIC),
    "GET health-live": Row(PUBLIC),
    "GET health-ready": Row(PUBLIC, content=(503,)),  # no broker runs beside the tests
    "GET metrics": Row(PUBLIC),  # from this machine only: tests/assets_app/doors/test_watching.py
    "GET sign-in": Row(PUBLIC),
    "PUT sign-in": Row(PUBLIC),
    "POST sign-in": Row(PUBLIC, sent=lambda w: {"username": "worker", "password": PASSWORD}),
    "POST sign-out": Row(PUBLIC),
    "GET set-password": Row(PUBLIC, lambda w: {"person_id": w.newcomer, "token": w.newcomer_token}),
    "POST set-password": Row(
        PUBLIC,
        lambda w: {"person_id": w.newcomer, "token": w.newcomer_token},
        lambda w: {"password": "tern-over-the-mole", "again": "tern-over-the-mole"},
    ),
    "GET account": Row(SIGNED_IN),
    "POST account": Row(SIGNED_IN, sent=lambda w: CHANGED, content=(422,)),
    "GET home": Row(SIGNED_IN),
}
REGISTER_PAGES = {
    "GET assets": LISTED,
    "GET asset-new": Row(SIGNED_IN),
    "POST asset-new": Row(
        "register.change",
        sent=lambda w: {"site": w.site, "tag": "N-1", "name": "New", **KIND},
    ),
    "GET asset": Row(READ, pk("asset"), shows=True),
    "GET asset-change": Row(READ, pk("asset"), shows=True),
    "POST asset-change": Row("register.change", pk("asset"), lambda w: {"tag": "R-01", "name": f"Gull {MARK}", **KIND}),
    "GET joint-new": Row(READ, pk("asset"), shows=True),
    "POST joint-new": Row("register.change", pk("asset"), lambda w: {"tag": "W-900", "load_path": "single"}),
    "GET joint-change": Row(READ, pk("weld"), shows=True),
    "POST joint-change": Row(
        "register.change", pk("weld"), lambda w: {"tag": "W-001", "load_path": "single", "weld.leg_mm": "6"}
    ),
    "GET joint": Row(READ, pk("weld"), shows=True),
    "GET joint-sum": Row(READ, pk("weld"), shows=True),
    "GET imports": LISTED,
    "POST imports": Row(
        "register.import",
        sent=lambda w: {"site": w.site, "kind": "register", "file": upload(), "dry_run": "on"},
    ),
    "POST imports counters": Row(
        "counter.change", sent=lambda w: {"site": w.site, "kind": "counters", "file": upload(), "dry_run": "on"}
    ),
    "GET import-template": Row(SIGNED_IN, lambda w: {"kind": "counters"}),
    "GET import": Row(READ, pk("checked_import"), shows=True),
    "GET import-progress": Row(READ, pk("checked_import")),
    "POST import-write": Row("register.import", pk("checked_import")),
}
SEEN_PAGES = {
    "GET look-new": Row("inspection.record", pk("weld", "joint_id"), shows=True),
    "POST look-new": Row(
        "inspection.record", pk("weld", "joint_id"), lambda w: {**LOOK, "conditions": "normal", **FINDINGS}
    ),
    "GET finding": Row(READ, pk("finding", "finding_id"), shows=True),
    "POST finding-photos": Row("evidence.add", pk("finding", "finding_id"), lambda w: {"photos": photo()}),
    "POST finding-deed raise": Row(
        "finding.raise", lambda w: {"finding_id": w.finding, "deed": "raise"}, lambda w: GRAVER
    ),
    "POST finding-deed lower": Row(
        "finding.lower", lambda w: {"finding_id": w.finding, "deed": "lower"}, lambda w: MILDER
    ),
    "POST finding-deed assess": Row(
        "finding.assess", lambda w: {"finding_id": w.finding, "deed": "assess"}, lambda w: STANDS
    ),
    "POST finding-deed join": Row(
        "finding.close",
        lambda w: {"finding_id": w.finding, "deed": "join"},
        lambda w: {"same_as": w.finding, **WHY},
        content=(422,),
    ),
    "POST finding-deed close": Row(
        "finding.close", lambda w: {"finding_id": w.finding, "deed": "close"}, lambda w: WHY
    ),
    "GET look": Row(READ, pk("look", "inspection_id"), shows=True),
    "GET look-correct": Row("inspection.record", pk("look", "inspection_id"), shows=True),
    "POST look-correct": Row(
        "inspection.record", pk("look", "inspection_id"), lambda w: {"reason": ""}, content=(422,)
    ),
    "GET evidence-view": Row(READ, pk("photo", "evidence_id")),
    "GET people": LISTED,
    "GET person": Row(READ, pk("worker", "person_id"), shows=True),
    "POST person-add": Row(
        "account.change",
        sent=lambda w: {"site_id": w.site, "username": "wick", "first_name": "Wick", "role": "technician", **SHOWN},
    ),
    "POST person-link": Row("account.change", pk("worker", "person_id"), lambda w: SHOWN),
    "POST person-mails-again": Row("account.change", pk("worker", "person_id")),
    "POST person-shut": Row("account.change", pk("worker", "person_id"), lambda w: WHY),
    "POST person-open": Row("account.change", pk("worker", "person_id"), content=(409,)),
    "POST role-give": Row(
        "people.change", sent=lambda w: {"site_id": w.site, "username": "worker", "name": "inspector"}
    ),
    "POST person-role-take": Row(
        "people.change", pk("worker", "person_id"), lambda w: {"site_id": w.site, "name": "technician"}
    ),
    "POST person-email": Row("people.change", pk("worker", "person_id"), lambda w: {"email": "new@pier.example"}),
    "POST person-certificate-used": Row(
        "people.change",
        lambda w: {"person_id": w.worker, "qualification_id": w.welding},
        lambda w: {"used_on": "2026-06-10"},
    ),
    "POST person-certificate-end": Row(
        "people.change",
        lambda w: {"person_id": w.worker, "qualification_id": w.welding},
        lambda w: {"ends_on": "2026-06-10", **WHY},
    ),
    "POST person-certificate": Row(
        "people.change",
        pk("worker", "person_id"),
        lambda w: {
            **{"site_id": w.site, "kind": "welder", "process": "135", "welding_position": "PA PF"},
            **{"issued_on": "2026-01-01", "expires_on": "2028-01-01", "certificate": "W-7"},
        },
    ),
    "GET record": LISTED,
    "GET record-export": Row(READ, pk("site", "site_id"), shows=True),
    "GET record-verifier": Row(SIGNED_IN),
    "POST record-check-now": Row("record.check", pk("site", "site_id")),
    "GET record-check": Row(READ, pk("record_check"), shows=True),
    "GET record-check-progress": Row(READ, pk("record_check"), shows=True),
}
DUTY_PAGES = {
    "GET counter": Row(READ, pk("counter"), shows=True),
    "POST counter": Row("reading.post", pk("counter"), lambda w: {"value": "950", "read_at": "2026-06-15T09:30"}),
    "POST meter-exchange": Row(
        "reading.post",
        pk("counter"),
        lambda w: {
            "exchange-closing_value": "950",
            "exchange-opening_value": "0",
            "exchange-read_at": "2026-06-15T09:30",
        },
    ),
    "GET reading-withdraw": Row("counter.change", pk("reading"), shows=True),
    "POST reading-withdraw": Row("counter.change", pk("reading"), lambda w: WHY),
    "GET readings-import": Row(SIGNED_IN),  # the form to who may; to others who could
    "POST readings-import": Row("reading.post", sent=lambda w: {"site": w.site, "file": readings_file()}),
    "GET recordings": Row(READ, pk("asset"), shows=True),
    "POST recordings": Row(
        "spectrum.change",
        pk("asset"),
        lambda w: {
            **{"file": recorded(), "cleaning": "spikes", "residue": "closed", "bin_width_mpa": "1"},
            **{"youngs_modulus_mpa": "210000", **RECORDING},
        },
    ),
    "GET recording": Row(READ, pk("recording"), shows=True),
    "POST recording-use": Row(
        "spectrum.change",
        pk("recording"),
        lambda w: {
            **{"joints": [w.weld], "scale": "1", "kind": "direct", "bending_share": "0", "valid_from": "2026-06-01"}
        },
    ),
}
LABELS_AND_MARKS = {
    "GET api-photo-marks": Row(READ, pk("photo", "evidence"), shows=True),
    "POST api-photo-marks": Row("evidence.add", pk("photo", "evidence"), lambda w: MARK_ON),
    "POST api-mark-strike": Row("evidence.add", pk("mark", "mark"), lambda w: WHY),
    "GET api-joint-photos": Row(READ, pk("weld", "joint"), shows=True),
    "GET joint-photos": Row(READ, pk("weld", "joint_id"), shows=True),
    "GET photo-marks": Row(READ, pk("photo", "evidence_id"), shows=True),
    "POST photo-marks": Row(
        "evidence.add", pk("photo", "evidence_id"), lambda w: {"shape": "text", "x": "50", "y": "50", "text": "here"}
    ),
    "POST mark-strike": Row("evidence.add", pk("mark", "mark_id"), lambda w: WHY),
    "GET api-labels": Row(SIGNED_IN),
    "POST api-labels": Row("label.issue", sent=lambda w: {"joints": [w.bolted]}),
    "GET api-label-sheet": Row(READ, sent=lambda w: {"joint": [w.weld], "layout": next(iter(sorted(GRIDS)))}),
    "GET api-label-scanned": Row(READ, lambda w: {"token": w.label_token}),
    "POST api-label-reissue": Row("label.withdraw", pk("weld", "joint"), lambda w: WHY),
    "GET label-scanned": Row(READ, lambda w: {"token": w.label_token}),
    "GET labels": Row(READ, pk("asset", "asset_id"), shows=True),
    "POST labels": Row(
        "label.issue",
        pk("asset", "asset_id"),
        lambda w: {"joints": [w.bolted], "layout": next(iter(sorted(GRIDS))), "page": "A4", "start_at": 1},
    ),
    "POST label-reissue": Row("label.withdraw", pk("weld", "joint_id"), lambda w: WHY),
}
SITE: Of = lambda w: {"slug": w.slug}  # noqa: E731
RULE = {"kind": "overdue", "in_app": "on", "email": "on", **WHY}
OFFICE = {
    "GET api-table": Row(READ, lambda w: {"name": "bolt_classes"}, lambda w: {"site": w.site}),
    "POST api-table": Row(
        "table.replace", lambda w: {"name": "bolt_classes"}, lambda w: {"site": w.site, **WHY}, content=(409, 404)
    ),  # there is no table of the office's own to take back
    "GET policy": Row(READ, SITE, shows=True),
    "POST policy": Row("policy.change", SITE, lambda w: WHY, content=(422,)),
    "GET office-table": Row(READ, lambda w: {"slug": w.slug, "name": "bolt_classes"}, shows=True),
    "POST office-table": Row(
        "table.replace",
        lambda w: {"slug": w.slug, "name": "bolt_classes"},
        lambda w: {"text": "", **WHY},
        content=(422,),
    ),
    "GET office-tables": Row(SIGNED_IN),
    "GET sweeps": Row(SIGNED_IN),
    "GET api-alert-rules": Row(SIGNED_IN),
    "GET api-alert-rules-standing": Row(SIGNED_IN),
    "POST api-alert-rules": Row(
        "people.change", sent=lambda w: {"site": w.site, "kind": "overdue", "role": "manager", **WHY}
    ),
    "GET alert-rules": Row(READ, SITE, shows=True),
    "POST alert-rules": Row("people.change", SITE, lambda w: RULE, content=(422,)),
    "GET api-webhooks": Row(SIGNED_IN),
    "POST api-webhooks": Row("people.change", sent=lambda w: {"site": w.site, "url": HOOK}),
    "PATCH api-webhook": Row("people.change", pk("webhook", "endpoint_id"), lambda w: {"is_on": False}),
    "POST api-webhook-again": Row("people.change", pk("webhook", "endpoint_id")),
    "GET webhooks": Row("people.change", SITE, shows=True),
    "POST webhooks": Row("people.change", SITE, lambda w: {"url": HOOK}),
    "POST webhook-deed": Row("people.change", pk("webhook", "endpoint_id"), lambda w: {"deed": "off"}),
    "GET api-alert-settings": Row(SIGNED_IN),
    "PUT api-alert-settings": Row(SIGNED_IN, sent=lambda w: {"digest_hour": 8}),
    "GET alert-settings": Row(SIGNED_IN),
    "POST alert-settings": Row(SIGNED_IN, sent=lambda w: {"make_link": "1"}),
    "GET api-calendar-links": Row(SIGNED_IN),
    "POST api-calendar-links": Row(SIGNED_IN),
    "DELETE api-calendar-link": Row(OWN, pk("link", "link_id")),
    "POST calendar-link-revoked": Row(OWN, pk("link", "link_id")),
    "GET calendar": Row(PUBLIC, lambda w: {"token": w.calendar_token}),  # who knows the link
    "POST api-alert-acknowledge": Row(OWN, pk("delivery", "delivery_id")),
    "POST alert-acknowledge": Row(OWN, pk("delivery", "delivery_id")),
}
STEEL = {
    "POST api-steel-hold": Row("hold.place", sent=lambda w: {"site": w.site, **TAGS, **WHY}),
    "POST api-steel-look": Row("inspection.record", sent=lambda w: {"site": w.site, **TAGS, **LOOK}),
    "GET api-steel-who": Row(SIGNED_IN),
    "GET api-steel-bundle": Row(SIGNED_IN),
    "GET api-steel-photo": Row(READ, pk("photo", "evidence"), content=(404,)),  # only of the person's own orders
    "GET steel": Row(PUBLIC),  # a shell that holds nothing: it must open without signal
    "GET steel-script": Row(PUBLIC),
    "GET steel-style": Row(PUBLIC),
    "GET steel-manifest": Row(PUBLIC),
    "GET steel-worker": Row(PUBLIC),
    "GET steel-worker-sync": Row(PUBLIC),
}
SPAN = {"since": "2026-06-01", "until": "2026-06-15"}
SETTING_UP = {
    "GET asset-duty": Row(READ, pk("asset"), shows=True),
    "POST asset-duty counter": Row(
        "counter.change",
        pk("asset"),
        lambda w: {"deed": "counter", "name": "doors", "unit": "cycles", "expected_every_days": "14"},
    ),
    "POST asset-duty season": Row(
        "season.change",
        pk("asset"),
        lambda w: {
            **{"deed": "season", "name": "winter", "opens": "2026-11-01", "closes": "2026-12-01"},
            **{"weekdays": ["0", "1"]},
        },
    ),
    "GET spectrum": Row(READ, pk("weld"), shows=True),
    "POST spectrum": Row(
        "spectrum.change",
        pk("weld"),
        lambda w: {**SPECTRUM, "bins": "20 1", "kind": "direct", "bending_share": "0"},
    ),
    "GET programme": Row(READ, pk("weld"), shows=True),
    "POST programme": Row(
        "programme.change",
        pk("weld"),
        lambda w: {
            **{"deed": "programme", "method": "VT", "calendar_months": "12", "conditions": "normal", "active": "on"}
        },
    ),
    "GET like-joints": Row(READ, pk("weld"), shows=True),
    "POST like-joints": Row(
        "sweep.owe", pk("weld"), lambda w: {"due_on": "2090-01-01", "why": "cracked"}, content=(422,)
    ),
    "GET bolt-sheet": Row("bolt_check.record", pk("bolted", "joint_id"), shows=True),
    "POST bolt-sheet": Row("bolt_check.record", pk("bolted", "joint_id"), lambda w: {"rest": "1"}),
    "GET api-bolt-sheets": LISTED,
    "POST api-bolt-sheets": Row(
        "bolt_check.record",
        sent=lambda w: {
            **{"joint": w.bolted, "inspected_at": "2026-06-15T08:00:00Z", "dry_run": True},
            **{"bolts": [{"number": 1, "state": "ok"}]},
        },
    ),
    "GET api-finding-growth": Row(READ, pk("finding", "finding")),
    "GET finding-growth": Row(READ, pk("finding", "finding_id")),
    "GET api-joint-report": Row(READ, pk("weld", "joint"), lambda w: SPAN),
    "GET api-asset-report": Row(READ, pk("asset", "asset"), lambda w: SPAN),
    "GET api-hold-certificate": Row(READ, pk("hold", "hold"), content=(409,)),  # it stands: nothing to certify
    "GET api-report-list": LISTED,
    "POST api-report-list": Row(READ, sent=lambda w: {"joint": w.weld, **SPAN}),
    "GET api-report-detail": Row(READ, pk("report"), shows=True),
    "GET api-report-file": Row(READ, pk("report", "report"), content=(409,)),  # it waits: no file yet
    "GET report": Row(READ, pk("report"), shows=True),
    "GET report-progress": Row(READ, pk("report")),
    "GET report-file": Row(READ, pk("report"), content=(409,)),
    "POST joint-report": Row(READ, pk("weld", "joint_id"), lambda w: SPAN),
    "POST asset-report": Row(READ, pk("asset", "asset_id"), lambda w: SPAN),
    "GET joint-report": Row(READ, pk("weld", "joint_id"), shows=True),
    "GET asset-report": Row(READ, pk("asset", "asset_id"), shows=True),
    "GET hold-certificate": Row(READ, pk("hold", "hold_id"), content=(409,)),
}
ORDER = pk("order", "order_id")


def _order_deed(deed: str, guard: str | tuple[str, ...], order: str = "order", **more: Any) -> dict[str, Row]:
    where: Of = lambda w: {"order_id": getattr(w, order), "deed": deed}  # noqa: E731
    return {f"POST order-deed {deed}": Row(guard, where, on(order, **more))}


WORK_PAGES = {
    "GET my-work": Row(SIGNED_IN),
    "GET orders": LISTED,
    "POST orders-raise-due": Row("order.raise", sent=lambda w: {"site_id": w.site, "within_days": 30}),
    "POST order-raise": Row("order.raise", sent=lambda w: {"programme": w.owed}),
    "GET order": Row(READ, ORDER, shows=True),
    "POST order-take": Row(EITHER, ORDER, on("order"), content=(422,)),  # the planner may give, not take
    "POST order-step": Row(WORK, lambda w: {"order_id": w.order, "sequence": 1}, on("order")),
    "POST order-finish": Row(WORK, pk("ready", "order_id"), on("ready")),
    **_order_deed("part-done", WORK, note="half", minutes_spent=5),
    **_order_deed("wait", EITHER, reason="parts"),
    **_order_deed("end-wait", EITHER, "waiting"),
    **_order_deed("temporary-work", EITHER, what="shoring"),
    **_order_deed("add-part", EITHER, name="plate", quantity=1, lead_time_days=0),
    **_order_deed("assign", PLAN, assignee_id=lambda w: w.worker),
    **_order_deed("plan", PLAN, planned_on="2026-06-20"),
    **_order_deed("verify", "order.verify", "done"),
    **_order_deed("cancel", "order.cancel", reason="sold"),
    **_order_deed("order-part", PLAN, part_id=lambda w: w.part),
    **_order_deed("part-arrived", EITHER, part_id=lambda w: w.ordered_part),
    "GET holds": LISTED,
    "POST holds": Row("hold.place", sent=lambda w: {"asset_id": w.asset, **WHY}, outsider=422),
    "POST hold-release": Row("hold.release", pk("hold", "hold_id"), lambda w: RELEASE),
    "GET put-off": LISTED,
    "GET order-put-off": Row("deferral.sign", pk("due_order", "order_id"), shows=True),
    "POST order-put-off": Row("deferral.sign", pk("due_order", "order_id"), on("due_order", **PUT_OFF)),
    "POST deferral-withdraw": Row("deferral.sign", pk("deferral", "deferral_id"), lambda w: WHY),
    "GET alerts": Row(SIGNED_IN),
    "GET alerts-not-delivered": Row(SIGNED_IN),
    "POST alerts-seen": Row(SIGNED_IN),
    "POST alert-again": Row("people.change", pk("delivery", "delivery_id")),
    "GET due": LISTED,
    "GET due-csv": LISTED,
    "POST due-raise": Row("order.raise", sent=lambda w: {"programme": w.owed}),
}
# "METHOD url-name", and a word more where one address serves several deeds
ROWS: dict[str, Row] = {
    **REGISTER_API,
    **INSPECTIONS_API,
    **PEOPLE_API,
    **DUTY_API,
    **DUE_API,
    **WORK_API,
    **SERVICE,
    **REGISTER_PAGES,
    **SEEN_PAGES,
    **DUTY_PAGES,
    **WORK_PAGES,
    **LABELS_AND_MARKS,
    **OFFICE,
    **STEEL,
    **SETTING_UP,
}
