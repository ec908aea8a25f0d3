"""Posting, exchanging and withdrawing readings: what is stored, refused and passed on."""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta

import pytest
from django.db import transaction

from assets_app.models import RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Refused, Unprocessable
from schedules.duty import actions, events, queries
from schedules.models import CounterForecast, Reading, StaleMark

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician(person, site):
    return person("technician", site)


@pytest.fixture
def planner(person, site):
    return person("planner", site)


@pytest.fixture
def post(counter, technician, now):
    """``post(1200, days_ago=3)``."""

    def make(value, days_ago=0.0, *, hours=0.0, actor=technician, of=counter, **more):
        at = now - timedelta(days=days_ago, hours=hours)
        return actions.post_reading(
            counter_id=of.pk, value=value, read_at=at, actor=actor, now=now, source="page", **more
        )

    return make


def refused(error=Unprocessable):
    return pytest.raises(error)


def totals(counter):
    return list(counter.readings.order_by("read_at").values_list("total", flat=True))


def test_a_reading_is_stored_with_the_day_on_the_sites_clock_and_who_posted_it(post, counter, technician, now):
    reading = post(1200, hours=10)  # 23:00 UTC of the 14th is midnight of the 15th in London
    assert (reading.total, reading.read_on, reading.posted_by) == (1200, date(2026, 6, 15), technician)
    assert Reading.objects.get() == reading


def test_a_reading_refits_the_forecast_and_marks_the_asset_stale_in_the_same_transaction(post, counter, asset):
    post(1000, 20)
    first = CounterForecast.objects.get(counter=counter).version
    StaleMark.objects.all().delete()
    post(3000, 0)
    forecast = CounterForecast.objects.get(counter=counter)
    assert forecast.version == first + 1
    assert (forecast.as_of, forecast.total) == (date(2026, 6, 15), 3000)
    assert forecast.parameters["rate"] > 0
    assert list(StaleMark.objects.values_list("asset_id", "joint_id", "rating_too")) == [(asset.pk, None, False)]


def test_what_goes_wrong_later_takes_reading_forecast_and_mark_back(post):
    def fail(**_):
        raise RuntimeError("a floor above fails")

    events.duty_changed.connect(fail)
    try:
        with pytest.raises(RuntimeError):
            post(1000)
    finally:
        events.duty_changed.disconnect(fail)
    assert not Reading.objects.exists()
    assert not CounterForecast.objects.exists()
    assert not StaleMark.objects.exists()


def test_a_secondary_counter_moves_no_due_date(post, asset):
    from schedules.models import Counter

    hours = Counter.objects.create(asset=asset, name="hours", unit="hours", is_primary=False)
    post(10, of=hours)
    assert CounterForecast.objects.filter(counter=hours).exists()
    assert not StaleMark.objects.exists()


def test_a_reading_that_runs_backwards_is_refused_with_value_and_day_before(post):
    post(5000, 4)
    with refused() as why:
        post(4000)
    assert why.value.code == "reading_runs_backwards"
    assert why.value.data == {"previous_value": 5000.0, "previous_day": "11 June 2026"}
    assert "5\u202f000" in why.value.message
    assert "11 June 2026" in why.value.message
    assert "exchange" in why.value.message
    assert Reading.objects.count() == 1


def test_the_same_reading_again_is_the_first_and_changes_nothing(post, counter):
    first = post(5000, 4)
    version = CounterForecast.objects.get().version
    assert post(5000, 4) == first
    assert Reading.objects.count() == 1
    assert CounterForecast.objects.get().version == version


def test_another_figure_for_the_same_moment_is_a_conflict(post):
    post(5000, 4)
    with refused(Conflict) as why:
        post(5001, 4)
    assert why.value.code == "reading_differs"
    assert "posted by Technician on 15 Jun 2026 at" in why.value.message
    assert "Planner or engineer could" in why.value.message


def test_two_figures_for_one_moment_in_one_file_name_nobody(counter, technician, now):
    at = now - timedelta(days=4)
    entries = [actions.Entry(row, counter.pk, value, at) for row, value in ((1, 5000), (2, 5001))]
    report = actions.post_readings(entries=entries, actor=technician, now=now, source="file", dry_run=True)
    assert [error["code"] for error in report.errors] == ["reading_differs"]
    assert "posted" not in report.errors[0]["message"]


