"""The night's sweep: once a site and day, in parts, resumable, and equal to a clean recompute."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.urls import reverse

from assets_app.models import Asset, Joint
from schedules.due import actions, engine, sweeps
from schedules.duty import setup
from schedules.models import DueDate, Programme, Rating, StaleMark, Sweep, SweepPart

pytestmark = pytest.mark.django_db


@pytest.fixture
def fleet(site, monkeypatch):
    """Seven assets with three looks owed each, in parts of six."""
    monkeypatch.setattr(sweeps, "PART_SIZE", 6)
    for number in range(7):
        asset = Asset.objects.create(
            site=site, tag=f"T-{number}", name="trailer", kind="trailer", commissioned_on="2020-01-01"
        )
        joints = Joint.objects.bulk_create(Joint(asset=asset, tag=f"J{k}", kind="weld") for k in range(3))
        Programme.objects.bulk_create(
            Programme(joint=joint, asset=asset, method="VT", calendar_months=12 + number) for joint in joints
        )


def test_a_sweep_cuts_whole_assets_into_parts_and_does_them_all(fleet, site, now):
    (sweep,) = sweeps.start_owed(now=now)
    assert [part.programmes for part in sweep.parts.all()] == [6, 6, 6, 3]
    assert sweeps.work_off(worker="one", now=now) == 4
    sweep.refresh_from_db()
    assert (sweep.state, DueDate.objects.count()) == ("done", 21)
    assert sweeps.progress(sweep) == {
        "parts": 4, "parts_done": 4, "programmes": 21, "programmes_done": 21, "changed": 21,
    }  # fmt: skip


def test_a_day_has_one_nightly_sweep_a_site(fleet, site, other_site, now):
    assert len(sweeps.start_owed(now=now)) == 2
    assert sweeps.start_owed(now=now + timedelta(hours=1)) == []
    assert len(sweeps.start_owed(now=now + timedelta(days=1))) == 2


def test_the_day_is_the_sites_own(fleet, site, now):
    site.time_zone = "Pacific/Auckland"
    site.save()
    (sweep,) = sweeps.start_owed(now=now.replace(hour=13))
    assert sweep.for_day == now.date() + timedelta(days=1)


def test_a_part_left_by_a_killed_worker_is_taken_up_again(fleet, site, now):
    (sweep,) = sweeps.start_owed(now=now)
    SweepPart.objects.filter(sweep=sweep).update(claimed_at=now, claimed_by="killed")
    assert sweeps.work_off(worker="two", now=now + timedelta(minutes=1)) == 0
    assert sweeps.work_off(worker="two", now=now + timedelta(minutes=11)) == 4
    assert Sweep.objects.get(pk=sweep.pk).state == "done"


def test_a_sweep_whose_last_two_parts_ended_in_one_moment_ends_too(fleet, site, now):
    """Neither of two workers saw the other's part before it committed, so none of them ended the sweep."""
    (sweep,) = sweeps.start_owed(now=now)
    SweepPart.objects.filter(sweep=sweep).update(claimed_at=now, done_at=now)
    sweep.refresh_from_db()
    assert sweep.state == "running"
    assert sweeps.work_off(worker="next", now=now + timedelta(seconds=30)) == 0
    sweep.refresh_from_db()
    assert (sweep.state, sweep.ended_at) == ("done", now + timedelta(seconds=30))


def test_a_second_sweep_changes_nothing(fleet, site, now):
    sweeps.start_owed(now=now)
    sweeps.work_off(worker="one", now=now)
    again = sweeps.start(site=site, for_day=now.date(), now=now)
    sweeps.work_off(worker="one", now=now)
    assert sweeps.progress(again)["changed"] == 0


def test_a_spectrum_given_ahead_holds_from_its_day_on_the_sites_clock(
    programme, steady_counter, spectrum, steel, person, site, now, monkeypatch
):
    monkeypatch.setattr(actions, "_start_work", lambda: None)
    made, tomorrow = programme("MT", conditions="good"), (now + timedelta(days=1)).date()
    setup.add_spectrum(
        joint_id=made.joint_id, bins=[[90.0, 5.0]], status="measured", source="gauge", valid_from=tomorrow,
        actor=person("engineer", site), now=now,
    )  # fmt: skip
    engine.recompute_stale(now=now)
    sweeps.start_owed(now=now)
    assert not StaleMark.objects.exists()
    mild = DueDate.objects.get().due_on
    later = now.replace(hour=23, minute=30)  # half past midnight there
    sweeps.start_owed(now=later)
    engine.recompute_stale(now=later)
    assert DueDate.objects.get().due_on < mild
    assert sweeps.start_owed(now=later + timedelta(hours=1)) == []


def test_the_night_rates_anew_what_an_older_edition_rated(programme, steady_counter, spectrum, steel, now):
    programme("MT", conditions="good")
    sweeps.start_owed(now=now)
    sweeps.work_off(worker="one", now=now)
    assert [sweep.ratings_too for sweep in sweeps.start_owed(now=now + timedelta(days=1))] == [False]
    Rating.objects.update(edition="older", damage_per_count=1e-12)
    assert [sweep.ratings_too for sweep in sweeps.start_owed(now=now + timedelta(days=2))] == [True]
    sweeps.work_off(worker="one", now=now + timedelta(days=2))
    assert Rating.objects.get().damage_per_count > 1e-9


def test_a_changed_policy_is_worked_off_in_batches_that_a_worker_can_hold(fleet, site, person, now, monkeypatch):
    monkeypatch.setattr(actions, "_start_work", lambda: None)
    monkeypatch.setattr(engine, "LOOKS_AT_ONCE", 6)
    actions.set_policy(site_id=site.pk, actor=person("engineer", site), now=now, reason="trial", looks_single=4)
    sizes = []
    while outcome := engine.recompute_marked_batch(now=now):
        sizes.append(outcome.programmes)
    assert sizes == [6, 6, 6, 3]
    assert DueDate.objects.count() == 21


def test_by_hand_all_sites_are_computed_and_told_and_shown_to_the_people_of_each(
    fleet, site, other_site, person, client, capsys
):
    call_command("recompute_due", "--all")
    assert "21 of 21 looks owed, 21 dates changed" in capsys.readouterr().out
    client.force_login(person("planner", site))
    page = client.get(reverse("sweeps")).content.decode()
    assert "21 of 21 looks owed, 4 of 4 parts" in " ".join(page.split())
    assert other_site.name not in page
