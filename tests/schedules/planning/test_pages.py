"""The planner's list and the joint's page, as each role sees them."""

from __future__ import annotations

import csv
import io
from datetime import date, timedelta

import pytest
from django.utils import timezone

from assets_app.models import Finding, Inspection, Joint
from schedules.due import engine
from schedules.due.store import Scope
from schedules.models import DueDate, Hold, Programme, WorkOrder

pytestmark = pytest.mark.django_db


@pytest.fixture
def owed(weld_joint):
    """VT every 12 months, last done long ago: overdue on any day that this test runs."""
    programme = Programme.objects.create(
        joint=weld_joint, asset=weld_joint.asset, method="VT", calendar_months=12, last_look_on=date(2020, 5, 1)
    )
    engine.recompute(Scope(joint_ids=[weld_joint.pk]), now=timezone.now())
    return programme


@pytest.fixture
def planner(client, person, site):
    client.force_login(person("planner", site))
    return client


def test_signed_out_people_are_sent_to_sign_in(client, weld_joint):
    for url in ("/", "/due/", "/due/list.csv", f"/joints/{weld_joint.pk}/"):
        assert client.get(url)["Location"].startswith("/sign-in/")


def test_the_list_says_overdue_why_and_offers_the_order(planner, owed):
    page = planner.get("/due/").content.decode()
    assert "1 overdue" in page
    assert "overdue by" in page
    assert "Calendar governs: last looked at by VT on 1 May 2020, at most 12 months allowed" in page
    assert "Raise order" in page


def test_raising_an_order_from_the_list_is_answered_on_the_list(planner, owed):
    answer = planner.post("/due/raise/", {"programme": owed.pk}, follow=True)
    assert WorkOrder.objects.get().joint_id == owed.joint_id
    page = answer.content.decode()
    assert "Order 1 raised" in page
    assert "nobody assigned" in page
    assert "Raise order" not in page


def test_a_technician_may_not_raise_and_is_not_offered_it(client, person, site, owed):
    client.force_login(person("technician", site))
    assert "Raise order" not in client.get("/due/").content.decode()
    assert client.post("/due/raise/", {"programme": owed.pk}).status_code == 403
    assert client.post("/due/raise/", {"programme": "x"}).status_code == 403
    assert not WorkOrder.objects.exists()


def test_another_site_s_joint_neither_shows_nor_opens(client, person, other_site, owed):
    client.force_login(person("planner", other_site))
    assert owed.joint.tag not in client.get("/due/").content.decode()
    assert client.get(f"/joints/{owed.joint_id}/").status_code == 404
    assert client.post("/due/raise/", {"programme": owed.pk}).status_code == 404
    assert owed.joint.tag not in b"".join(client.get("/due/list.csv").streaming_content).decode()


def test_filters_are_remembered_until_they_are_reset(planner, owed):
    planner.get("/due/?method=VT&weeks=0")
    assert planner.get("/due/")["Location"] == "/due/?weeks=0&method=VT"
    assert planner.get("/due/?reset=1")["Location"] == "/due/"
    assert planner.get("/due/").status_code == 200


def test_a_filter_that_makes_no_sense_is_left_out_and_said(planner, owed):
    page = planner.get("/due/?method=XX&weeks=0").content.decode()
    assert owed.joint.tag in page
    assert "It was left out" in page


def test_an_empty_list_says_what_to_do_first(planner, site):
    assert "import the register" in planner.get("/due/").content.decode()


def test_the_csv_holds_every_row_and_no_formula(planner, owed, asset):
    asset.name = "=cmd()"
    asset.save()
    text = b"".join(planner.get("/due/list.csv").streaming_content).decode()
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["joint"] for row in rows] == [owed.joint.tag]
    assert rows[0]["asset name"] == "'=cmd()"
    assert rows[0]["state"].startswith("overdue by")
    assert rows[0]["due on"] == "2021-05-01"


def test_the_joint_s_page_explains_draws_and_lists(planner, owed):
    page = planner.get(f"/joints/{owed.joint_id}/").content.decode()
    assert "Calendar governs: last looked at by VT on 1 May 2020" in page
    assert 'class="sj life-line"' in page
    assert "Cross-section of W-001" in page
    assert "Missing" in page
    assert "Never looked at" in page


def test_a_hold_changes_the_page_and_says_who_can_lift_it(planner, person, site, owed):
    person("engineer", site, authority=True)
    placed = person("inspector", site)
    joint = owed.joint
    Hold.objects.create(
        site=site,
        asset=joint.asset,
        joint=joint,
        reason="Crack at the toe.",
        placed_by=placed,
        placed_at=timezone.now(),
    )
    page = planner.get(f"/joints/{joint.pk}/").content.decode()
    assert '<body class="held"' in page
    assert "Crack at the toe." in page
    assert "Engineer can lift it" in page
    assert "1 held" in planner.get("/due/").content.decode()


def test_a_hold_on_the_whole_asset_holds_its_joints(planner, site, owed):
    Hold.objects.create(site=site, asset=owed.asset, reason="Mast struck.", placed_at=timezone.now())
    assert '<body class="held"' in planner.get(f"/joints/{owed.joint_id}/").content.decode()


