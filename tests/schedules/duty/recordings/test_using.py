"""Who sends and uses recordings, what is kept, what follows, and runs that break off."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import numpy as np
import pytest

from assets_app import claims
from assets_app.models import RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from schedules.duty.recordings import actions, running
from schedules.models import Recording, StaleMark, StressSpectrum
from tests.schedules.duty.recordings.samples import csv_of, ride


@pytest.mark.parametrize("role", ["planner", "technician", "inspector", "manager", "auditor"])
def test_only_an_engineer_sends_a_recording_or_puts_it_on_joints(start, counted, person, site, role, now, today):
    recording = counted(csv_of(ride(500)))
    other = person(role, site)
    with pytest.raises(NotAllowed):
        start(csv_of(ride(500)), actor=other)
    with pytest.raises(NotAllowed):
        actions.use_recording(recording_id=recording.pk, joint_ids=[1], actor=other, now=now, valid_from=today)


def test_to_a_stranger_there_is_no_recording_and_no_asset(start, counted, person, other_site, now, today):
    recording = counted(csv_of(ride(500)))
    stranger = person("engineer", other_site)
    with pytest.raises(NotFound):
        start(csv_of(ride(500)), actor=stranger)
    with pytest.raises(NotFound):
        actions.use_recording(recording_id=recording.pk, joint_ids=[1], actor=stranger, now=now, valid_from=today)


def test_what_was_sent_is_kept_byte_for_byte_and_recorded(counted):
    content = csv_of(ride(500))
    recording = counted(content, name="../../etc/gull\n.csv")
    with recording.file.open("rb") as kept:
        assert kept.read() == content
    assert recording.file_name == "gull.csv"
    facts = json.loads(RecordEntry.objects.get(deed="recording.started").content)
    assert facts["sha256"] == recording.sha256
    assert facts["operating_cycles"] == 1.0


def test_a_recording_is_put_on_joints_scaled_with_its_source_and_their_ratings_follow(
    counted, weld_joint, bolted_joint, engineer, now, today
):
    recording = counted(csv_of(ride()), cycles=40)
    StaleMark.objects.all().delete()
    actions.use_recording(
        recording_id=recording.pk,
        joint_ids=[weld_joint.pk, bolted_joint.pk],
        actor=engineer,
        now=now,
        valid_from=today,
        scale=1.25,
        scale_reason="gauge 40 mm from the weld, frame model 7",
        peak_stress_mpa=140,
    )
    spectrum = weld_joint.spectra.get()
    assert spectrum.status == "measured"
    assert recording.sha256 in spectrum.source
    assert "gull.csv" in spectrum.source
    assert max(size for size, _ in spectrum.bins) == pytest.approx(1.25 * max(size for size, _ in recording.histogram))
    assert sum(n for _, n in spectrum.bins) == pytest.approx(sum(n for _, n in recording.histogram))
    assert {mark.joint_id for mark in StaleMark.objects.filter(rating_too=True)} == {weld_joint.pk, bolted_joint.pk}
    assert json.loads(RecordEntry.objects.get(deed="recording.used").content)["scale_reason"]


def test_all_joints_get_the_spectrum_or_none(counted, weld_joint, bolted_joint, engineer, now, today):
    recording = counted(csv_of(ride(500)))
    give = {"recording_id": recording.pk, "actor": engineer, "now": now, "valid_from": today}
    actions.use_recording(joint_ids=[bolted_joint.pk], **give)
    with pytest.raises(Conflict) as refused:
        actions.use_recording(joint_ids=[weld_joint.pk, bolted_joint.pk], **give)
    assert refused.value.code == "spectrum_exists"
    assert "Added by Engineer on" in refused.value.message
    assert not weld_joint.spectra.exists()


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"joint_ids": []}, "joints_missing"),
        ({"joint_ids": [999_999]}, "joint_elsewhere"),
        ({"scale": 0}, "scale_not_positive"),
        ({"scale": 1.3}, "scale_unexplained"),
        ({"peak_stress_mpa": -1}, "peak_out_of_range"),
    ],
)
def test_a_use_that_does_not_hold_is_refused(counted, weld_joint, engineer, now, today, more, code):
    recording = counted(csv_of(ride(500)))
    use = {"joint_ids": [weld_joint.pk], **more}
    with pytest.raises(Unprocessable) as refused:
        actions.use_recording(recording_id=recording.pk, actor=engineer, now=now, valid_from=today, **use)
    assert refused.value.code == code
    assert not StressSpectrum.objects.exists()


def test_a_recording_not_yet_counted_or_refused_has_no_spectrum(start, counted, weld_joint, engineer, now, today):
    for recording in (start(csv_of(ride(500))), counted(csv_of(np.ones(500)))):
        with pytest.raises(Conflict) as refused:
            actions.use_recording(
                recording_id=recording.pk, joint_ids=[weld_joint.pk], actor=engineer, now=now, valid_from=today
            )
        assert refused.value.code == "not_counted"


def test_a_run_that_another_took_over_writes_nothing(start, now, monkeypatch):
    recording = start(csv_of(ride(500)))

    def taken_over(self, samples):
        Recording.objects.filter(pk=recording.pk).update(claim="another")
        return progress(self, samples)

    progress = running._Run._progress
    monkeypatch.setattr(running._Run, "_progress", taken_over)
    ended = running.run_recording(recording_id=recording.pk, now=now)
    assert (ended.state, ended.claim, ended.histogram) == ("running", "another", [])


def test_a_run_is_taken_once_and_a_dead_one_is_taken_up_again_thrice_at_most(start, now):
    recording = start(csv_of(ride(500)))
    Recording.objects.filter(pk=recording.pk).update(state="running", claim="dead", claimed_at=now, attempts=1)
    assert running.run_recording(recording_id=recording.pk, now=now).claim == "dead"
    later = now + claims.SILENT_AFTER + timedelta(seconds=1)
    assert running.run_recording(recording_id=recording.pk, now=later).state == "done"
    Recording.objects.filter(pk=recording.pk).update(state="running", claimed_at=now, attempts=3)
    assert running.run_recording(recording_id=recording.pk, now=later).error["code"] == "broke_off"


def test_a_file_that_vanished_fails_loudly_and_is_told(start, now):
    recording = start(csv_of(ride(500)))
    recording.file.storage.delete(recording.file.name)
    with pytest.raises(FileNotFoundError):
        running.run_recording(recording_id=recording.pk, now=now)
    recording.refresh_from_db()
    assert recording.state == "failed"


def test_no_name_of_a_recording_reaches_a_path(start):
    recording = start(csv_of(ride(500)), name="..\\..\\boot.csv")
    assert re.fullmatch(r"recordings/\d{4}/\d{2}/[0-9a-f]{16}\.csv", recording.file.name)
