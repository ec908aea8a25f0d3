"""Putting work off: who, how far, and never what stops use."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from assets_app.models import Assessment, RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from schedules.deferral import bounds
from schedules.deferral.actions import sign_deferral, withdraw_deferral
from schedules.due import engine, queries
from schedules.due.store import Scope
from schedules.models import Deferral
from schedules.work import actions, raising
from schedules.work.finishing import LookInput, finish

pytestmark = pytest.mark.django_db


def sign(order, actor, now, **changes):
    said = {
        "ends_on": date(2026, 7, 20),
        "reason": "the tower crane comes in July",
        "interim_measure": "half the seats closed, looked at weekly by eye",
    } | changes
    return sign_deferral(order_id=order.pk, expected_version=order.version, actor=actor, now=now, **said)


@pytest.mark.parametrize("role", ["manager", "engineer"])
def test_a_manager_or_an_engineer_signs_and_it_is_recorded(role, look_order, person, site, now):
    who = person(role, site)
    deferral = sign(look_order, who, now, cost_estimate=Decimal(900))
    assert (deferral.was_due_on, deferral.ends_on, deferral.state) == (date(2026, 6, 1), date(2026, 7, 20), "standing")
    entry = RecordEntry.objects.get(deed="deferral.signed")
    assert (entry.actor, entry.facts["ends_on"]) == (who, "2026-07-20")
    look_order.refresh_from_db()
    assert look_order.due_on == date(2026, 6, 1)  # the order keeps its day


@pytest.mark.parametrize("role", ["planner", "technician", "inspector", "auditor"])
def test_nobody_else_signs(role, look_order, person, site, now):
    with pytest.raises(NotAllowed) as refused:
        sign(look_order, person(role, site), now)
    assert refused.value.code == "role_lacks_right"


def test_nobody_signs_for_another_site(look_order, stranger, now):
    with pytest.raises(NotFound):
        sign(look_order, stranger, now)


@pytest.mark.parametrize(("field", "code"), [("reason", "reason_needed"), ("interim_measure", "interim_needed")])
def test_reason_and_interim_measure_are_asked_for(look_order, manager, now, field, code):
    with pytest.raises(Unprocessable) as refused:
        sign(look_order, manager, now, **{field: "  "})
    assert (refused.value.code, refused.value.field) == (code, field)


@pytest.mark.parametrize("severity", ["repair before use", "hold now"])
def test_what_stops_use_cannot_be_put_off(severity, finding, planner, manager, now):
    order = raising.raise_order_for_finding(finding_id=finding(severity).pk, kind="repair", actor=planner, now=now)
    with pytest.raises(Conflict) as refused:
        sign(order, manager, now)
    assert refused.value.code == "cannot_be_deferred"
    assert not Deferral.objects.exists()


def test_nor_can_a_look_at_a_joint_on_which_such_a_finding_is_open(look_order, finding, manager, now):
    finding("repair before use")
    with pytest.raises(Conflict) as refused:
        sign(look_order, manager, now)
    assert refused.value.code == "cannot_be_deferred"


def test_a_milder_finding_can(repair_order, manager, now):
    assert sign(repair_order, manager, now).risk["severities"] == ["plan repair"]


@pytest.mark.parametrize("ends_on", [date(2026, 6, 15), date(2026, 5, 30)])
def test_the_end_lies_ahead(look_order, manager, now, ends_on):
    with pytest.raises(Unprocessable) as refused:
        sign(look_order, manager, now, ends_on=ends_on)
    assert refused.value.code == "ends_too_early"


def test_a_stale_page_signs_nothing(look_order, planner, manager, now):
    actions.plan(order_id=look_order.pk, expected_version=1, planned_on=None, actor=planner, now=now)
    with pytest.raises(Conflict) as refused:
        sign(look_order, manager, now)
    assert refused.value.code == "order_changed"


def test_one_deferral_stands_at_a_time(look_order, manager, now):
    sign(look_order, manager, now)
    with pytest.raises(Conflict) as refused:
        sign(look_order, manager, now, ends_on=date(2026, 8, 1))
    assert refused.value.code == "already_deferred"
    assert f"signed by {manager.display_name} on 15 Jun 2026 at" in refused.value.message
    assert refused.value.data["by"] == manager.display_name


def test_one_that_lapsed_makes_way_and_stays_on_file(look_order, manager, now):
    first = sign(look_order, manager, now)
    second = sign(look_order, manager, now + timedelta(days=60), ends_on=date(2026, 9, 30))
    first.refresh_from_db()
    assert (first.state, second.state) == ("lapsed", "standing")


def test_an_assessment_bounds_the_deferral(look_order, finding, engineer, manager, now):
    seen = finding("watch", state="assessed")
    Assessment.objects.create(
        joint=seen.joint, finding=seen, ends_on=date(2026, 7, 1), reason="x", signed_by=engineer, signed_at=now
    )
    with pytest.raises(Unprocessable) as refused:
        sign(look_order, manager, now, ends_on=date(2026, 7, 2))
    assert (refused.value.code, refused.value.data["latest"]) == ("beyond_window", "2026-07-01")
    assert sign(look_order, manager, now, ends_on=date(2026, 7, 1)).ends_on == date(2026, 7, 1)


@pytest.fixture
def rated_order(programme, steady_counter, spectrum, steel, planner, now):
    """A weld whose growth window is known."""
    made = programme("MT", conditions="good", calendar_months=12, last_look_on=date(2025, 6, 1), last_look_total=0.0)
    engine.recompute(Scope(joint_ids=[made.joint_id]), now=now)
    return raising.raise_order_for_due_date(programme_id=made.pk, actor=planner, now=now), made


def test_not_beyond_the_day_on_which_the_growth_window_closes(rated_order, manager, now):
    order, made = rated_order
    told = queries.explain(made.pk, now=now)
    closes = min(told.window_closes_on, bounds.life_ends_on(told.worked) or date.max)
    assert closes > date(2026, 6, 16)
    with pytest.raises(Unprocessable) as refused:
        sign(order, manager, now, ends_on=closes + timedelta(days=1))
    assert (refused.value.code, refused.value.data["latest"]) == ("beyond_window", closes.isoformat())
    assert sign(order, manager, now, ends_on=closes).ends_on == closes


def test_what_nobody_can_compute_is_put_off_for_a_year_at_most(look_order, manager, now):
    with pytest.raises(Unprocessable) as refused:
        sign(look_order, manager, now, ends_on=date(2027, 6, 16))
    assert refused.value.code == "beyond_window"
    assert "neither the growth window nor the fatigue life" in refused.value.message
    assert sign(look_order, manager, now, ends_on=date(2027, 6, 15)).state == "standing"


def test_what_is_known_to_outlast_the_forecast_is_not_said_to_be_unknown(rated_order, now):
    order, made = rated_order
    told, today = queries.explain(made.pk, now=now), date(2026, 6, 15)

    def bounded(**rated):
        worked = replace(told.worked, rated=replace(told.worked.rated, **rated))
        return bounds.bounds_of(order, [replace(told, window_closes_on=None, worked=worked)], today)

    assert bounded(damage_per_count=1e-15) == []
    assert [each.on for each in bounded(damage_per_count=None, window_count=None)] == [date(2027, 6, 15)]
    assert [each.on for each in bounded(damage_per_count=1e-15, impossible=True)] == [date(2027, 6, 15)]


def test_the_risk_is_signed_with_it(rated_order, manager, now):
    order, made = rated_order
    told = queries.explain(made.pk, now=now)
    risk = bounds.risk_of(order, [told])
    assert risk["damage"] == pytest.approx(told.worked.damage_now)
    assert risk["window_used"] == pytest.approx(told.worked.count_now / told.worked.rated.window_count)
    assert risk["unprotected"] is False


def test_an_unknown_risk_is_none_and_names_what_is_missing(look_order, manager, now):
    risk = sign(look_order, manager, now).risk
    assert (risk["damage"], risk["window_used"], risk["unrated"]) == (None, None, True)
    assert any("stress spectrum" in text for text in risk["missing"])


def test_taking_it_back_needs_a_reason_and_is_recorded(look_order, manager, now):
    deferral = sign(look_order, manager, now)
    with pytest.raises(Unprocessable):
        withdraw_deferral(deferral_id=deferral.pk, reason="", actor=manager, now=now)
    withdraw_deferral(deferral_id=deferral.pk, reason="the crane came early", actor=manager, now=now)
    deferral.refresh_from_db()
    assert (deferral.state, deferral.ended_on) == ("withdrawn", date(2026, 6, 15))
    assert RecordEntry.objects.get(deed="deferral.withdrawn").facts["reason"] == "the crane came early"
    with pytest.raises(Conflict) as refused:
        withdraw_deferral(deferral_id=deferral.pk, reason="again", actor=manager, now=now)
    assert refused.value.code == "not_standing"


def test_a_planner_takes_none_back(look_order, manager, planner, now):
    deferral = sign(look_order, manager, now)
    with pytest.raises(NotAllowed):
        withdraw_deferral(deferral_id=deferral.pk, reason="x", actor=planner, now=now)


def test_it_ends_when_the_work_is_done(look_order, all_steps, inspector, manager, now):
    deferral = sign(look_order, manager, now)
    order = all_steps(look_order, inspector)
    finish(
        order_id=order.pk, expected_version=order.version, actor=inspector, now=now, look=LookInput(result="accepted")
    )
    deferral.refresh_from_db()
    assert (deferral.state, deferral.ended_on) == ("ended", date(2026, 6, 15))


def test_it_is_withdrawn_when_the_order_is_called_off(look_order, manager, now):
    deferral = sign(look_order, manager, now)
    actions.cancel(order_id=look_order.pk, expected_version=1, reason="asset sold", actor=manager, now=now)
    deferral.refresh_from_db()
    assert deferral.state == "withdrawn"


def test_the_clock_is_the_site_s_own(look_order, manager):
    """At half past eleven at night in New York it is the next day on the pier."""
    late = datetime(2026, 6, 16, 3, 30, tzinfo=UTC)
    with pytest.raises(Unprocessable):
        sign(look_order, manager, late, ends_on=date(2026, 6, 16))