def test_a_lost_bolt_is_drawn_at_its_number(planner, bolted_joint, person, site, now):
    inspector = person("inspector", site)
    look = Inspection.objects.create(
        joint=bolted_joint,
        method="BC",
        inspected_at=now,
        inspected_on=now.date(),
        inspector=inspector,
        result="findings",
        recorded_at=now,
    )
    for kind, bolts in (("missing", [3]), ("movement", [3, 4])):
        Finding.objects.create(
            joint=bolted_joint,
            inspection=look,
            kind=kind,
            bolts=bolts,
            severity="watch",
            severity_computed="watch",
            severity_reason="",
            found_on=now.date(),
        )
    page = planner.get(f"/joints/{bolted_joint.pk}/").content.decode()
    assert "Missing: bolt 3" in page
    assert "Movement: bolt 4" in page
    assert "No look is owed here" in page


def test_a_retired_asset_owes_no_look(planner, owed, asset):
    asset.status = "retired"
    asset.save()
    page = planner.get(f"/joints/{owed.joint_id}/").content.decode()
    assert "The asset is retired" in page
    assert "Calendar governs" not in page


@pytest.mark.parametrize(("role", "lands"), [("planner", "/due/"), ("engineer", "/due/")])
def test_roles_land_on_their_answer(client, person, site, role, lands):
    client.force_login(person(role, site))
    assert client.get("/")["Location"] == lands


def test_names_typed_into_the_register_are_escaped(planner, owed):
    Joint.objects.filter(pk=owed.joint_id).update(name="<script>alert(1)</script>")
    for url in ("/due/", f"/joints/{owed.joint_id}/"):
        assert "<script>alert" not in planner.get(url).content.decode()


def test_undated_rows_show_when_any_day_is_asked_for(planner, owed):
    DueDate.objects.update(due_on=None, governing="", unrated=True)
    assert owed.joint.tag not in planner.get("/due/?weeks=8").content.decode()
    assert "unrated:" in planner.get("/due/?weeks=0").content.decode()


def test_the_strip_counts_the_weeks_ahead(planner, owed):
    day = timezone.now().date() + timedelta(days=10)
    DueDate.objects.update(due_on=day)
    assert "1 look owed in the next 4 weeks" in planner.get("/due/").content.decode()


def test_the_queries_of_the_list_follow_neither_rows_nor_sites_nor_orders(
    planner, owed, asset, site, other_site, django_assert_max_num_queries
):
    """Session, person, roles, rows, seasons (2), forecasts, readings, what is known, orders, holds, counts."""
    from assets_app.models import Person, Role

    planner.get("/due/?weeks=0")
    with django_assert_max_num_queries(12):
        planner.get("/due/?weeks=0")
    for n in range(20):
        joint = Joint.objects.create(asset=asset, tag=f"W-1{n:02d}", kind="weld")
        Programme.objects.create(joint=joint, asset=asset, method="VT", calendar_months=12)
    engine.recompute(Scope(asset_range=(asset.pk, asset.pk)), now=timezone.now())
    Role.objects.create(person=Person.objects.get(roles__site=site), site=other_site, name="engineer")
    planner.post("/due/raise/", {"programme": owed.pk})
    with django_assert_max_num_queries(12):
        page = planner.get("/due/?weeks=0").content.decode()
    assert page.count("<tr>") == 22


def test_a_right_that_is_lost_is_lost_with_the_next_request(planner, owed, site):
    from assets_app.models import Role

    assert "Raise order" in planner.get("/due/").content.decode()
    Role.objects.filter(site=site).update(name="technician")
    assert "Raise order" not in planner.get("/due/").content.decode()
    Role.objects.all().delete()
    assert owed.joint.tag not in planner.get("/due/").content.decode()


def test_a_row_says_its_hold_its_order_and_what_that_waits_for(planner, person, site, owed, weld_joint):
    from schedules.models import Wait

    order_page = planner.post("/due/raise/", {"programme": owed.pk}, follow=True)
    assert order_page.status_code == 200
    order = WorkOrder.objects.get()
    hand = person("technician", site)
    order.assignee, order.planned_on = hand, date(2026, 7, 2)
    order.save()
    wait = {"reason": "parts", "since": date(2026, 3, 3), "note": "<b>shims</b>", "begun_by": hand}
    Wait.objects.create(order=order, **wait)
    Wait.objects.create(order=order, ended_on=date(2026, 3, 2), **wait | {"reason": "weather"})
    Hold.objects.create(site=site, asset=owed.asset, joint=weld_joint, reason="<i>Crack</i>", placed_at=timezone.now())
    page = planner.get("/due/").content.decode()
    assert f'<a href="/orders/{order.pk}/">order 1</a>: open, Technician, planned 2 Jul 2026' in page
    assert "waits for parts since 3 Mar 2026, no end known (&lt;b&gt;shims&lt;/b&gt;)" in page
    assert "&lt;i&gt;Crack&lt;/i&gt;" in page
    assert "In the way on this sheet: 1 held, 1 waiting for parts" in page
