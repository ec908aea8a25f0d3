"""An order of each kind, people who can sign, a photo."""

import io
from datetime import date

import pytest
from PIL import Image

from assets_app.inspections.inputs import PhotoInput
from assets_app.models import Finding, Inspection, Qualification
from schedules.models import Programme, WorkOrder
from schedules.work import actions, raising


def new_photo(colour="grey") -> PhotoInput:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), colour).save(out, "JPEG")
    return PhotoInput(data=out.getvalue(), name="weld.jpg")


@pytest.fixture
def photo():
    return new_photo


@pytest.fixture
def planner(person, site):
    return person("planner", site)


def welds(who, **changes):
    """A welder's certificate for everything that the orders here weld."""
    told = {"process": "135", "welding_position": "PF", "issued_on": date(2026, 1, 10), "expires_on": date(2028, 1, 9)}
    Qualification.objects.create(person=who, kind="welder", certificate="W-7", **(told | changes))
    return who


@pytest.fixture
def technician(person, site):
    return welds(person("technician", site))


@pytest.fixture
def inspector(person, site):
    who = person("inspector", site)
    for method in ("MT", "VT", "PT"):
        Qualification.objects.create(
            person=who, kind="ndt", method=method, level=2, issued_on=date(2024, 1, 1), expires_on=date(2029, 1, 1)
        )
    return welds(who)


@pytest.fixture
def engineer(person, site):
    return person("engineer", site)


@pytest.fixture
def manager(person, site):
    return person("manager", site)


@pytest.fixture
def stranger(person, other_site):
    """Every right, but elsewhere."""
    return person("engineer", other_site)


@pytest.fixture
def mt(weld_joint):
    return Programme.objects.create(
        joint=weld_joint, asset=weld_joint.asset, method="MT", calendar_months=12, last_look_on=date(2025, 6, 1)
    )


@pytest.fixture
def dated(mt, now):
    """The programme with its due date computed: 1 June 2026, two weeks ago."""
    from schedules.due import engine
    from schedules.due.store import Scope

    engine.recompute(Scope(joint_ids=[mt.joint_id]), now=now)
    return mt


@pytest.fixture
def look_order(dated, planner, now) -> WorkOrder:
    return raising.raise_order_for_due_date(programme_id=dated.pk, actor=planner, now=now)


@pytest.fixture
def finding(weld_joint, inspector, now):
    """``finding(severity="plan repair", kind="5011")``"""

    def make(severity="plan repair", kind="5011", joint=weld_joint, **fields):
        look = Inspection.objects.create(
            joint=joint,
            method="MT",
            inspected_at=now,
            inspected_on=date(2026, 6, 10),
            inspector=inspector,
            result="findings",
            recorded_at=now,
        )
        return Finding.objects.create(
            joint=joint,
            inspection=look,
            kind=kind,
            severity=severity,
            severity_computed=severity,
            severity_reason="as judged",
            found_on=date(2026, 6, 10),
            **fields,
        )

    return make


@pytest.fixture
def repair_order(finding, planner, now) -> WorkOrder:
    return raising.raise_order_for_finding(finding_id=finding().pk, kind="repair", actor=planner, now=now)


@pytest.fixture
def all_steps(photo, now):
    """``all_steps(order, who)`` does every step and gives the order as it then stands."""

    def do(order, who):
        for step in order.steps.all():
            order.refresh_from_db()
            actions.do_step(
                order_id=order.pk,
                expected_version=order.version,
                sequence=step.sequence,
                value="500" if step.kind == "value" else "",
                photo=photo() if step.kind == "photo" else None,
                actor=who,
                now=now,
            )
        order.refresh_from_db()
        return order

    return do
