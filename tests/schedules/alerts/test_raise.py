"""What is to be told is written once, in the transaction that causes it or on the day that brings it."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import transaction

from assets_app.models import Qualification
from schedules.alerts import actions
from schedules.due import engine
from schedules.due.store import Scope
from schedules.models import DueDate, Intent, Programme, Reading, Scan, Season
from schedules.work import holds

pytestmark = pytest.mark.django_db


def keys(kind):
    return sorted(Intent.objects.filter(kind=kind).values_list("key", flat=True))


def test_a_recompute_that_finds_a_look_overdue_tells_in_the_same_transaction(mt, now):
    with transaction.atomic():
        engine.recompute(Scope(joint_ids=[mt.joint_id]), now=now)
        assert keys("overdue") == [f"overdue:{mt.pk}:2026-06-01"]
        transaction.set_rollback(True)  # the deed fails
    assert not Intent.objects.exists()
    assert not DueDate.objects.exists()


def test_recomputing_again_tells_nothing_new(mt, now):
    for _ in range(3):
        engine.recompute(Scope(joint_ids=[mt.joint_id]), now=now)
        mt.save()
        DueDate.objects.update(middle_on=None)  # so that the row changes
    assert keys("overdue") == [f"overdue:{mt.pk}:2026-06-01"]


def test_a_look_due_within_the_lead_time_is_told_to_be_due_soon(weld_joint, now):
    made = Programme.objects.create(
        joint=weld_joint, asset=weld_joint.asset, method="VT", calendar_months=12, last_look_on=date(2025, 7, 1)
    )
    engine.recompute(Scope(joint_ids=[weld_joint.pk]), now=now)
    assert keys("due soon") == [f"due soon:{made.pk}:2026-07-01"]


def test_a_hold_that_is_rolled_back_was_never_told(weld_joint, technician, now):
    with transaction.atomic():
        holds.place_hold(joint_id=weld_joint.pk, reason="it creaks", actor=technician, now=now)
        assert Intent.objects.count() == 1
        transaction.set_rollback(True)  # the deed fails
    assert not Intent.objects.exists()


def test_a_day_that_passes_makes_a_look_overdue_without_any_change(dated, site, now):
    Intent.objects.all().delete()
    DueDate.objects.filter(programme=dated).update(due_on=date(2026, 6, 16))
    actions.raise_owed(now=now)
    assert (keys("due soon"), keys("overdue")) == ([f"due soon:{dated.pk}:2026-06-16"], [])
    for days in (1, 2, 3):
        actions.raise_owed(now=now + timedelta(days=days))
    assert keys("overdue") == [f"overdue:{dated.pk}:2026-06-16"]


def test_a_row_written_by_yesterday_s_day_after_today_s_look_is_told_the_next_day(dated, site, now):
    """A recompute that began before midnight may commit after the new day's look: its row became overdue unseen."""
    actions.raise_owed(now=now)  # the look of 15 June is done
    Intent.objects.all().delete()
    DueDate.objects.filter(programme=dated).update(due_on=date(2026, 6, 14))  # by 14 June's day: not overdue
    for days in (1, 2, 3):
        actions.raise_owed(now=now + timedelta(days=days))
    assert keys("overdue") == [f"overdue:{dated.pk}:2026-06-14"]


def test_a_service_that_slept_for_a_month_finds_what_fell_due_meanwhile(dated, site, now):
    Intent.objects.all().delete()
    DueDate.objects.filter(programme=dated).update(due_on=date(2026, 8, 1))
    actions.raise_owed(now=now)
    assert not Intent.objects.filter(programme=dated).exists()
    actions.raise_owed(now=now + timedelta(days=80))
    assert keys("overdue") == [f"overdue:{dated.pk}:2026-08-01"]


def test_a_clock_that_was_years_ahead_for_a_while_does_not_silence_the_days_until_then(dated, site, now):
    actions.raise_owed(now=now + timedelta(days=3650))
    Intent.objects.all().delete()
    DueDate.objects.filter(programme=dated).update(due_on=(now - timedelta(days=1)).date())
    assert actions.raise_owed(now=now) > 0
    assert actions.raise_owed(now=now) == 0


def test_a_second_run_on_the_same_day_looks_at_nothing(dated, site, now, django_assert_max_num_queries):
    actions.raise_owed(now=now)
    with django_assert_max_num_queries(8):
        assert actions.raise_owed(now=now + timedelta(hours=2)) == 0


