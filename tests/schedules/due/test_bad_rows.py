"""Rows that no form lets through, and figures that nobody knows: no date is later for it, and others are computed."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection

from assets_app.models import Finding, Inspection, Joint, Weld
from schedules.due import engine, queries
from schedules.due.store import Scope
from schedules.models import CounterForecast, DueDate, OfficeTable, OwedLook, Rating, Reading, StressSpectrum

pytestmark = pytest.mark.django_db


@pytest.fixture
def pair(programme, weld_joint, spectrum, steel, steady_counter):
    """A joint in order and one like it, each owed a look by MT."""
    twin = Joint.objects.create(
        asset=weld_joint.asset, tag="W-002", kind="weld", load_path="single", access="easy", member=steel
    )
    weld = Weld.objects.get(joint=weld_joint)
    weld.pk = weld.joint_id = twin.pk
    weld.save(force_insert=True)
    spectrum.pk, spectrum.joint = None, twin
    spectrum.save(force_insert=True)
    return programme("MT", conditions="good"), programme("MT", joint=twin, conditions="good")


def due_of(*programmes, now, rate=True):
    scope = Scope(asset_ids=[programmes[0].asset_id])
    engine.recompute(scope, now=now, rate=engine.in_scope(scope) if rate else None)
    return [DueDate.objects.get(programme=each) for each in programmes]


def raw(sql: str, *values) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda joint: StressSpectrum.objects.filter(joint=joint).update(bins="sixty"), "stress spectrum"),
        (lambda joint: StressSpectrum.objects.filter(joint=joint).update(bins=[[60, 1e300]]), "stress spectrum"),
        (lambda joint: StressSpectrum.objects.filter(joint=joint).update(kind="twist"), "kind of stress"),
        (lambda joint: Weld.objects.filter(joint=joint).update(wall_mm=-1e300), "wall thickness"),
        (lambda joint: StressSpectrum.objects.filter(joint=joint).update(peak_stress_mpa=1e300), "greatest tension"),
    ],
)
def test_one_bad_joint_is_due_today_and_says_why_and_the_others_are_computed(pair, change, said, now, today):
    good, bad = pair
    before = due_of(good, bad, now=now)
    assert before[0].due_on == before[1].due_on > today
    change(bad.joint)
    sound, odd = due_of(good, bad, now=now)
    assert (sound.due_on, sound.unrated) == (before[0].due_on, False)
    assert (odd.due_on, odd.governing, odd.unrated) == (today, "damage", True)
    told = queries.explain(bad.pk, now=now)
    assert told.due_on == today
    assert "not computed" in told.sentence
    assert said in told.sentence


def test_a_table_of_the_office_that_cannot_be_read_is_not_replaced_by_the_shipped_one_in_silence(
    pair, site, now, today
):
    OfficeTable.objects.create(site=site, table="growth_laws", title="ours", data={"rows": 7}, reason="-", set_at=now)
    assert [(row.due_on, row.unrated) for row in due_of(*pair, now=now)] == [(today, True), (today, True)]


@pytest.mark.parametrize("broken", [{"rate": 100.0}, {"rate": "fast", "seasons": [], "weekday": [], "month": []}])
def test_a_forecast_that_cannot_be_right_asks_for_looks_now(pair, broken, now, today):
    CounterForecast.objects.update(parameters=broken)
    rows = due_of(*pair, now=now)
    assert [(row.due_on, row.governing, row.unrated) for row in rows] == [(today, "damage", True)] * 2
    assert "counter" in queries.explain(pair[0].pk, now=now).sentence


@pytest.mark.parametrize(
    ("column", "value", "on", "governing"),
    [
        ("duty_count", "'NaN'", date(2026, 1, 8), "duty"),
        ("duty_count", "-5", date(2026, 1, 8), "duty"),
        ("calendar_months", "0", date(2026, 1, 9), "calendar"),
    ],
)
def test_a_longest_interval_that_is_none_allows_none(
    programme, steady_counter, weld_joint, column, value, on, governing, now
):
    made = programme("VT", last_look_on=date(2026, 1, 9), calendar_months=120)
    raw(f"UPDATE schedules_programme SET {column} = {value} WHERE id = %s", made.pk)
    [row] = due_of(made, now=now)
    assert row.governing == governing
    assert row.due_on <= date(2026, 1, 9)


def test_a_yearly_look_at_steel_of_unknown_age_that_nobody_saw_is_owed_now(programme, asset, now, today):
    asset.commissioned_on = None
    asset.save()
    made = programme("VT", calendar_months=12)
    assert [row.due_on for row in due_of(made, now=now)] == [today]
    assert "nobody has said since when it is in use" in queries.explain(made.pk, now=now).sentence


def test_a_look_owed_by_count_alone_without_a_counter_shows_as_unrated(programme, weld_joint, now, today):
    made = programme("VT", calendar_months=1200)
    OwedLook.objects.create(joint=weld_joint, limit="after work", due_total=500.0, why="repair", owed_since=today)
    due_of(made, now=now)
    Rating.objects.update(incomplete=False)
    assert due_of(made, now=now, rate=False)[0].unrated


def test_a_figure_mistyped_at_a_look_puts_no_look_off(programme, steady_counter, now):
    made = programme("VT", duty_count=5000.0, last_look_on=date(2026, 6, 1), last_look_total=15_050.0)
    noted = due_of(made, now=now)[0].due_on
    made.last_look_total = 150_500.0
    made.save()
    mistyped = due_of(made, now=now)[0].due_on
    assert noted <= mistyped <= noted + timedelta(days=1)  # as if looked at on the evening of that day


def test_a_counter_last_read_long_ago_still_has_its_years_ahead(programme, asset, steady_counter, now, today):
    """Read for 36 years, then not for eleven: what falls due lies ahead or behind, and is not out of sight."""
    asset.commissioned_on = date(1979, 1, 1)
    asset.save()
    Reading.objects.all().delete()
    for on, total in ((date(1979, 1, 2), 1.0), (date(2015, 6, 1), 13_000.0)):
        at = datetime(on.year, on.month, on.day, tzinfo=UTC)
        Reading.objects.create(
            counter=steady_counter, read_at=at, read_on=on, value=total, total=total, source="api", posted_at=now
        )
    CounterForecast.objects.update(as_of=date(2015, 6, 1), total=13_000.0)
    forecast = CounterForecast.objects.get()
    CounterForecast.objects.update(parameters=forecast.parameters | {"rate": 1.0, "busiest": 1.0})
    made = programme("VT", duty_count=4600.0, last_look_on=date(2015, 5, 1), last_look_total=13_000.0)
    [row] = due_of(made, now=now)
    assert row.due_on is not None
    assert row.count_now is not None


def test_a_finding_of_a_word_that_nobody_knows_asks_at_once(programme, weld_joint, person, site, now, today):
    made = programme("MT", calendar_months=240)
    look = Inspection.objects.create(
        joint=weld_joint, method="MT", inspected_at=now, inspected_on=today, result="findings",
        inspector=person("inspector", site), recorded_at=now,
    )  # fmt: skip
    Finding.objects.create(
        joint=weld_joint, inspection=look, kind="100", severity="severe", severity_computed="severe",
        severity_reason="-", found_on=today,
    )  # fmt: skip
    assert due_of(made, now=now)[0].due_on == today


def test_a_look_by_a_method_that_is_owed_no_longer_still_binds(programme, weld_joint, now, today):
    made = programme("VT", calendar_months=240)
    off = programme("MT", active=False)
    OwedLook.objects.create(
        joint=weld_joint, method=off.method, limit="after work", due_on=today, why="repair", owed_since=today
    )
    row = due_of(made, now=now)[0]
    assert (row.due_on, row.governing) == (today, "after work")
