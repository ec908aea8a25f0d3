"""One of everything at one site, and people of every role there, at another site and nowhere.

Every text at the site carries ``MARK``: where a person of another site meets it, something leaked.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field, fields
from datetime import date, datetime, timedelta
from itertools import count

from django.core.files.base import ContentFile
from django.utils import timezone
from PIL import Image

from assets_app.inspections import marks_actions
from assets_app.inspections.actions import add_evidence
from assets_app.inspections.bolt_models import BoltReading
from assets_app.labels import actions as labels
from assets_app.models import (
    Assessment,
    Asset,
    BoltGroup,
    DeviceToken,
    Finding,
    FindingSize,
    Inspection,
    Joint,
    Member,
    Person,
    Qualification,
    Role,
    Site,
    Weld,
)
from assets_app.people import sign_in_links
from assets_app.people.models import RoleName
from assets_app.record.check_actions import ask_for_check
from assets_app.record.check_models import RecordCheck
from assets_app.register import importer
from schedules.alerts import setting_actions, webhook_actions
from schedules.due import engine
from schedules.due.store import Scope
from schedules.duty import actions as duty
from schedules.duty.recordings import actions as recordings
from schedules.duty.recordings import running
from schedules.duty.recordings.counting import Wanted
from schedules.models import (
    Counter,
    Deferral,
    Delivery,
    Hold,
    Intent,
    OwedLook,
    Part,
    Programme,
    Reading,
    Season,
    StressSpectrum,
    WorkOrder,
    WrittenReport,
)
from schedules.work import raising

MARK = "Gullmark"
PASSWORD = "a-good-password"
ROLES = tuple(role.value for role in RoleName)
HERE, ELSEWHERE, NOWHERE, SIGNED_OUT = "here", "elsewhere", "no role", "signed out"
RECORDED = b"time,stress\n" + b"".join(b"%d,%d\n" % (k, 10 * (k % 2)) for k in range(50))
REGISTER_FILE = b"asset_tag,asset_name,asset_kind\nR-77,Mole Swing,ride\n"


@dataclass
class World:
    """Ids of the things at the site; ``people`` maps (role, where) to a person. ``ghost()`` names nothing."""

    site: int = 0
    asset: int = 0
    member: int = 0
    weld: int = 0
    bolted: int = 0
    counter: int = 0
    reading: int = 0
    season: int = 0
    spectrum: int = 0
    recording: int = 0
    report: int = 0
    checked_import: int = 0
    record_check: int = 0
    programme: int = 0
    owed: int = 0  # a programme whose look has no order yet
    owed_look: int = 0  # one asked for by a day
    look: int = 0
    clean_look: int = 0
    finding: int = 0
    photo: int = 0
    assessment: int = 0
    order: int = 0  # a repair at its beginning
    ready: int = 0  # a repair whose steps are done
    done: int = 0  # to be verified
    waiting: int = 0
    due_order: int = 0  # a look with a day
    put_off: int = 0  # an order that is put off
    part: int = 0
    ordered_part: int = 0
    hold: int = 0
    deferral: int = 0
    entry: int = 0
    delivery: int = 0
    token: int = 0
    worker: int = 0
    newcomer: int = 0  # has a link to set a password
    qualification: int = 0
    welding: int = 0  # a welder's certificate
    mark: int = 0
    webhook: int = 0
    link: int = 0
    slug: str = "no-such-site"
    label_token: str = "no-such-label"
    calendar_token: str = "no-such-link"
    newcomer_token: str = "no-such-link"
    versions: dict[int, int] = field(default_factory=dict)
    people: dict[tuple[str, str], Person | None] = field(default_factory=dict)

    def version(self, order: int) -> int:
        return self.versions.get(order, 1)

    def ghost(self) -> World:
        """The same world with ids that nothing has."""
        ids = {each.name: 987_654_321 for each in fields(self) if each.type == "int"}
        return World(**ids, people=self.people)


def photo_bytes() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "grey").save(out, "JPEG")
    return out.getvalue()


def build(now: datetime) -> World:
    """The world at ``now``."""
    world = World()
    site = Site.objects.create(slug="larkmoor-pier", name=f"Pier {MARK}", time_zone="Europe/London")
    other = Site.objects.create(slug="larkmoor-depot", name="Larkmoor Depot", time_zone="Europe/London")
    world.site, world.slug = site.pk, site.slug
    _people(world, site, other)
    _steel(world, site)
    _duty(world, now)
    _seen(world, now)
    engine.recompute(Scope(joint_ids=[world.weld]), now=now)
    _work(world, now)
    _marked(world, now)
    return world


def _people(world: World, site: Site, other: Site) -> None:
    for role in ROLES:
        for where, place in ((HERE, site), (ELSEWHERE, other)):
            who = Person.objects.create_user(f"{role}-{where}", password=PASSWORD, first_name=role.title())
            Role.objects.create(person=who, site=place, name=role, release_authority=True)
            for method in ("VT", "MT", "PT"):
                Qualification.objects.create(
                    person=who,
                    kind="ndt",
                    method=method,
                    level=3,
                    issued_on=date(2024, 1, 1),
                    expires_on=date(2030, 1, 1),
                    certificate=f"{MARK}-{role}" if where == HERE else f"depot-{role}",
                )
            Qualification.objects.create(
                person=who,
                kind="welder",
                process="135",
                issued_on=date(2024, 1, 1),
                expires_on=date(2100, 1, 1),
                last_used_on=timezone.now().date(),
            )
            if role == "engineer":
                Qualification.objects.create(
                    person=who, kind="engineer", issued_on=date(2024, 1, 1), expires_on=date(2100, 1, 1)
                )
            world.people[role, where] = who
    world.people["", NOWHERE] = Person.objects.create_user("visitor", password=PASSWORD)
    world.people["", SIGNED_OUT] = None
    # Somebody who did the work, so that four eyes stand in nobody's way.
    worker = Person.objects.create_user("worker", password=PASSWORD, last_name=MARK)
    Role.objects.create(person=worker, site=site, name="technician")
    world.worker = worker.pk
    newcomer = Person.objects.create_user("newcomer", first_name="Newcomer", link_made_at=timezone.now())
    world.newcomer, world.newcomer_token = newcomer.pk, sign_in_links.token_of(newcomer)
    runs = {"issued_on": date(2026, 1, 1), "expires_on": date(2028, 1, 1)}
    world.welding = Qualification.objects.create(person=worker, kind="welder", process="135", **runs).pk
    world.qualification = Qualification.objects.filter(person__username="inspector-here")[0].pk


def _steel(world: World, site: Site) -> None:
    asset = Asset.objects.create(
        site=site, tag="R-01", name=f"Gull Wheel {MARK}", kind="ride", commissioned_on=date(2015, 4, 1)
    )
    world.asset = asset.pk
    world.member = Member.objects.create(asset=asset, tag="C-1", name=f"column {MARK}").pk
    weld = Joint.objects.create(
        asset=asset, tag="W-001", name=f"foot {MARK}", kind="weld", load_path="multiple", access="easy"
    )
    Weld.objects.create(joint=weld, joint_type="tee", weld_type="fillet", leg_mm=8, throat_mm=5.6, wall_mm=12)
    bolted = Joint.objects.create(asset=asset, tag="B-001", name=f"slew ring {MARK}", kind="bolted")
    BoltGroup.objects.create(joint=bolted, bolt_count=12, pattern="ring", ring_diameter_mm=400, size="M20")
    world.weld, world.bolted = weld.pk, bolted.pk


def _duty(world: World, now: datetime) -> None:
    counter = Counter.objects.create(asset_id=world.asset, name=f"turns {MARK}", unit="cycles")
    engineer = world.people["engineer", HERE]
    for days in (30, 20, 10):
        reading = duty.post_reading(
            counter_id=counter.pk,
            value=1000.0 - 10 * days,
            read_at=now - timedelta(days=days),
            actor=engineer,
            now=now,
            source=Reading.Source.API,
            note=MARK,
        )
    world.counter, world.reading = counter.pk, reading.pk
    world.season = Season.objects.create(
        site_id=world.site,
        asset_id=world.asset,
        name=f"summer {MARK}",
        opens_month=3,
        opens_day=1,
        closes_month=10,
        closes_day=31,
    ).pk
    world.spectrum = StressSpectrum.objects.create(
        joint_id=world.weld, bins=[[20.0, 1.0]], source=f"gauge {MARK}", valid_from=date(2020, 1, 1)
    ).pk
    started = recordings.start_recording(
        asset_id=world.asset,
        file=ContentFile(RECORDED, name=f"{MARK}.csv"),
        column="",
        note=MARK,
        wanted=Wanted(unit="mpa", operating_cycles=10),
        actor=engineer,
        now=now,
        hand_over=False,
    )
    world.recording = running.run_recording(recording_id=started.pk, now=now).pk
    world.report = WrittenReport.objects.create(
        **{"site_id": world.site, "asset_id": world.asset, "since": now.date(), "until": now.date()},
        **{"looks": 1, "photos": 0, "why": MARK, "asked_by": engineer, "asked_at": now},
    ).pk


def _seen(world: World, now: datetime) -> None:
    inspector = world.people["inspector", HERE]
    facts = {"joint_id": world.weld, "inspector": inspector, "note": MARK, "recorded_at": now - timedelta(hours=1)}
    day = {"inspected_at": now - timedelta(days=2), "inspected_on": (now - timedelta(days=2)).date()}
    look = Inspection.objects.create(method="MT", result="findings", **facts, **day)
    world.look = look.pk
    of_bolts = Inspection.objects.create(method="BC", result="incomplete", **{**facts, "joint_id": world.bolted}, **day)
    BoltReading.objects.create(
        inspection=of_bolts, number=1, state="ok", torque_found_nm=320, as_typed=f"torque found 320 {MARK}"
    )
    world.clean_look = Inspection.objects.create(method="VT", result="accepted", **facts, **day).pk
    finding = Finding.objects.create(
        joint_id=world.weld,
        inspection=look,
        kind="5011",
        severity="plan repair",
        severity_computed="plan repair",
        severity_reason=f"as judged {MARK}",
        found_on=look.inspected_on,
    )
    FindingSize.objects.create(finding=finding, inspection=look, measured_on=look.inspected_on, depth_mm=0.6)
    world.finding = finding.pk
    world.photo = add_evidence(
        joint_id=world.weld,
        finding_id=finding.pk,
        data=photo_bytes(),
        name="weld.jpg",
        caption=f"toe {MARK}",
        actor=inspector,
        now=now,
    ).pk
    world.assessment = Assessment.objects.create(
        joint_id=world.bolted,
        ends_on=date(2026, 9, 1),
        reason=MARK,
        signed_by=world.people["engineer", HERE],
        signed_at=now,
    ).pk
    due = {"asset_id": world.asset, "source": f"manual {MARK}", "calendar_months": 12}
    world.programme = Programme.objects.create(
        joint_id=world.weld, method="MT", last_look_on=date(2025, 6, 1), **due
    ).pk
    world.owed_look = OwedLook.objects.create(
        joint_id=world.weld, limit="fixed", due_on=date(2090, 1, 1), why=MARK, owed_since=date(2026, 1, 1)
    ).pk
    world.owed = Programme.objects.create(joint_id=world.weld, method="PT", last_look_on=date(2025, 6, 1), **due).pk


def _work(world: World, now: datetime) -> None:
    planner, worker = world.people["planner", HERE], Person.objects.get(pk=world.worker)
    who = {"actor": planner, "now": now}
    numbers = count(1)

    def repair(joint_id: int | None = None, **change: object) -> WorkOrder:
        why = f"paint {next(numbers)} {MARK}"
        order = raising.raise_order_by_hand(joint_id=joint_id or world.weld, kind="repair", why=why, **who)
        WorkOrder.objects.filter(pk=order.pk).update(title=f"Repair {MARK}", **change)
        return order

    order = repair()
    world.order = order.pk
    world.part = Part.objects.create(order=order, name=f"plate {MARK}").pk
    world.ordered_part = Part.objects.create(order=order, name=f"rod {MARK}", ordered_on=date(2026, 6, 1)).pk
    ready = repair()
    ready.steps.update(done_at=now, done_by=worker)
    world.ready = ready.pk
    world.done = repair(state="done", done_by=worker, done_at=now).pk
    waiting = repair(state="waiting")
    waiting.waits.create(reason="parts", since=date(2026, 6, 1), begun_by=planner, note=MARK)
    world.waiting = waiting.pk
    world.due_order = raising.raise_order_for_due_date(programme_id=world.programme, **who).pk
    put_off = repair(world.bolted, due_on=date(2026, 6, 1))
    world.put_off = put_off.pk
    world.deferral = Deferral.objects.create(
        order=put_off,
        site_id=world.site,
        was_due_on=date(2026, 6, 1),
        ends_on=date(2026, 7, 1),
        reason=f"no crane {MARK}",
        interim_measure="looked at weekly",
        signed_by=world.people["manager", HERE],
        signed_at=now,
    ).pk
    world.versions = dict(WorkOrder.objects.values_list("pk", "version"))
    world.hold = Hold.objects.create(
        site_id=world.site, asset_id=world.asset, reason=f"rust {MARK}", placed_by=worker, placed_at=now
    ).pk
    _told(world, now)


def _told(world: World, now: datetime) -> None:
    from assets_app.models import RecordEntry

    world.entry = RecordEntry.objects.latest("pk").pk
    technician = world.people["technician", HERE]
    intent = Intent.objects.create(
        site_id=world.site, kind=Intent.Kind.values[0], key="one", subject=f"Due {MARK}", text=MARK, created_at=now
    )
    world.delivery = Delivery.objects.create(
        intent=intent, person=technician, channel=Delivery.Channel.values[0], next_try_at=now, state="failed"
    ).pk
    from knox.models import AuthToken

    token, _ = AuthToken.objects.create(user=technician)
    world.token = DeviceToken.objects.create(token=token, name=f"phone {MARK}").pk
    checked = importer.start_import(
        site_id=world.site,
        file=ContentFile(REGISTER_FILE, name=f"{MARK}.csv"),
        mapping="",
        dry_run=True,
        actor=world.people["planner", HERE],
        now=now,
        hand_over=False,
    )
    world.checked_import = importer.run_import(import_id=checked.pk, now=now).pk
    world.record_check = ask_for_check(site_id=world.site, actor=world.people["auditor", HERE], now=now).pk
    RecordCheck.objects.filter(pk=world.record_check).update(state=RecordCheck.State.WHOLE, ended_at=now, words=MARK)


def _marked(world: World, now: datetime) -> None:
    who = {"actor": world.people["manager", HERE], "now": now}
    world.mark = marks_actions.mark_photo(evidence_id=world.photo, shape="text", x=0.5, y=0.5, text=MARK, **who).pk
    (label,) = labels.issue_labels(joint_ids=[world.weld], actor=world.people["planner", HERE], now=now)
    world.label_token = label.token
    world.webhook = webhook_actions.make_endpoint(
        site_id=world.site, url=f"https://hooks.example.org/{MARK}", kinds=[], **who
    ).pk
    link, world.calendar_token = setting_actions.make_calendar_link(actor=world.people["technician", HERE], now=now)
    world.link = link.pk
