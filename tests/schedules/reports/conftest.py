"""A crack from the day it was found to the day the hold on it was lifted, every deed in the record."""

import io
from dataclasses import dataclass
from datetime import date, timedelta

import pytest
from PIL import Image, ImageDraw

from assets_app.inspections.actions import FindingInput, PhotoInput, record_inspection
from assets_app.inspections.marks_actions import mark_photo
from assets_app.models import Evidence, Finding, Qualification
from schedules.models import Hold
from schedules.work import actions, raising
from schedules.work.finishing import finish, verify
from schedules.work.holds import release_hold


@pytest.fixture(autouse=True)
def media(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


def picture(colour="#777", crack=True) -> PhotoInput:
    image = Image.new("RGB", (640, 480), colour)
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 260, 640, 480), fill="#555")
    if crack:
        draw.line((200, 262, 240, 258, 300, 265, 380, 259), fill="black", width=4)
    out = io.BytesIO()
    image.save(out, "JPEG")
    return PhotoInput(data=out.getvalue(), name="weld.jpg", caption="toe, seaward side")


def certified(who):
    for method in ("MT", "VT"):
        Qualification.objects.create(
            person=who,
            kind="ndt",
            method=method,
            level=2,
            certificate="LK-204",
            issued_on=date(2024, 1, 1),
            expires_on=date(2028, 12, 31),
        )
    return who


@pytest.fixture
def inspector(person, site):
    return certified(person("inspector", site))


@pytest.fixture
def stranger(person, other_site):
    return person("engineer", other_site)


@dataclass
class Story:
    joint: object
    hold: Hold
    finding: Finding
    inspector: object
    authority: object


@pytest.fixture
def found(weld_joint, inspector, now):
    """A crack found by MT with a photo and a mark on it; the joint is held."""
    record_inspection(
        joint_id=weld_joint.pk,
        method="MT",
        inspected_at=now - timedelta(hours=2),
        result="findings",
        findings=[FindingInput(kind="101", size="18 mm", place="toe", clock_deg=95.0, note="Δσ high here → see sheet")],
        photos=[PhotoInput(data=picture().data, name="weld.jpg", caption="toe, seaward side", finding_index=0)],
        note="Paint removed over 200 mm.",
        actor=inspector,
        now=now,
    )
    photo = Evidence.objects.get()
    place = {"evidence_id": photo.pk, "actor": inspector, "now": now}
    mark_photo(shape="arrow", x=0.6, y=0.54, x2=0.8, y2=0.25, text="ends here", **place)
    mark_photo(shape="ring", x=0.45, y=0.54, x2=0.62, y2=0.54, **place)
    return Finding.objects.get()


@pytest.fixture
def held(found):
    return Hold.objects.get(finding=found)


@pytest.fixture
def story(found, held, person, site, inspector, now):
    """Repaired by a technician, verified by an engineer, looked at again, lifted by the authority."""
    planner, technician, engineer = (person(role, site) for role in ("planner", "technician", "engineer"))
    Qualification.objects.create(
        person=technician,
        kind="welder",
        process="135",
        welding_position="PF",
        certificate="LK-77",
        issued_on=date(2026, 2, 1),
        expires_on=date(2028, 1, 31),
    )
    authority = person("manager", site, authority=True)
    day = now + timedelta(days=1)
    order = raising.raise_order_for_finding(finding_id=found.pk, kind="repair", actor=planner, now=day)
    for step in order.steps.all():
        order.refresh_from_db()
        actions.do_step(
            order_id=order.pk,
            expected_version=order.version,
            sequence=step.sequence,
            value="WPS 12" if step.kind == "value" else "",
            photo=picture("#888", crack=False) if step.kind == "photo" else None,
            actor=technician,
            now=day,
        )
    order.refresh_from_db()
    order = finish(
        order_id=order.pk, expected_version=order.version, actor=technician, now=day, note="Ground and welded."
    )
    verify(order_id=order.pk, expected_version=order.version, actor=engineer, now=day + timedelta(hours=1))
    record_inspection(
        joint_id=found.joint_id,
        method="MT",
        inspected_at=day + timedelta(hours=2),
        result="accepted",
        findings=[],
        actor=inspector,
        now=day + timedelta(hours=3),
    )
    release_hold(
        hold_id=held.pk,
        reason="Repaired, nothing found by MT.",
        evidence="MT look of 16 June 2026",
        actor=authority,
        now=day + timedelta(hours=4),
    )
    held.refresh_from_db()
    return Story(found.joint, held, found, inspector, authority)
