"""The fleet that ``make faults`` breaks the service over, and the people who go on posting meanwhile.

``python -m running.faults_fleet SEED`` posts readings and looks through the actions until it is ended.
"""

from __future__ import annotations

import json
import random
import sys
import time
from collections import Counter as Tally
from datetime import UTC, date, datetime, timedelta
from typing import Any

import django

django.setup()

from django.db import DatabaseError, InterfaceError, connections, transaction  # noqa: E402
from django.utils import timezone  # noqa: E402

from assets_app.inspections import actions as inspections  # noqa: E402
from assets_app.models import Asset, Joint, Member, Person, Qualification, Role, Site, Weld  # noqa: E402
from assets_app.refusals import Refused  # noqa: E402
from schedules.alerts import webhook_actions  # noqa: E402
from schedules.due import actions as due  # noqa: E402
from schedules.duty import actions as duty  # noqa: E402
from schedules.models import AlertRule, Counter, Programme, Reading, StressSpectrum  # noqa: E402

SITES = (("larkmoor-pier", "Larkmoor Pier", "Europe/London"), ("larkmoor-depot", "Larkmoor Depot", "America/New_York"))
METHODS = ("VT", "MT")
HEARERS = ("planner", "planner", "planner", "manager", "technician")  # each with an address of their own
AT_ONCE = 5000
# One in so many looks finds something; of the kinds (ISO 6520-1) a crack holds the joint, an undercut is watched.
KINDS = ("100", "5011", "506")