def test_a_late_reading_must_lie_between_its_neighbours(post, counter):
    post(1000, 20)
    post(3000, 10)
    post(2000, 15)
    assert totals(counter) == [1000, 2000, 3000]
    for value, code in ((3001, "reading_above_later"), (999, "reading_runs_backwards")):
        with refused() as why:
            post(value, 14, confirmed=True)
        assert why.value.code == code
    assert "5 June 2026" in _refusal(post, 3001, 14).message


def _refusal(post, *args, **more):
    with pytest.raises(Refused) as why, transaction.atomic():
        post(*args, **more)
    return why.value


def test_a_reading_before_the_first_counts_back_from_it(post, counter):
    post(3000, 10)
    post(2500, 20)
    assert totals(counter) == [2500, 3000]
    assert _refusal(post, 3100, 30).code == "reading_above_later"


@pytest.mark.parametrize(
    ("value", "days_ago", "code"),
    [
        (10, -0.01, "reading_in_future"),
        (10, 6000, "reading_before_commissioning"),
        (-1, 0, "reading_not_a_count"),
        (float("nan"), 0, "reading_not_a_count"),
        (float("inf"), 0, "reading_not_a_count"),
    ],
)
def test_what_no_counter_can_show_is_refused(post, value, days_ago, code):
    assert _refusal(post, value, days_ago).code == code
    assert not Reading.objects.exists()


def test_a_jump_far_beyond_the_busiest_rate_needs_confirming(post, counter):
    for week in range(10, 1, -1):
        post(7000 * (11 - week), 7 * week)
    why = _refusal(post, 500_000, 7)
    assert why.code == "reading_jumps"
    assert why.data["previous_value"] == 63_000
    assert post(500_000, 7, confirmed=True).total == 500_000


def test_a_jump_is_judged_by_the_open_days_since(post, counter, site):
    from schedules.models import Season

    Season.objects.create(site=site, opens_month=6, opens_day=1, closes_month=9, closes_day=30, name="summer")
    for day in range(10, 1, -1):
        post(1000 * (11 - day), day)
    assert _refusal(post, 9000 + 12_000, 1).code == "reading_jumps"  # two days at 1,000 times 5 are 10,000
    assert post(9000 + 9_000, 1).total == 18_000


def test_a_meter_that_rolls_over_counts_on(post, counter):
    counter.rolls_over_at = 100_000
    counter.save()
    post(99_000, 10)
    post(99_500, 5)
    assert post(300, 1).total == 100_300
    assert _refusal(post, 100_000).code == "reading_beyond_meter"


def test_an_unlikely_rollover_needs_confirming(post, counter):
    counter.rolls_over_at = 100_000
    counter.save()
    post(5000, 40)
    post(6000, 30)
    why = _refusal(post, 5500)
    assert why.code == "reading_runs_backwards"
    assert "confirm" in why.message
    assert post(5500, confirmed=True).total == 105_500


def test_a_meter_exchange_runs_the_total_on_and_is_recorded(post, counter, technician, now, site):
    post(5000, 10)
    exchanged = actions.exchange_meter(
        counter_id=counter.pk,
        closing_value=5600,
        opening_value=10,
        at=now - timedelta(days=5),
        actor=technician,
        now=now,
        source="page",
    )
    assert (exchanged.kind, exchanged.total, exchanged.value, exchanged.closing_value) == ("exchange", 5600, 10, 5600)
    assert post(310).total == 5900
    entry = RecordEntry.objects.get(deed="meter.exchanged")
    assert json.loads(entry.content)["closing_value"] == 5600
    assert entry.asset_id == counter.asset_id


def test_an_old_meter_that_closes_below_its_last_reading_is_refused_at_that_field(post, counter, technician, now):
    post(5000, 10)
    with refused() as why:
        actions.exchange_meter(
            counter_id=counter.pk, closing_value=4000, opening_value=0, at=now, actor=technician, now=now, source="page"
        )
    assert (why.value.code, why.value.field) == ("reading_runs_backwards", "closing_value")


def test_an_exchange_before_later_readings_is_refused(post, counter, technician, now):
    post(5000, 10)
    post(6000, 1)
    with refused(Conflict) as why:
        actions.exchange_meter(
            counter_id=counter.pk,
            closing_value=5500,
            opening_value=0,
            at=now - timedelta(days=5),
            actor=technician,
            now=now,
            source="page",
        )
    assert (why.value.code, why.value.data["by"]) == ("readings_after_exchange", technician.display_name)


