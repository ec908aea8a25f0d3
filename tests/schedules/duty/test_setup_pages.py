"""Counters, seasons and spectra as pages."""

from __future__ import annotations

import pytest

from schedules.models import Counter, Season, StressSpectrum

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(client, person, site):
    def as_(role):
        client.force_login(person(role, site))
        return client

    return as_


def test_a_planner_adds_a_counter_and_is_told_when_there_is_one(signed_in, asset):
    client, address = signed_in("planner"), f"/assets/{asset.pk}/duty/"
    sent = {"deed": "counter", "name": "cycles", "unit": "cycles", "is_primary": "on", "expected_every_days": 14}
    assert client.post(address, sent).status_code == 302
    again = client.post(address, sent)
    assert again.status_code == 422
    assert "has a counter" in again.content.decode()
    assert Counter.objects.get().is_primary


def test_a_season_is_added_by_day_of_the_year_and_removed(signed_in, asset):
    client, address = signed_in("planner"), f"/assets/{asset.pk}/duty/"
    sent = {"deed": "season", "name": "summer", "opens": "2026-03-28", "closes": "2026-11-01", "weekdays": ["5", "6"]}
    assert client.post(address, sent).status_code == 302
    season = Season.objects.get()
    assert (season.opens_month, season.opens_day, season.closes_month, season.weekdays) == (3, 28, 11, "0000011")
    assert "summer: 28 Mar to 1 Nov" in client.get(address).content.decode()
    client.post(address, {"deed": "remove", "season": season.pk})
    assert not Season.objects.exists()


def test_a_technician_sees_the_duty_and_may_not_change_it(signed_in, asset):
    client, address = signed_in("technician"), f"/assets/{asset.pk}/duty/"
    assert client.get(address).status_code == 200
    sent = {"deed": "counter", "name": "cycles", "unit": "cycles", "expected_every_days": 14}
    assert client.post(address, sent).status_code == 403


def spectrum(**fields):
    return {
        "bins": "60 1\n30; 4,5\n", "kind": "direct", "peak_stress_mpa": 90, "bending_share": 0, "status": "calculated",
        "source": "report 12", "valid_from": "2026-06-01",
    } | fields  # fmt: skip


def test_an_engineer_enters_a_spectrum_as_lines(signed_in, weld_joint):
    client = signed_in("engineer")
    assert client.post(f"/joints/{weld_joint.pk}/spectrum/", spectrum()).status_code == 302
    assert StressSpectrum.objects.get().bins == [[60.0, 1.0], [30.0, 4.5]]


@pytest.mark.parametrize("bins", ["sixty 1", "60", "60 1 2", "0 1", ""])
def test_a_line_that_cannot_be_read_is_named_and_kept(signed_in, weld_joint, bins):
    answer = signed_in("engineer").post(f"/joints/{weld_joint.pk}/spectrum/", spectrum(bins=bins))
    assert answer.status_code == 422
    assert "field-error" in answer.content.decode()
    assert not StressSpectrum.objects.exists()


def test_another_site_has_no_such_page(client, person, other_site, asset, weld_joint):
    client.force_login(person("engineer", other_site))
    assert client.get(f"/assets/{asset.pk}/duty/").status_code == 404
    assert client.get(f"/joints/{weld_joint.pk}/spectrum/").status_code == 404
