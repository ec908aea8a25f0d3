"""Orders are raised from a date, from a finding, by hand, and all at once."""

from datetime import date

import pytest
from django.core.management import CommandError, call_command

from assets_app.inspections.actions import join_finding
from assets_app.models import RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from schedules.due import engine
from schedules.due.store import Scope
from schedules.models import Hold, Programme, WorkOrder
from schedules.work import raising

pytestmark = pytest.mark.django_db


def test_from_a_due_date_it_carries_the_day_and_the_reason(look_order, planner):
    assert (look_order.number, look_order.due_on, look_order.method) == (1, date(2026, 6, 1), "MT")
    assert look_order.why == "Calendar governs: 1 Jun 2026."
    assert look_order.title == "MT of W-001 column foot"
    entry = RecordEntry.objects.get(deed="order.raised")
    assert (entry.actor, entry.facts["why"]) == (planner, look_order.why)


def test_a_second_order_for_the_same_look_is_refused_by_name(look_order, dated, planner, now):
    with pytest.raises(Conflict) as refused:
        raising.raise_order_for_due_date(programme_id=dated.pk, actor=planner, now=now)
    assert refused.value.code == "order_open"
    assert refused.value.data["order"] == look_order.pk
    assert RecordEntry.objects.filter(deed="order.raised").count() == 1


def test_from_a_finding_it_is_due_when_the_severity_says(finding, planner, now):
    order = raising.raise_order_for_finding(
        finding_id=finding("repair before use").pk, kind="repair", actor=planner, now=now
    )
    assert order.due_on == date(2026, 6, 10)
    assert order.why == "Continuous undercut (5011) found on 10 Jun 2026: repair before use."


def test_a_closed_finding_asks_for_nothing(finding, planner, now):
    closed = finding(state="closed", closed_on=date(2026, 6, 11))
    with pytest.raises(Conflict) as refused:
        raising.raise_order_for_finding(finding_id=closed.pk, kind="repair", actor=planner, now=now)
    assert refused.value.code == "finding_not_open"


def test_by_hand_it_says_why(weld_joint, planner, now):
    with pytest.raises(Unprocessable) as refused:
        raising.raise_order_by_hand(
            joint_id=weld_joint.pk, kind="inspect", method="VT", why=" ", actor=planner, now=now
        )
    assert refused.value.code == "reason_needed"


def test_a_weld_has_no_bolts_to_tighten(weld_joint, planner, now):
    with pytest.raises(Unprocessable) as refused:
        raising.raise_order_by_hand(joint_id=weld_joint.pk, kind="tighten", why="loose", actor=planner, now=now)
    assert refused.value.code == "kind_does_not_fit"


def test_a_technician_raises_no_order(dated, technician, now):
    with pytest.raises(NotAllowed) as refused:
        raising.raise_order_for_due_date(programme_id=dated.pk, actor=technician, now=now)
    assert refused.value.code == "role_lacks_right"


def test_nobody_raises_an_order_elsewhere(dated, stranger, now):
    with pytest.raises(NotFound):
        raising.raise_order_for_due_date(programme_id=dated.pk, actor=stranger, now=now)


@pytest.fixture
def three_due(dated, bolted_joint, now):
    """MT overdue, VT due in eight days, BC due next year."""
    for joint, method, last in (
        (dated.joint, "VT", date(2025, 6, 23)),
        (bolted_joint, "BC", date(2026, 6, 1)),
    ):
        Programme.objects.create(joint=joint, asset=joint.asset, method=method, calendar_months=12, last_look_on=last)
    engine.recompute(Scope(joint_ids=[dated.joint_id, bolted_joint.pk]), now=now)


def test_all_that_falls_due_is_raised_once(three_due, site, planner, now):
    first = raising.raise_due_orders(site_id=site.pk, within_days=30, actor=planner, now=now)
    again = raising.raise_due_orders(site_id=site.pk, within_days=30, actor=planner, now=now)
    assert [(order.number, order.method) for order in first] == [(1, "MT"), (2, "VT")]
    assert again == []
    assert all(order.steps.exists() for order in WorkOrder.objects.all())
    assert RecordEntry.objects.get(deed="orders.raised").facts["count"] == 2


def test_numbers_count_on_within_the_site(three_due, look_order, site, planner, now):
    raised = raising.raise_due_orders(site_id=site.pk, within_days=366, actor=planner, now=now)
    assert [order.number for order in raised] == [2, 3]


def test_the_command_lists_before_it_raises(three_due, site, planner, now, monkeypatch, capsys):
    monkeypatch.setattr("django.utils.timezone.now", lambda: now)
    call_command("raise_orders", site.slug, "--as", planner.username, "--dry-run")
    assert len(capsys.readouterr().out.splitlines()) == 2
    assert not WorkOrder.objects.exists()
    call_command("raise_orders", site.slug, "--as", planner.username)
    assert capsys.readouterr().out == "2 orders raised.\n"


def test_the_command_has_no_way_round_the_right(three_due, site, technician, now):
    with pytest.raises(CommandError):
        call_command("raise_orders", site.slug, "--as", technician.username)


def test_a_finding_whose_repair_has_an_order_raises_no_look_besides(finding, mt, site, planner, now):
    mt.last_look_on = date(2026, 6, 10)
    mt.save()
    bad = finding(severity="repair before use")
    engine.recompute(Scope(joint_ids=[mt.joint_id]), now=now)
    assert [row.governing for row in raising.due_without_order(site.pk, date(2026, 7, 1))] == ["finding"]
    raising.raise_order_for_finding(finding_id=bad.pk, kind="repair", actor=planner, now=now)
    assert list(raising.due_without_order(site.pk, date(2026, 7, 1))) == []
    assert [row.method for row in raising.due_without_order(site.pk, date(2027, 7, 1))] == ["MT"]  # the calendar asks


def test_an_order_for_a_finding_goes_on_for_the_one_found_before_where_both_are_one(finding, inspector, planner, now):
    first, later = finding("hold now", kind="101"), finding("plan repair", kind="101")
    raised = raising.raise_order_for_finding(finding_id=later.pk, kind="repair", actor=planner, now=now)
    join_finding(finding_id=later.pk, same_as=first.pk, reason="the same crack", actor=inspector, now=now)
    raised.refresh_from_db()
    assert (raised.finding, raised.version) == (first, 2)
    assert Hold.objects.get(released_at=None).finding == first, "it says hold now, so it holds"