def test_a_withdrawn_reading_stays_in_the_record_with_its_reason(post, counter, planner, now, asset):
    post(5000, 10)
    wrong = post(50_000, 5, confirmed=True)
    StaleMark.objects.all().delete()
    actions.withdraw_reading(reading_id=wrong.pk, reason="one nought too many", actor=planner, now=now)
    assert totals(counter) == [5000]
    content = json.loads(RecordEntry.objects.get(deed="reading.withdrawn").content)
    assert (content["value"], content["reason"]) == (50_000, "one nought too many")
    assert CounterForecast.objects.get().total == 5000
    assert StaleMark.objects.get().asset_id == asset.pk
    assert post(5500).total == 5500


def test_a_rollover_that_hung_on_a_wrong_reading_is_undone_with_it(post, counter, planner, now):
    counter.rolls_over_at = 100_000
    counter.save()
    post(1000, 10)
    wrong = post(99_900, 5, confirmed=True)
    post(1500, 0, confirmed=True)
    assert totals(counter) == [1000, 99_900, 101_500]
    actions.withdraw_reading(reading_id=wrong.pk, reason="misread", actor=planner, now=now)
    assert totals(counter) == [1000, 1500]


def test_without_any_reading_left_nothing_is_forecast(post, planner, now, counter):
    only = post(5000, 10)
    actions.withdraw_reading(reading_id=only.pk, reason="another ride", actor=planner, now=now)
    assert CounterForecast.objects.get().parameters == {}
    curves = queries.forecast_curves([counter.pk], date(2026, 6, 15), 100)[counter.pk]
    assert curves.middle is None
    assert curves.early is None


def test_a_withdrawal_needs_a_reason_and_the_right_role(post, planner, technician, now):
    reading = post(5000, 10)
    with refused() as why:
        actions.withdraw_reading(reading_id=reading.pk, reason="  ", actor=planner, now=now)
    assert why.value.code == "reason_missing"
    with refused(NotAllowed):
        actions.withdraw_reading(reading_id=reading.pk, reason="wrong", actor=technician, now=now)


@pytest.mark.parametrize("role", ["planner", "technician", "inspector", "engineer"])
def test_whoever_works_at_the_site_may_post(post, person, site, role):
    assert post(10, actor=person(role, site)).pk


@pytest.mark.parametrize("role", ["manager", "auditor"])
def test_manager_and_auditor_may_not_post(post, person, site, role):
    assert isinstance(_refusal(post, 10, actor=person(role, site)), NotAllowed)


def test_a_counter_of_another_site_is_not_there(post, person, other_site):
    assert isinstance(_refusal(post, 10, actor=person("engineer", other_site)), NotFound)


def test_plain_readings_leave_no_entry_in_the_record(post):
    post(10)
    assert not RecordEntry.objects.exists()


def test_many_readings_are_posted_in_any_order_all_or_none(counter, technician, now, asset):
    def entries(values):
        return [
            actions.Entry(row, counter.pk, value, now - timedelta(days=days_ago))
            for row, (value, days_ago) in enumerate(values, start=1)
        ]

    def run(values, **more):
        return actions.post_readings(entries=entries(values), actor=technician, now=now, source="api", **more)

    good = [(300, 1), (100, 3), (200, 2)]
    assert run(good, dry_run=True).posted == 3
    assert not Reading.objects.exists()
    assert run(good).posted == 3
    assert totals(counter) == [100, 200, 300]
    assert StaleMark.objects.count() == 1
    assert run(good) == (0, 3, [], [], False)
    with refused() as why:
        run([(400, 0.5), (50, 0.2), (10, -1)])
    assert why.value.code == "rows_refused"
    assert [(row["row"], row["code"]) for row in why.value.data["rows"]] == [
        (2, "reading_runs_backwards"),
        (3, "reading_in_future"),
    ]
    assert Reading.objects.count() == 3


def test_readings_through_the_hour_that_comes_twice_keep_their_order(counter, technician):
    after = datetime.fromisoformat("2025-10-26T03:00:00+00:00")
    for value, at in ((10, "2025-10-26T01:50:00+01:00"), (20, "2025-10-26T01:10:00+00:00")):
        actions.post_reading(
            counter_id=counter.pk,
            value=value,
            read_at=datetime.fromisoformat(at),
            actor=technician,
            now=after,
            source="api",
        )
    moments = [moment for moment, _ in queries.history_of(counter)]
    assert moments == sorted(set(moments))
