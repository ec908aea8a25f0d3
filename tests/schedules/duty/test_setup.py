"""Counters, seasons and spectra: who may change them, what is recorded, what follows."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta

import pytest

from assets_app.models import RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from engineering.errors import InputError
from schedules.duty import setup
from schedules.duty.open_days import Span
from schedules.models import Counter, CounterForecast, Reading, Season, StaleMark, StressSpectrum

pytestmark = pytest.mark.django_db
SUMMER = Span(4, 1, 10, 31)


@pytest.fixture
def read_counter(counter):
    for week in range(20):
        at = datetime(2026, 1, 5, tzinfo=UTC) + timedelta(weeks=week)
        Reading.objects.create(
            counter=counter,
            read_at=at,
            read_on=at.date(),
            value=700 * week,
            total=700 * week,
            source="api",
            posted_at=at,
        )
    return counter


def test_a_season_changes_the_forecast_and_marks_the_assets_it_governs(read_counter, site, person, now, asset):
    season = setup.add_season(
        site_id=site.pk, asset_id=None, name="summer", span=SUMMER, actor=person("planner", site), now=now
    )
    forecast = CounterForecast.objects.get(counter=read_counter)
    assert forecast.parameters["seasons"] == [[4, 1, 10, 31, "1111111"]]
    assert forecast.parameters["rate"] > 150  # the same count over fewer open days
    assert StaleMark.objects.get().asset_id == asset.pk
    assert RecordEntry.objects.get(deed="season.added").subject_id == season.pk


def test_a_changed_and_a_removed_season_keep_what_was_in_the_record(read_counter, site, person, now):
    manager = person("manager", site)
    season = setup.add_season(site_id=site.pk, asset_id=None, name="summer", span=SUMMER, actor=manager, now=now)
    setup.change_season(season_id=season.pk, name="long summer", span=Span(3, 1, 11, 30), actor=manager, now=now)
    content = json.loads(RecordEntry.objects.get(deed="season.changed").content)
    assert (content["opens_month"], content["was"]["opens_month"]) == (3, 4)
    setup.remove_season(season_id=season.pk, actor=manager, now=now)
    assert not Season.objects.exists()
    assert CounterForecast.objects.get(counter=read_counter).parameters["seasons"] == []
    assert RecordEntry.objects.filter(deed="season.removed").exists()
    assert StaleMark.objects.count() == 3


def test_a_site_season_leaves_an_asset_with_its_own_alone(read_counter, site, person, now, asset):
    planner = person("planner", site)
    setup.add_season(site_id=site.pk, asset_id=asset.pk, name="own", span=Span(5, 1, 6, 1), actor=planner, now=now)
    StaleMark.objects.all().delete()
    setup.add_season(site_id=site.pk, asset_id=None, name="summer", span=SUMMER, actor=planner, now=now)
    assert not StaleMark.objects.exists()
    assert CounterForecast.objects.get(counter=read_counter).parameters["seasons"] == [[5, 1, 6, 1, "1111111"]]


@pytest.mark.parametrize("role", ["technician", "inspector", "engineer", "auditor"])
def test_only_planner_and_manager_change_seasons(site, person, now, role):
    with pytest.raises(NotAllowed):
        setup.add_season(site_id=site.pk, asset_id=None, name="summer", span=SUMMER, actor=person(role, site), now=now)


def test_a_season_that_is_no_span_is_refused(site, person, now):
    with pytest.raises(InputError):
        setup.add_season(
            site_id=site.pk, asset_id=None, name="x", span=Span(6, 31, 8, 1), actor=person("planner", site), now=now
        )
    assert not Season.objects.exists()


def test_a_season_for_an_asset_of_another_site_is_refused(site, other_site, person, now, asset):
    with pytest.raises(NotFound):
        setup.add_season(
            site_id=other_site.pk,
            asset_id=asset.pk,
            name="summer",
            span=SUMMER,
            actor=person("planner", other_site),
            now=now,
        )


def test_a_new_counter_has_no_rate_and_an_asset_one_primary(asset, site, person, now):
    planner = person("planner", site)
    counter = setup.add_counter(asset_id=asset.pk, name="cycles", unit="cycles", actor=planner, now=now)
    assert CounterForecast.objects.get(counter=counter).parameters == {}
    for name, code in (("cycles", "counter_exists"), ("hours", "primary_counter_exists")):
        with pytest.raises(Conflict) as refused:
            setup.add_counter(asset_id=asset.pk, name=name, unit="hours", actor=planner, now=now)
        assert (refused.value.code, refused.value.data["by"]) == (code, planner.display_name)
        assert "Added by Planner on 15 Jun 2026 at" in refused.value.message
    assert Counter.objects.count() == 1


def test_a_changed_silence_reaches_the_forecast(read_counter, site, person, now):
    setup.change_counter(
        counter_id=read_counter.pk, rolls_over_at=None, expected_every_days=60, actor=person("engineer", site), now=now
    )
    assert CounterForecast.objects.get(counter=read_counter).parameters["read_every_days"] == 60
    assert json.loads(RecordEntry.objects.get().content)["was"]["expected_every_days"] == 14


def spectrum(joint, actor, now, **more):
    given = {
        "bins": [[80, 1], [40, 12.5]],
        "status": "calculated",
        "source": "calc. 12",
        "valid_from": date(2026, 1, 1),
    }
    return setup.add_spectrum(joint_id=joint.pk, actor=actor, now=now, **{**given, **more})


def test_a_spectrum_is_stored_recorded_and_makes_the_rating_stale(weld_joint, site, person, now):
    made = spectrum(weld_joint, person("engineer", site), now)
    assert made.bins == [[80.0, 1.0], [40.0, 12.5]]
    mark = StaleMark.objects.get()
    assert (mark.joint_id, mark.rating_too) == (weld_joint.pk, True)
    assert RecordEntry.objects.get(deed="spectrum.added").joint_id == weld_joint.pk


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        ({"bins": []}, "bins_missing"),
        ({"bins": [[0, 1]]}, "bin_not_positive"),
        ({"bins": [[80, -1]]}, "bin_not_positive"),
        ({"bins": [[float("nan"), 1]]}, "bin_not_positive"),
        ({"bins": [[80]]}, "bin_not_positive"),
        ({"source": " "}, "source_missing"),
        ({"status": "guessed"}, "status_unknown"),
        ({"kind": "bending"}, "kind_unknown"),
        ({"peak_stress_mpa": -1}, "peak_out_of_range"),
        ({"bending_share": 1.1}, "share_out_of_range"),
    ],
)
def test_a_spectrum_that_cannot_be_is_refused(weld_joint, site, person, now, wrong, code):
    with pytest.raises(Unprocessable) as refused:
        spectrum(weld_joint, person("engineer", site), now, **wrong)
    assert refused.value.code == code
    assert not StressSpectrum.objects.exists()


def test_a_second_spectrum_for_the_same_day_is_a_conflict(weld_joint, site, person, now):
    engineer = person("engineer", site)
    spectrum(weld_joint, engineer, now)
    with pytest.raises(Conflict):
        spectrum(weld_joint, engineer, now)


@pytest.mark.parametrize("role", ["planner", "technician", "inspector", "manager", "auditor"])
def test_only_an_engineer_states_a_spectrum(weld_joint, site, person, now, role):
    with pytest.raises(NotAllowed):
        spectrum(weld_joint, person(role, site), now)
