"""A look put off by a signature says so by word and stays on the due list; only where that covers all that asks."""

import csv
from datetime import date

import pytest
from django.utils import timezone

from assets_app.models import Finding
from schedules.deferral.actions import sign_deferral
from schedules.due import engine
from schedules.due.store import Scope
from schedules.models import Deferral, DueDate, Programme
from schedules.work import raising

pytestmark = pytest.mark.django_db
ENDS = date(2026, 7, 20)


@pytest.fixture(autouse=True)
def on_the_day(monkeypatch, now):
    monkeypatch.setattr(timezone, "now", lambda: now)


@pytest.fixture
def planner(person, site):  # the orders' and the list's
    return person("planner", site)


@pytest.fixture
def sign(person, site, now):
    manager = person("manager", site)

    def make(order, **changes):
        said = {"ends_on": ENDS, "reason": "the crane comes in July", "interim_measure": "half load"} | changes
        return sign_deferral(order_id=order.pk, expected_version=order.version, actor=manager, now=now, **said)

    return make


@pytest.fixture
def owed_repair(weld_joint, finding, planner, now):
    """A finding found long enough ago that its planned repair is overdue and governs; with its order."""
    Programme.objects.create(
        joint=weld_joint, asset=weld_joint.asset, method="MT", calendar_months=60, last_look_on=date(2026, 1, 1)
    )

    def make(severity="plan repair"):
        made = finding(severity)
        Finding.objects.filter(pk=made.pk).update(found_on=date(2025, 6, 10))
        return raising.raise_order_for_finding(finding_id=made.pk, kind="repair", actor=planner, now=now)

    return make


@pytest.fixture
def row(client, planner, now):
    """``row()``: state, its count among the overdue, and the page's text, recomputed first."""
    client.force_login(planner)

    def read():
        engine.recompute(Scope(joint_ids=list(Programme.objects.values_list("joint_id", flat=True))), now=now)
        page = client.get("/due/?weeks=0").content.decode()
        lines = list(
            csv.DictReader(b"".join(client.get("/due/list.csv?weeks=0").streaming_content).decode().splitlines())
        )
        assert len(lines) == 1, "it is never hidden"
        assert "1 overdue" in page, "nor left out of the count"
        return lines[0]["state"], page

    return read


def test_a_look_put_off_says_until_when_and_when_it_was_due(look_order, sign, row):
    assert row()[0] == "overdue by 14 days", "the control"
    sign(look_order)
    state, page = row()
    assert state == "put off until 20 Jul 2026"
    assert '<span class="due" data-state="put off">put off until 20 Jul 2026</span>' in page
    assert "was due" in page
    assert "Mon 1 Jun 2026" in page
    assert "1 put off" in page


def test_a_repair_put_off_is_no_plain_overdue_finding(owed_repair, sign, row):
    order = owed_repair()
    assert row()[0].startswith("overdue by"), "the control"
    sign(order)
    state, page = row()
    assert (DueDate.objects.get().governing, state) == ("finding", "put off until 20 Jul 2026")
    assert f"order {order.number}: the crane comes in July" in page


def test_a_second_finding_that_nobody_put_off_keeps_it_overdue(owed_repair, sign, row):
    sign(owed_repair())
    owed_repair()
    assert row()[0].startswith("overdue by")


@pytest.mark.parametrize("grave", ["repair before use", "hold now"])
def test_what_stops_use_is_overdue_whatever_was_signed_before(grave, look_order, sign, finding, row):
    sign(look_order)
    finding(grave)
    assert row()[0].startswith("overdue by")


def test_the_next_limit_ends_it_sooner(owed_repair, sign, row):
    sign(owed_repair())
    Programme.objects.update(last_look_on=date(2021, 7, 1))  # 60 months: 1 July
    assert row()[0] == "put off until 1 Jul 2026"
    Programme.objects.update(last_look_on=date(2021, 6, 1))  # passed
    assert row()[0].startswith("overdue by")


def test_a_date_that_came_forward_since_is_not_covered(look_order, sign, row):
    sign(look_order)
    Programme.objects.update(calendar_months=6)
    assert row()[0].startswith("overdue by")


def test_a_deferral_that_lapsed_puts_nothing_off(look_order, sign, row):
    sign(look_order)
    Deferral.objects.update(was_due_on=date(2026, 6, 1), ends_on=date(2026, 6, 14))
    state, page = row()
    assert state.startswith("overdue by")
    assert "was put off until 14 Jun 2026" in page
