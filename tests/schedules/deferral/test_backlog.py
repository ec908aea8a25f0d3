"""The backlog says what is put off, since when, and above all what nobody signed for."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.deferral import rules
from schedules.deferral.actions import sign_deferral
from schedules.deferral.queries import backlog
from schedules.models import WorkOrder
from schedules.work.finishing import LookInput, finish


def put_off(order, manager, now, ends_on=date(2026, 7, 20), **more):
    return sign_deferral(
        order_id=order.pk,
        expected_version=order.version,
        ends_on=ends_on,
        reason="crane in July",
        interim_measure="weekly by eye",
        actor=manager,
        now=now,
        **more,
    )


@pytest.mark.django_db
def test_an_overdue_look_without_order_is_silent(dated, site, today):
    shown = backlog(site, today=today)
    assert [(each.title, each.days, each.order) for each in shown.silent] == [("MT of W-001 column foot", 14, None)]
    assert shown.put_off == []


@pytest.mark.django_db
def test_an_overdue_order_without_signature_is_silent_and_counted_once(look_order, site, today):
    shown = backlog(site, today=today)
    assert [each.order for each in shown.silent] == [look_order]
    assert (shown.silent_count, shown.bands[0].silent, shown.bands[0].signed) == (1, 1, 0)


@pytest.mark.django_db
def test_a_signature_moves_it_from_silent_to_put_off(look_order, manager, site, now, today):
    deferral = put_off(look_order, manager, now)
    shown = backlog(site, today=today)
    assert (shown.put_off, shown.silent) == ([deferral], [])
    assert (shown.bands[0].silent, shown.bands[0].signed) == (0, 1)
    assert shown.changed.newly_put_off == [deferral]


@pytest.mark.django_db
def test_the_last_day_of_a_deferral_still_counts_and_the_day_after_it_is_overdue_again(look_order, manager, site, now):
    deferral = put_off(look_order, manager, now)
    assert backlog(site, today=date(2026, 7, 20)).put_off == [deferral]
    after = backlog(site, today=date(2026, 7, 21))
    assert after.put_off == []
    assert [(each.order, each.lapsed) for each in after.silent] == [(look_order, deferral)]
    assert after.changed.lapsed == [deferral]


@pytest.mark.django_db
def test_done_work_leaves_the_backlog_and_shows_as_done(look_order, all_steps, inspector, manager, site, now, today):
    deferral = put_off(look_order, manager, now)
    order = all_steps(look_order, inspector)
    finish(
        order_id=order.pk, expected_version=order.version, actor=inspector, now=now, look=LookInput(result="accepted")
    )
    shown = backlog(site, today=today)
    assert shown.put_off == []
    assert shown.changed.done == [deferral]


@pytest.mark.django_db
def test_the_condition_index_is_cost_over_value_and_says_what_is_unpriced(
    look_order, repair_order, manager, asset, site, now, today
):
    asset.replacement_value = Decimal(2_400_000)
    asset.save()
    put_off(look_order, manager, now, cost_estimate=Decimal(180_000))
    WorkOrder.objects.filter(pk=repair_order.pk).update(due_on=date(2026, 6, 1))
    index = backlog(site, today=today).indices[0]
    assert (index.currency, index.per_cent, index.unpriced) == ("GBP", 7.5, 1)
    assert index.band() == "fair"


@pytest.mark.django_db
def test_without_a_value_the_index_is_not_known(look_order, site, today):
    index = backlog(site, today=today).indices[0]
    assert (index.per_cent, index.band(), index.unvalued) == (None, "", 1)


@pytest.mark.django_db
def test_the_number_of_queries_does_not_follow_the_backlog(
    dated, bolted_joint, planner, site, now, today, django_assert_max_num_queries
):
    from schedules.work.raising import raise_order_by_hand

    for joint in (dated.joint, bolted_joint):
        for _ in range(10):
            raise_order_by_hand(
                joint_id=joint.pk, kind="repair", why="x", due_on=date(2026, 5, 1), actor=planner, now=now
            )
    with django_assert_max_num_queries(16):
        assert backlog(site, today=today).silent_count == 21


def test_the_published_example_of_the_index():
    """180 000 of 2 400 000 is 7.5 %, fair: bands good under 5, fair under 10, poor under 30, critical from there."""
    assert rules.ConditionIndex("GBP", Decimal(180_000), Decimal(2_400_000)).band() == "fair"
    at = {0: "good", 4.9: "good", 5: "fair", 10: "poor", 29.9: "poor", 30: "critical", 80: "critical"}
    for per_cent, word in at.items():
        assert rules.ConditionIndex("GBP", Decimal(str(per_cent)), Decimal(100)).band() == word


@given(st.lists(st.tuples(st.integers(-5, 4000), st.booleans(), st.none() | st.decimals(0, 10**6, places=2))))
def test_every_work_falls_into_one_band(rows):
    bands = rules.age_bands(rows)
    assert sum(band.count for band in bands) == len(rows)
    assert sum(band.cost for band in bands) == sum(cost or 0 for _, _, cost in rows)


@pytest.mark.parametrize(("days", "place"), [(0, 0), (30, 0), (31, 1), (90, 1), (91, 2), (180, 2), (365, 3), (366, 4)])
def test_a_band_takes_its_upper_edge(days, place):
    assert [band.count for band in rules.age_bands([(days, True, None)])].index(1) == place


def test_a_month_before_the_last_of_march_is_the_last_of_february():
    assert rules.month_before(date(2026, 3, 31)) == date(2026, 2, 28)
    assert rules.month_before(date(2026, 1, 15)) == date(2025, 12, 15)
    assert rules.month_before(date(2026, 6, 15)) + timedelta(days=31) == date(2026, 6, 15)


def test_looks_counted_by_day_fall_into_the_bands_as_one_by_one():
    days = [(3, 2), (31, 5), (400, 1)]
    one_by_one = rules.age_bands((old, False, None) for old, looks in days for _ in range(looks))
    assert rules.age_bands([], without_order=days) == one_by_one


@pytest.mark.django_db
def test_more_looks_than_a_page_shows_are_all_counted(dated, site, today, now, monkeypatch):
    from schedules.deferral import queries
    from schedules.models import DueDate, Programme

    kept = DueDate.objects.get(programme=dated)
    for method in ("VT", "UT"):
        other = Programme.objects.create(joint=dated.joint, asset=dated.joint.asset, method=method)
        kept.pk, kept.method, kept._state.adding = other.pk, method, True
        kept.save()
    monkeypatch.setattr(queries, "SHOWN", 1)
    shown = backlog(site, today=today)
    assert (len(shown.silent), shown.silent_count, shown.bands[0].silent) == (1, 3, 3)
    assert (shown.indices[0].unpriced, shown.changed.newly_silent) == (3, 3)
