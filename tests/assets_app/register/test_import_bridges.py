"""A real file that no one here wrote: 40 rows of the US National Bridge Inventory (source in tests/data/README.md)."""

from __future__ import annotations

import csv
from datetime import date

import pytest
from dateutil.relativedelta import relativedelta

from assets_app.models import Asset, Joint
from schedules.due import engine
from schedules.models import DueDate, Programme
from tests.assets_app.register.conftest import BRIDGES, EXAMPLES

pytestmark = pytest.mark.django_db


@pytest.fixture
def bridges(run_file):
    return run_file(BRIDGES.read_bytes(), (EXAMPLES / "bridges.toml").read_text())


@pytest.fixture
def rows():
    with BRIDGES.open(newline="") as file:
        return list(csv.DictReader(file))


def test_every_bridge_falls_due_24_months_after_its_last_inspection(bridges, rows, now):
    """US 23 CFR 650.311 (routine interval of 24 months); the arithmetic is checked against python-dateutil."""
    assert bridges.state == "done", bridges.report["errors"]
    engine.recompute_stale(now=now)
    found = {
        (due.programme.joint.asset.name, due.programme.joint.asset.latitude, due.due_on)
        for due in DueDate.objects.select_related("programme__joint__asset")
    }
    expected = {
        (
            row["carries"],
            float(row["lat"]),
            date(2000 + int(row["inspection_yr"]), int(row["inspection_mo"]), 1) + relativedelta(months=24),
        )
        for row in rows
    }
    assert found == expected
    assert set(DueDate.objects.values_list("governing", flat=True)) == {"calendar"}


def test_a_joint_that_stands_for_a_whole_bridge_is_counted_as_unrated(bridges, now):
    engine.recompute_stale(now=now)
    assert DueDate.objects.filter(unrated=True).count() == DueDate.objects.count() == 39


def test_rows_alike_in_every_cell_are_merged_and_named(bridges):
    merged = [w for w in bridges.report["warnings"] if "same as row" in w["what"]]
    assert len(merged) == bridges.report["counts"]["doubled"] == 1
    assert Asset.objects.filter(name="MD 424").count() == 1


def test_rows_with_one_key_and_other_figures_stay_two_bridges_and_are_named(bridges):
    tags = Asset.objects.filter(latitude=38.99000168).values_list("tag", flat=True)
    assert sorted(tags) == ["IS 595 38.99000168 -76.52500153", "IS 595 38.99000168 -76.52500153/2"]
    looks = Programme.objects.filter(joint__asset__tag__in=tags).values_list("last_look_on", flat=True)
    assert sorted(looks) == [date(2015, 2, 1), date(2015, 3, 1)]
    kept = [w for w in bridges.report["warnings"] if "kept apart" in w["what"]]
    assert len(kept) == 1


def test_every_bridge_of_the_file_is_there_once(bridges, rows):
    distinct = {tuple(row.values()) for row in rows}
    assert Asset.objects.count() == Joint.objects.count() == len(distinct) == 39


def test_na_is_empty_and_what_is_not_read_is_said(bridges):
    notes = set(Asset.objects.values_list("note", flat=True))
    assert "Condition in the inventory: fair" in notes
    assert "Condition in the inventory: fair; cost to improve in thousand USD 13504" in notes
    assert not any("NA" in note for note in notes)
    assert any("avg_daily_traffic" in note for note in bridges.report["notes"])


def test_two_digit_years_and_the_missing_day_are_said(bridges):
    assert any("up to 40 are taken as 2040" in note for note in bridges.report["notes"])
    assert any("first of the month" in note for note in bridges.report["notes"])


def test_the_same_file_again_changes_nothing(bridges, run_file):
    again = run_file(BRIDGES.read_bytes(), (EXAMPLES / "bridges.toml").read_text())
    for target in ("asset", "joint", "weld", "programme"):
        counts = again.report["counts"][target]
        assert (counts["new"], counts["changed"]) == (0, 0), target
    assert again.report["counts"]["programme"]["unchanged"] == 39
