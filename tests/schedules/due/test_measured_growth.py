"""A crack measured again and again: its fitted growth asks for the next look."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from assets_app.models import Finding, FindingSize, Inspection
from schedules.due import engine, measured_growth, queries
from schedules.due.curves import curves_of_assets
from schedules.due.store import Scope
from schedules.duty import actions as duty
from schedules.models import CrackGrowth, DueDate, StressSpectrum

pytestmark = pytest.mark.django_db


@pytest.fixture
def rated(programme, steady_counter, spectrum, steel):
    return programme("MT", conditions="good", calendar_months=240, last_look_on=date(2026, 6, 1))


@pytest.fixture
def measured(weld_joint, person, site):
    """``measured((day, depth), ...)``: one open crack, watched by an engineer's leave."""
    who = person("inspector", site)

    def make(*sizes, state="open", severity="watch"):
        finding = None
        for day, depth in sizes:
            at = datetime(day.year, day.month, day.day, 9, tzinfo=UTC)
            look = Inspection.objects.create(
                joint=weld_joint, method="MT", inspected_at=at, inspected_on=day, result="findings", inspector=who,
                recorded_at=at,
            )  # fmt: skip
            finding = finding or Finding.objects.create(
                joint=weld_joint, inspection=look, kind="100", severity=severity, severity_computed="hold now",
                severity_reason="crack", found_on=day, state=state,
            )  # fmt: skip
            FindingSize.objects.create(finding=finding, inspection=look, measured_on=day, depth_mm=depth)
        return finding

    return make


GROWING = ((date(2026, 2, 1), 1.2), (date(2026, 3, 15), 1.5), (date(2026, 5, 1), 1.9), (date(2026, 6, 10), 2.3))


def test_a_growing_crack_is_owed_a_look_before_the_early_edge_reaches_critical(rated, measured, now):
    finding = measured(*GROWING)
    assert measured_growth.fit_owed(now=now) == 1
    fit = CrackGrowth.objects.get(finding=finding)
    assert fit.last_total < fit.due_total < fit.early_total <= fit.middle_total <= fit.late_total
    assert fit.due_total == pytest.approx(fit.last_total + (fit.early_total - fit.last_total) / 3)
    engine.recompute(Scope(joint_ids=[rated.joint_id]), now=now)
    due = DueDate.objects.get(programme=rated)
    assert due.measured_growth_on is not None
    told = queries.explain(rated.pk, now=now)
    line = next(line for line in told.lines if line.limit == "measured growth")
    assert "a crack measured 4 times" in line.sentence


def test_faster_growth_is_never_later(rated, measured, now):
    slow = measured(*GROWING)
    fast = measured(*((day, depth + 0.25 * place) for place, (day, depth) in enumerate(GROWING)))
    measured_growth.fit_owed(now=now)
    due = {row.finding_id: row.due_total for row in CrackGrowth.objects.all()}
    assert due[fast.pk] <= due[slow.pk]


def test_a_fit_is_made_once_and_again_after_a_new_size(rated, measured, now):
    measured(*GROWING[:3])
    assert (measured_growth.fit_owed(now=now), measured_growth.fit_owed(now=now)) == (1, 0)
    Finding.objects.get()
    at = datetime(2026, 6, 10, 9, tzinfo=UTC)
    look = Inspection.objects.create(
        joint=rated.joint, method="MT", inspected_at=at, inspected_on=date(2026, 6, 10), result="findings",
        inspector=Inspection.objects.first().inspector, recorded_at=at,
    )  # fmt: skip
    FindingSize.objects.create(
        finding=Finding.objects.get(), inspection=look, measured_on=date(2026, 6, 10), depth_mm=2.3
    )
    assert measured_growth.fit_owed(now=now) == 1
    assert CrackGrowth.objects.get().sizes == 4


def test_one_size_alone_fits_nothing(rated, measured, now):
    measured(GROWING[0])
    assert measured_growth.fit_owed(now=now) == 0


def test_what_cannot_be_fitted_keeps_the_reason_and_gives_no_day(programme, measured, now):
    made = programme("MT", calendar_months=240)
    measured(*GROWING)
    assert measured_growth.fit_owed(now=now) == 1
    fit = CrackGrowth.objects.get()
    assert "not known" in fit.problem
    engine.recompute(Scope(joint_ids=[made.joint_id]), now=now)
    assert DueDate.objects.get(programme=made).measured_growth_on is None


def test_a_repaired_crack_asks_for_nothing_more(rated, measured, now):
    finding = measured(*GROWING)
    measured_growth.fit_owed(now=now)
    Finding.objects.filter(pk=finding.pk).update(state="repaired", closed_on=date(2026, 6, 12))
    engine.recompute(Scope(joint_ids=[rated.joint_id]), now=now)
    assert DueDate.objects.get(programme=rated).measured_growth_on is None


def test_a_critical_size_that_fell_and_a_count_that_was_wrong_ask_for_another_fit(
    rated, measured, steady_counter, person, site, now
):
    measured(*GROWING)
    scope = Scope(joint_ids=[rated.joint_id])
    engine.recompute(scope, now=now)
    measured_growth.fit_owed(now=now + timedelta(minutes=1))
    assert not measured_growth.owed_fits().exists()
    before = CrackGrowth.objects.get()
    StressSpectrum.objects.update(peak_stress_mpa=200.0)
    engine.recompute(scope, now=now + timedelta(minutes=2), rate=engine.in_scope(scope))
    assert measured_growth.fit_owed(now=now + timedelta(minutes=3)) == 1
    after = CrackGrowth.objects.get()
    assert after.critical_mm < before.critical_mm
    assert after.due_total < before.due_total
    last = steady_counter.readings.order_by("read_at").last()
    duty.withdraw_reading(reading_id=last.pk, reason="mistyped", actor=person("planner", site), now=now)
    assert measured_growth.owed_fits().exists()


def test_a_reading_asks_for_another_fit_where_a_size_was_measured_since_the_one_before_it(
    rated, measured, steady_counter, person, site, now
):
    measured(*GROWING)  # the last on 10 June, between the readings of 4 and 11 June
    measured_growth.fit_owed(now=now)

    def read(day: int, value: float) -> None:
        at, who = datetime(2026, 6, day, 20, tzinfo=UTC), person("technician", site)
        duty.post_reading(counter_id=steady_counter.pk, value=value, read_at=at, actor=who, now=now, source="page")

    last = steady_counter.readings.order_by("read_at").last()
    read(14, last.value + 300)
    assert not measured_growth.owed_fits().exists()
    read(8, last.value - 100)  # was 300 less by the straight line of before
    assert measured_growth.owed_fits().exists()


def test_a_total_mistyped_at_a_size_is_not_taken_for_slow_growth(measured, steady_counter, now):
    size = measured(*GROWING).sizes.last()
    curve = curves_of_assets([steady_counter.asset_id], today=now.date())[steady_counter.asset_id]
    size.counter_total = 1e7
    total, depth = measured_growth.point(size, curve)
    assert depth == 2.3
    assert curve.total_at_look(size.measured_on) <= total <= curve.total_on(size.measured_on)