def load(*, joints: int, assets: int, seed: int, now: datetime, hook_url: str) -> None:
    """Sites, people, assets with counters, joints with their steel, spectra and looks owed; everything marked stale."""
    rng = random.Random(seed)  # noqa: S311 (a repeatable fleet)
    for number, (slug, name, zone) in enumerate(SITES):
        site = Site.objects.create(slug=slug, name=name, time_zone=zone)
        _people(site, now)
        _endpoint(site, hook_url, now)
        rides = Asset.objects.bulk_create(
            Asset(site=site, tag=f"R-{number}{n:03d}", name="ride", kind="ride", commissioned_on=date(2015, 4, 1))
            for n in range(assets // len(SITES))
        )
        _counters(rides, rng, now)
        _steel(rides, joints // assets, rng, now)
        with transaction.atomic():
            due.mark_site_stale(site_id=site.pk, why="loaded", now=now)


def _people(site: Site, now: datetime) -> None:
    inspector = Person.objects.create_user(f"inspector-{site.slug}", password=None)
    Role.objects.create(person=inspector, site=site, name="inspector")
    for method in METHODS:
        Qualification.objects.create(
            person=inspector,
            kind="ndt",
            method=method,
            level=2,
            issued_on=date(2024, 1, 1),
            expires_on=date(2029, 1, 1),
        )
    _own_rule(site, set_by=inspector, now=now)
    for n, role in enumerate(HEARERS):
        person = Person.objects.create_user(f"{role}{n}-{site.slug}", f"{role}{n}@{site.slug}.example", None)
        Role.objects.create(person=person, site=site, name=role)


def _own_rule(site: Site, *, set_by: Person, now: datetime) -> None:
    """Technicians hear of overdue looks in the app, which the shipped table does not say."""
    facts = {"site": site, "kind": "overdue", "role": "technician", "reason": "they plan their own week"}
    AlertRule.objects.create(in_app=True, email=False, set_by=set_by, set_at=now, **facts)


def _endpoint(site: Site, hook_url: str, now: datetime) -> None:
    """Another program is told everything."""
    keeper = Person.objects.get(roles__site=site, roles__name="manager")
    webhook_actions.make_endpoint(site_id=site.pk, url=f"{hook_url}{site.slug}", kinds=[], actor=keeper, now=now)


def _counters(rides: list[Asset], rng: random.Random, now: datetime) -> None:
    """A year of weekly readings; a few counters fell silent."""
    counters = Counter.objects.bulk_create(Counter(asset=ride, name="rides", unit="cycles") for ride in rides)
    readings = []
    for counter in counters:
        total, step = 0.0, rng.randint(200, 900)
        given: dict[str, Any] = {"counter": counter, "source": "file"}
        for week in range(52, 6 if rng.random() < 0.1 else 0, -1):
            at = now.astimezone(UTC) - timedelta(weeks=week)
            total += step + rng.randint(0, 200)
            readings.append(Reading(read_at=at, read_on=at.date(), value=total, total=total, posted_at=at, **given))
    Reading.objects.bulk_create(readings, batch_size=AT_ONCE)
    duty.refit_in_batches(counter_ids=[counter.pk for counter in counters], now=now)


def _steel(rides: list[Asset], each: int, rng: random.Random, now: datetime) -> None:
    members = Member.objects.bulk_create(
        Member(asset=ride, tag="M-1", section="CHS 219.1x12", steel_grade="S355J2", wall_mm=12) for ride in rides
    )
    joints = Joint.objects.bulk_create(
        (
            Joint(
                asset=ride,
                member=member,
                tag=f"W-{n:04d}",
                kind="weld",
                load_path=rng.choice(["single", "multiple"]),
                access=rng.choice(["easy", "difficult"]),
            )
            for ride, member in zip(rides, members, strict=True)
            for n in range(each)
        ),
        batch_size=AT_ONCE,
    )
    Weld.objects.bulk_create((_weld(joint, rng) for joint in joints), batch_size=AT_ONCE)
    StressSpectrum.objects.bulk_create((_spectrum(joint, rng) for joint in joints if rng.random() < 0.9), AT_ONCE)
    Programme.objects.bulk_create((_programme(joint, rng, now) for joint in joints), batch_size=AT_ONCE)


def _weld(joint: Joint, rng: random.Random) -> Weld:
    return Weld(
        joint=joint,
        joint_type="tee",
        weld_type="fillet",
        leg_mm=8,
        throat_mm=5.6,
        wall_mm=rng.choice([8, 10, 12]),
        attachment_mm=rng.choice([20, 30]),
        detail_category_mpa=rng.choice([56, 63, 71]),
        quality_level="C",
    )


def _spectrum(joint: Joint, rng: random.Random) -> StressSpectrum:
    greatest = rng.choice([40.0, 60.0, 80.0])
    return StressSpectrum(
        joint=joint,
        bins=[[greatest, 1.0], [greatest / 2, 4.0]],
        peak_stress_mpa=1.5 * greatest,
        status="calculated",
        source="stress report 12",
        valid_from=date(2015, 1, 1),
    )


def _programme(joint: Joint, rng: random.Random, now: datetime) -> Programme:
    return Programme(
        joint=joint,
        asset_id=joint.asset_id,
        method=rng.choice(METHODS),
        calendar_months=rng.choice([12, 24, 36]),
        duty_count=rng.choice([None, 40_000.0, 90_000.0]),
        last_look_on=now.date() - timedelta(days=rng.randint(1, 420)),
        source="maker's manual",
    )


# --- posting while the service is being broken ------------------------------------------------------------------------


def post_for_ever(seed: int, pause_s: float) -> None:
    """Read counters and look at joints; print the tally of what came of it each time it changes."""
    rng = random.Random(seed)  # noqa: S311
    tally: Tally[str] = Tally()
    counters = list(Counter.objects.values_list("pk", flat=True))
    joints = list(Joint.objects.values_list("pk", "asset__site__slug", "programmes__method"))
    while True:
        try:
            tally[_look(rng, *rng.choice(joints)) if rng.random() < 0.3 else _read(rng, rng.choice(counters))] += 1
        except Refused as refused:
            tally[f"refused: {refused.code}"] += 1
        except (DatabaseError, InterfaceError):
            tally["database away"] += 1
            connections.close_all()
            time.sleep(0.2)
        print(json.dumps(tally), flush=True)
        time.sleep(pause_s)


def _read(rng: random.Random, counter_id: int) -> str:
    latest = Reading.objects.filter(counter_id=counter_id).order_by("-read_at").select_related("counter__asset").first()
    assert latest is not None
    actor = Person.objects.get(username=f"inspector-{latest.counter.asset.site.slug}")
    now = timezone.now()
    duty.post_reading(
        counter_id=counter_id,
        value=latest.value + rng.randint(50, 400),
        read_at=now,
        actor=actor,
        now=now,
        source="api",
        confirmed=True,
    )
    return "read"


def _look(rng: random.Random, joint_id: int, slug: str, method: str) -> str:
    actor, now = Person.objects.get(username=f"inspector-{slug}"), timezone.now()
    facts: dict[str, Any] = {"joint_id": joint_id, "method": method, "inspected_at": now, "actor": actor, "now": now}
    if rng.random() < 0.5:
        inspections.record_inspection(result="accepted", **facts)
        return "looked"
    found = inspections.FindingInput(kind=rng.choice(KINDS), size=f"{rng.randint(3, 9)} mm", place="toe")
    inspections.record_inspection(result="findings", findings=[found], **facts)
    return "found"


if __name__ == "__main__":
    post_for_ever(int(sys.argv[1]), float(sys.argv[2]))
