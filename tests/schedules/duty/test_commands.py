"""The commands of duty."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from schedules.models import CounterForecast, Reading, StaleMark

pytestmark = pytest.mark.django_db


def test_a_file_is_posted_as_a_person_and_errors_are_listed(tmp_path, counter, person, site):
    person("technician", site, username="tess")
    file = tmp_path / "readings.csv"
    file.write_text("asset,counter,read_at,value\nR-01,cycles,2026-01-01 09:00,1000\n")
    out, err = StringIO(), StringIO()
    call_command("post_readings", site.slug, str(file), "--as", "tess", "--dry-run", stdout=out)
    assert "1 readings would be stored" in out.getvalue()
    call_command("post_readings", site.slug, str(file), "--as", "tess", stdout=out)
    assert Reading.objects.get().value == 1000
    file.write_text("asset,counter,read_at,value\nR-01,cycles,2026-01-02 09:00,10\n")
    with pytest.raises(CommandError):
        call_command("post_readings", site.slug, str(file), "--as", "tess", stderr=err)
    assert "row 2, value: 10 is less than the 1\u202f000" in err.getvalue()
    with pytest.raises(CommandError):
        call_command("post_readings", site.slug, str(file), "--as", "nobody")


def test_forecasts_are_fitted_again_and_their_back_test_shown(counter, asset):
    begun = datetime(2023, 1, 1, tzinfo=UTC)
    for week in range(150):
        at = begun + timedelta(weeks=week)
        Reading.objects.create(
            counter=counter,
            read_at=at,
            read_on=at.date(),
            value=700 * week,
            total=700 * week,
            source="api",
            posted_at=at,
        )
    out = StringIO()
    call_command("forecast_counters", "--back-test", stdout=out)
    text = out.getvalue()
    assert "1 counters fitted, 1 changed" in text
    assert "R-01 cycles" in text
    assert "30 days ahead: 40 forecasts of 1 counters, median miss 0.0 %" in text
    assert "100.0 % below the early curve" in text
    assert StaleMark.objects.get().asset_id == asset.pk
    assert CounterForecast.objects.get().back_test["origins"] == 40
    again = StringIO()
    call_command("forecast_counters", stdout=again)
    assert "0 changed" in again.getvalue()