def test_the_day_is_the_site_s_not_the_server_s(dated, site, now):
    """At 23:30 UTC in summer it is the next day on the pier."""
    actions.raise_owed(now=datetime(2026, 6, 15, 23, 30, tzinfo=UTC))
    assert Scan.objects.get(site=site).through == date(2026, 6, 16)


def test_a_counter_that_was_not_read_is_told_by_its_last_reading(counter, now):
    actions.raise_owed(now=now)
    assert keys("counter silent") == [f"counter silent:{counter.pk}:never"]
    at = datetime(2026, 6, 16, 9, tzinfo=UTC)
    Reading.objects.create(counter=counter, read_at=at, read_on=at.date(), value=1, total=1, source="api", posted_at=at)
    for days in range(1, 20):
        actions.raise_owed(now=now + timedelta(days=days))
    assert keys("counter silent") == [f"counter silent:{counter.pk}:2026-06-16", f"counter silent:{counter.pk}:never"]


def test_a_counter_of_a_closed_ride_is_not_missed(counter, site, now):
    at = datetime(2026, 4, 1, 9, tzinfo=UTC)
    Reading.objects.create(counter=counter, read_at=at, read_on=at.date(), value=1, total=1, source="api", posted_at=at)
    season = Season.objects.create(site=site, name="late", opens_month=6, opens_day=10, closes_month=9, closes_day=30)
    actions.raise_owed(now=now)
    assert keys("counter silent") == []
    season.delete()
    actions.raise_owed(now=now + timedelta(days=1))
    assert keys("counter silent") == [f"counter silent:{counter.pk}:2026-04-01"]


def test_a_qualification_about_to_lapse_is_told_to_its_holder_too(inspector, site, now):
    Qualification.objects.filter(person=inspector, method="PT").update(expires_on=date(2026, 7, 1))
    actions.raise_owed(now=now)
    assert Intent.objects.get(kind="qualification ending", for_day=date(2026, 7, 1)).person == inspector


def test_a_welder_is_told_before_the_six_months_without_a_weld_are_over(technician, site, now):
    welder = {"person": technician, "kind": "welder", "issued_on": date(2025, 1, 1), "expires_on": date(2028, 1, 1)}
    Qualification.objects.all().delete()
    Qualification.objects.create(process="135", last_used_on=date(2026, 2, 1), **welder)
    Qualification.objects.create(process="111", last_used_on=date(2026, 6, 1), **welder)
    actions.raise_owed(now=now)
    told = Intent.objects.get(kind="qualification ending")
    assert (told.person, told.for_day) == (technician, date(2026, 8, 1))


def test_a_certificate_that_was_renewed_is_not_told_as_lapsing(inspector, site, now):
    mine = Qualification.objects.filter(person=inspector)
    mine.filter(method="PT").update(expires_on=date(2026, 7, 1))
    mine.exclude(method="PT").delete()
    renewed = {"person": inspector, "kind": "ndt", "method": "PT", "level": 2, "expires_on": date(2031, 1, 1)}
    gap = Qualification.objects.create(issued_on=date(2026, 7, 3), **renewed)
    actions.raise_owed(now=now)
    assert len(keys("qualification ending")) == 1, "a day between them is a lapse"
    Intent.objects.all().delete()
    Scan.objects.all().delete()
    Qualification.objects.filter(pk=gap.pk).update(issued_on=date(2026, 7, 2))
    actions.raise_owed(now=now)
    assert keys("qualification ending") == []


def test_unrated_looks_are_told_weekly(dated, site, now):
    for days in range(14):
        actions.raise_owed(now=now + timedelta(days=days))
    assert keys("unrated") == [f"unrated:{site.pk}:2026-W{week}" for week in (25, 26)]


def test_what_somebody_signed_for_is_told_when_that_ends_and_not_as_overdue(look_order, dated, site, manager, now):
    from schedules.deferral.actions import sign_deferral

    Intent.objects.all().delete()
    deferral = sign_deferral(
        order_id=look_order.pk,
        expected_version=1,
        ends_on=date(2026, 8, 1),
        reason="crane in July",
        interim_measure="weekly by eye",
        actor=manager,
        now=now,
    )
    actions.raise_owed(now=now)
    assert keys("overdue") == []
    for days in (34, 50):
        actions.raise_owed(now=now + timedelta(days=days))
    told = [f"deferral ended:{deferral.pk}:2026-08-01", f"deferral ending:{deferral.pk}:2026-08-01"]
    assert keys("deferral ending") == told
