"""Recordings: from a file to a joint's measured spectrum; what is refused; what screening may and may not do."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as parquet
import pytest
from django.core.files.base import ContentFile
from django.core.management import CommandError, call_command
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from assets_app.models import RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from engineering.screening import screen
from engineering.spectrum import count
from schedules.duty.recordings import actions, counting, reading, running, words
from schedules.duty.recordings.counting import Outline, Wanted, pieces
from schedules.models import Recording, StaleMark, StressSpectrum

# ASTM E1049-85 (2017), Figure 6 and Table X1.1 (§5.4.4): the turning points and the counts by range.
ASTM_POINTS = [-2, 1, -3, 5, -1, 3, -4, 4, -2]
ASTM_HALVES = [[3.0, 0.5], [4.0, 1.5], [6.0, 0.5], [8.0, 1.0], [9.0, 0.5]]


def csv_of(samples, name="stress", sep=",", decimal="."):
    rows = "".join(f"{k / 100}{sep}{value}\n".replace(".", decimal) for k, value in enumerate(samples))
    return f"time{sep}{name}\n{rows}".encode()


def parquet_of(**columns) -> bytes:
    target = io.BytesIO()
    parquet.write_table(pa.table(columns), target, row_group_size=4000)
    return target.getvalue()


def ride(samples=20_000, amplitude=60.0, seed=3):
    """A quiet, plausible recording: some 100 samples a cycle, and the noise of an amplifier."""
    noise = np.random.default_rng(seed).normal(0, 0.2, samples)
    return 20 + amplitude * np.sin(np.arange(samples) * 2 * np.pi / 100) + noise


@pytest.fixture
def engineer(person, site, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    return person("engineer", site)


@pytest.fixture
def start(asset, engineer, now):
    def begin(content: bytes, column="stress", *, actor=engineer, unit="mpa", cycles=1.0, name="gull.csv", **more):
        return actions.start_recording(
            asset_id=asset.pk,
            file=ContentFile(content, name=name),
            column=column,
            wanted=Wanted(unit=unit, operating_cycles=cycles, **more),
            actor=actor,
            now=now,
            hand_over=False,
        )

    return begin


@pytest.fixture
def counted(start, now):
    def run(*args, **more):
        return running.run_recording(recording_id=start(*args, **more).pk, now=now)

    return run


def refusal(recording):
    assert recording.state == "refused"
    assert recording.histogram == []
    return recording.error["code"]


# Counted right --------------------------------------------------------------------------------------------------------


@pytest.mark.published
def test_the_example_of_astm_e1049_goes_from_csv_to_a_joints_spectrum(counted, weld_joint, engineer, now, today):
    """ASTM E1049-85, Table X1.1: ranges 3, 4, 6, 8, 9 with 0.5, 1.5, 0.5, 1, 0.5 cycles."""
    recording = counted(csv_of(ASTM_POINTS), cleaning="nothing", residue="half")
    assert recording.histogram == ASTM_HALVES
    actions.use_recording(
        recording_id=recording.pk, joint_ids=[weld_joint.pk], actor=engineer, now=now, valid_from=today
    )
    assert sorted(StressSpectrum.objects.get().bins) == ASTM_HALVES


@pytest.mark.published
def test_the_example_of_astm_e1049_recorded_finely_in_strain_over_ten_cycles(counted):
    """The same history, forty samples from point to point, in strain with decimal commas, screened, ten rides."""
    fine = np.concatenate([np.linspace(a, b, 40, endpoint=False) for a, b in pairwise(ASTM_POINTS)] + [[-2]])
    recording = counted(
        csv_of(np.round(fine / 0.2, 3), "gauge 1 [µm/m]", ";", ","),
        "gauge 1 [µm/m]",
        unit="microstrain",
        cycles=10,
        youngs_modulus_mpa=200_000,
        residue="half",
    )
    assert [[size, round(n, 9)] for size, n in recording.histogram] == [[s, n / 10] for s, n in ASTM_HALVES]
    assert "The comma was read as the decimal sign." in recording.reading_notes


def test_csv_and_parquet_of_the_same_samples_give_the_same_spectrum(counted):
    samples = ride()
    by_csv = counted(csv_of(samples))
    by_parquet = counted(parquet_of(time=np.arange(len(samples)), stress=samples), name="gull.parquet")
    assert by_csv.histogram == by_parquet.histogram
    assert by_csv.samples == by_parquet.samples == 20_000
    assert by_csv.after == by_parquet.after


def test_closing_what_stays_open_never_counts_less_damage(counted):
    samples = np.cumsum(np.random.default_rng(5).normal(0, 3, 4000))
    damage = [
        sum(n * size**3 for size, n in counted(csv_of(samples), cleaning="gaps", residue=residue).histogram)
        for residue in ("closed", "half")
    ]
    assert damage[0] >= damage[1]


def test_a_lost_sample_is_bridged_and_a_spike_replaced_and_both_are_told(counted):
    samples = ride()
    spiky = samples.copy()
    spiky[[5_000, 12_345]] += [400, -300]
    text = csv_of(spiky).decode().splitlines()
    text[7_001] = text[7_001].partition(",")[0] + ","
    recording = counted("\n".join(text).encode())
    told = recording.screening
    assert (told["gaps"], told["spikes"]) == (1, 2)
    assert [place for place, _ in told["listed"]] == [5_000, 12_345]
    assert max(recording.before["high"]) > 400
    assert max(size for size, _ in recording.histogram) < 125
    assert any("replaced by straight lines" in line for line in told["words"])


def test_spikes_only_listed_stay_in_the_count(counted):
    samples = ride()
    samples[5_000] += 400
    recording = counted(csv_of(samples), cleaning="gaps")
    assert recording.screening["spikes"] == 1
    assert max(size for size, _ in recording.histogram) > 400


@given(
    st.lists(st.floats(-50, 50), min_size=40, max_size=400),
    st.lists(st.integers(1, 60), min_size=1, max_size=30),
    st.integers(10, 120),
)
def test_where_a_chunk_or_a_piece_ends_leaves_no_trace(values, cuts, size):
    samples = np.array(values)
    samples[7] = 900.0
    whole = screen(samples, spike_limit_mpa=30)
    parts, at, k = [], 0, 0
    while at < len(samples):
        parts.append(samples[at : at + cuts[k % len(cuts)]])
        at, k = at + cuts[k % len(cuts)], k + 1
    margin = 12 + max(np.diff(np.concatenate(([0], np.setdiff1d(np.arange(len(samples)), whole.spikes)))), default=0)
    cut = list(pieces(parts, size, int(margin)))
    assert sum(piece.keep for piece in cut) == len(samples)
    joined = np.concatenate([piece.own(screen(piece.samples, spike_limit_mpa=30).series) for piece in cut])
    np.testing.assert_allclose(joined, whole.series, atol=1e-9)


def test_a_recording_of_several_pieces_is_counted_as_one(monkeypatch):
    monkeypatch.setattr(counting.pieces, "__defaults__", (5_000, 100))
    samples = ride()
    samples[[4_999, 10_000]] += 500
    outcome = counting.work(
        lambda: iter(np.array_split(samples, 13)), Wanted("mpa", 1.0, residue="half"), lambda done: None
    )
    limit = outcome.seen.limit_mpa
    exact = count(screen(samples, spike_limit_mpa=limit).series)
    assert outcome.seen.pieces == 4
    assert outcome.seen.spikes == 2
    assert outcome.histogram.counts.sum() == pytest.approx(exact.counts.sum())
    assert outcome.histogram.ranges.max() == np.ceil(exact.ranges.max())


def test_csv_read_twice_is_read_whole_both_times(counted, monkeypatch):
    monkeypatch.setattr(counting.pieces, "__defaults__", (5_000, 100))
    assert counted(csv_of(ride())).samples == 20_000
    assert counted(parquet_of(stress=ride()), name="gull.parquet").samples == 20_000


@given(st.lists(st.one_of(st.floats(-100, 100), st.just(float("nan"))), min_size=1, max_size=300), st.integers(1, 9))
def test_an_outline_holds_every_extreme_in_its_own_stretch(values, most):
    outline = Outline(most)
    for start in range(0, len(values), 7):
        outline.feed(np.array(values[start : start + 7]))
    told = outline.result()
    per = told["per"]
    assert len(told["low"]) <= 2 * most + 1
    for k, (low, high) in enumerate(zip(told["low"], told["high"], strict=True)):
        known = [value for value in values[k * per : (k + 1) * per] if not np.isnan(value)]
        assert (low, high) == ((round(min(known), 3), round(max(known), 3)) if known else (None, None))
    assert len(told["low"]) == -(-len(values) // per)


@given(st.lists(st.tuples(st.floats(1, 400), st.floats(0.01, 1000)), min_size=1, max_size=40), st.floats(0.1, 5))
def test_the_few_ranges_of_a_joint_never_do_less_damage_than_the_histogram(pairs, scale):
    few = words.spectrum_of([list(pair) for pair in pairs], scale)
    assert len(few) <= words.BLOCKS
    for m in (3, 5):
        whole = sum(n * (scale * size) ** m for size, n in pairs)
        assert sum(n * size**m for size, n in few) >= whole * (1 - 1e-9)


# Refused --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "column", "code"),
    [
        (b"", "stress", "file_empty"),
        (b"time,stress\n", "stress", "file_empty"),
        (b"PK\x03\x04 a workbook", "stress", "file_unreadable"),
        (b"\x1f\x8b packed", "stress", "file_unreadable"),
        (b"PAR1 cut off PAR1", "stress", "file_unreadable"),
        (b"\x00\x01\x02,\x00\n1,2\n", "stress", "file_unreadable"),
        (b"1,2\n3,4\n", "", "heading_missing"),
        (b"time,stress\n0,1\n", "strain", "column_unknown"),
        (b"a,b\n0,1\n", "", "column_missing"),
        (b"b,b\n0,1\n", "b", "column_doubled"),
        (b"x" * 70_000, "x", "file_too_wide"),
        (",".join(f"c{k}" for k in range(1_001)).encode() + b"\n1\n", "c1", "file_too_wide"),
        (b't;stress\n0;"1.234,5"\n', "stress", "decimal_unclear"),
        (parquet_of(stress=["a", "b"]), "stress", "column_not_numbers"),
        (parquet_of(stress=np.empty(0)), "stress", "file_empty"),
        (parquet_of(stress=np.zeros(3)), "strain", "column_unknown"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_before_it_is_kept(start, content, column, code):
    with pytest.raises(Unprocessable) as refused:
        start(content, column)
    assert refused.value.code == code
    assert not Recording.objects.exists()


@pytest.mark.parametrize(
    ("content", "more", "code"),
    [
        (csv_of(ride(500)) + b"5,abc\n", {}, "number_unreadable"),
        (csv_of(ride(500)) + b"5,1,2\n", {}, "row_uneven"),
        (csv_of(ride(500)) + b"5," + b"1" * 3_000_000 + b"\n", {}, "file_too_wide"),
        (csv_of(np.ones(500)), {}, "never_changes"),
        (csv_of([1, 2, 3]), {}, "shape"),
        (csv_of(ride(500) * 100), {}, "stress_impossible"),
        (csv_of([*ride(500), *["NaN"] * 100]), {}, "too_many_lost"),
        (csv_of([1, 5, "", 4]), {"cleaning": "nothing"}, "sample_lost"),
        (csv_of(np.linspace(-1, 1, 3000) * (-1) ** np.arange(3000) * 900), {"cleaning": "gaps", "bin_width_mpa": 0.1},
         "bins_too_narrow"),
    ],
)  # fmt: skip
def test_samples_that_cannot_be_counted_are_refused_with_the_reason(counted, content, more, code):
    recording = counted(content, **more)
    assert refusal(recording) == code
    assert recording.error["message"]


def test_a_number_that_cannot_be_read_is_named_with_its_row(counted):
    recording = counted(b"time,stress\n0,1.5\n1,2\n2,abc\n")
    assert "Row 4" in recording.error["message"]
    assert "abc" in recording.error["message"]


def test_a_parquet_column_cut_in_the_middle_is_refused(counted):
    whole = bytearray(parquet_of(stress=np.round(ride())))
    whole[60:400] = b"\xff" * 340
    assert refusal(counted(bytes(whole), name="gull.parquet")) == "file_unreadable"


def test_more_samples_than_are_ever_counted_are_refused(counted, start, monkeypatch):
    monkeypatch.setattr(reading, "MOST_SAMPLES", 400)
    assert refusal(counted(csv_of(ride(500)))) == "file_too_long"
    with pytest.raises(Unprocessable) as refused:
        start(parquet_of(stress=ride(500)))
    assert refused.value.code == "file_too_long"


def test_a_column_that_unpacks_to_far_more_than_its_numbers_is_refused(start, monkeypatch):
    monkeypatch.setattr(reading, "_FATTEST", 1)
    monkeypatch.setattr(reading, "BLOCK", 100)
    with pytest.raises(Unprocessable) as refused:
        start(parquet_of(stress=ride()))
    assert refused.value.code == "file_unreadable"


def test_a_file_larger_than_allowed_is_refused(start, settings):
    settings.RECORDING_LIMIT_BYTES = 100
    with pytest.raises(Unprocessable) as refused:
        start(csv_of(ride(500)))
    assert refused.value.code == "file_too_large"


@pytest.mark.parametrize("content", [b"t,gauge [um/m]\n0,1\n", b"t,gauge\ns,\xc2\xb5m/m\n0,1\n"])
def test_a_unit_that_the_file_itself_contradicts_is_refused(start, content):
    with pytest.raises(Unprocessable) as refused:
        start(content, "", unit="mpa")
    assert (refused.value.code, refused.value.field) == ("unit_contradicts", "unit")


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"unit": "psi"}, "unit_unknown"),
        ({"cycles": 0}, "operating_cycles_not_positive"),
        ({"cycles": float("nan")}, "operating_cycles_not_positive"),
        ({"bin_width_mpa": -1}, "bin_width_mpa_not_positive"),
        ({"spike_limit_mpa": 0}, "spike_limit_mpa_not_positive"),
        ({"youngs_modulus_mpa": 210}, "modulus_out_of_range"),
        ({"cleaning": "magic"}, "cleaning_unknown"),
        ({"residue": "none"}, "residue_unknown"),
    ],
)
def test_a_setting_out_of_range_is_refused(start, more, code):
    with pytest.raises(Unprocessable) as refused:
        start(csv_of(ride(500)), **more)
    assert refused.value.code == code


def test_the_drift_of_a_recording_of_several_pieces_is_not_taken_off(counted, monkeypatch):
    monkeypatch.setattr(counting.pieces, "__defaults__", (5_000, 100))
    assert refusal(counted(csv_of(ride()), cleaning="drift")) == "too_long_for_drift"


# Who, once, and what follows ------------------------------------------------------------------------------------------


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
    later = now + running.LONGEST_RUN + timedelta(seconds=1)
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


# Doors ----------------------------------------------------------------------------------------------------------------


def form_of(content: bytes, **more):
    return {
        "file": ContentFile(content, name="gull.csv"), "column": "stress", "unit": "mpa", "operating_cycles": "12",
        "cleaning": "spikes", "residue": "closed", "bin_width_mpa": "1", "youngs_modulus_mpa": "210000", **more,
    }  # fmt: skip


def test_a_recording_is_sent_counted_shown_and_used_on_its_pages(
    client, engineer, asset, counter, weld_joint, django_capture_on_commit_callbacks
):
    client.force_login(engineer)
    samples = ride()
    samples[5_000] += 400
    with django_capture_on_commit_callbacks(execute=True):
        sent = client.post(reverse("recordings", args=[asset.pk]), form_of(csv_of(samples)))
    recording = Recording.objects.get()
    assert sent.headers["Location"] == reverse("recording", args=[recording.pk])
    assert recording.state == "done"
    text = client.get(sent.headers["Location"]).content.decode()
    assert text.count("<svg") >= 4
    assert "1 sample stood off" in text
    assert "operating cycles" in text
    use = {"joints": [weld_joint.pk], "scale": "1", "kind": "direct", "bending_share": "0", "valid_from": "2026-06-15"}
    used = client.post(reverse("recording-use", args=[recording.pk]), use)
    assert used.status_code == 302
    assert weld_joint.spectra.get().status == "measured"
    assert "valid from 15 Jun 2026" in client.get(sent.headers["Location"]).content.decode()
    assert "gull.csv" in client.get(reverse("recordings", args=[asset.pk])).content.decode()


def test_a_refused_file_says_so_beside_the_field_and_keeps_what_was_typed(client, engineer, asset):
    client.force_login(engineer)
    page = client.post(reverse("recordings", args=[asset.pk]), form_of(csv_of(ride(500)), column="strain 9"))
    assert page.status_code == 422
    assert "There is no column" in page.content.decode()
    assert 'value="strain 9"' in page.content.decode()


def test_a_use_without_a_reason_for_its_factor_says_so_beside_the_field(client, engineer, counted, weld_joint):
    client.force_login(engineer)
    recording = counted(csv_of(ride(500)))
    use = {"joints": [weld_joint.pk], "scale": "2", "kind": "direct", "bending_share": "0", "valid_from": "2026-06-15"}
    page = client.post(reverse("recording-use", args=[recording.pk]), use)
    assert page.status_code == 422
    assert "Say where the factor comes from" in page.content.decode()


def test_while_it_is_counted_the_page_shows_how_far_and_asks_again(client, engineer, start):
    client.force_login(engineer)
    recording = start(csv_of(ride(500)))
    text = client.get(reverse("recording", args=[recording.pk])).content.decode()
    assert "<progress" in text
    assert "hx-trigger" in text


def test_others_read_recordings_and_strangers_see_none(client, person, site, other_site, counted, asset):
    recording = counted(csv_of(ride(500)))
    client.force_login(person("auditor", site))
    text = client.get(reverse("recording", args=[recording.pk])).content.decode()
    assert "Put it on the joints" not in text
    assert client.get(reverse("recordings", args=[asset.pk])).status_code == 200
    client.force_login(person("engineer", other_site))
    assert client.get(reverse("recording", args=[recording.pk])).status_code == 404
    assert client.get(reverse("recordings", args=[asset.pk])).status_code == 404


def test_the_api_takes_counts_shows_and_uses_a_recording_once(
    client, engineer, person, other_site, asset, weld_joint, django_capture_on_commit_callbacks
):
    client.force_login(engineer)
    content = csv_of(ride(500))
    head = {"HTTP_IDEMPOTENCY_KEY": "one"}
    with django_capture_on_commit_callbacks(execute=True):
        for _ in range(2):
            sent = client.post("/api/v1/recordings/", form_of(content, asset=asset.pk), **head)
            assert sent.status_code == 201
    recording = Recording.objects.get()
    body = client.get(f"/api/v1/recordings/{recording.pk}/").json()
    assert body["state"] == "done"
    assert body["histogram"] == recording.histogram
    assert "histogram" not in client.get("/api/v1/recordings/", {"asset": asset.pk}).json()["results"][0]
    use = {"joints": [weld_joint.pk], "valid_from": "2026-06-15"}
    used = client.post(f"/api/v1/recordings/{recording.pk}/use/", use, content_type="application/json")
    assert used.json() == {"spectra": [weld_joint.spectra.get().pk]}
    client.force_login(person("engineer", other_site))
    assert client.get(f"/api/v1/recordings/{recording.pk}/").status_code == 404


def test_the_command_counts_a_file_and_says_what_it_comes_to(asset, engineer, tmp_path, capsys):
    file = tmp_path / "gull.csv"
    file.write_bytes(csv_of(ride()))
    given = {"asset": asset.tag, "unit": "mpa", "covers": 40, "person": engineer.username}
    call_command("read_recording", str(file), **given)
    out = capsys.readouterr().out
    assert "20,000 samples" in out
    assert "range, MPa" in out
    with pytest.raises(CommandError, match="no column"):
        call_command("read_recording", str(file), column="x", **given)


# Bounded memory -------------------------------------------------------------------------------------------------------

MEASURE = """
import json, sys
import numpy as np
from schedules.duty.recordings import counting, reading

def peak():
    return int(next(line for line in open("/proc/self/status") if line.startswith("VmHWM")).split()[1]) / 1024

before = peak()
with open(sys.argv[1], "rb") as file:
    layout = reading.look_at(file, "stress")
    outcome = counting.work(lambda: reading.chunks(file, layout), counting.Wanted("mpa", 1000.0), lambda done: None)
print(json.dumps({"samples": outcome.samples, "before": before, "after": peak(), "pieces": outcome.seen.pieces}))
"""


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="peak memory is read from /proc")
def test_ten_million_samples_are_counted_in_bounded_memory(tmp_path):
    """The samples alone would be 80 MB as numbers, and screening them at once some 800 MB."""
    file = tmp_path / "long.parquet"
    with parquet.ParquetWriter(file, pa.schema([("stress", pa.float32())])) as writer:
        for k in range(10):
            part = ride(1_000_000, seed=k).astype(np.float32)
            writer.write_table(pa.table({"stress": part}), row_group_size=1_000_000)
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(file)], capture_output=True, text=True, check=True,
        cwd=Path(__file__).resolve().parents[3],
    )  # fmt: skip
    told = json.loads(done.stdout)
    print(told)
    assert told["samples"] == 10_000_000
    assert told["pieces"] >= 9
    assert told["after"] - told["before"] < 300


def test_no_name_of_a_recording_reaches_a_path(start):
    recording = start(csv_of(ride(500)), name="..\\..\\boot.csv")
    assert re.fullmatch(r"recordings/\d{4}/\d{2}/[0-9a-f]{16}\.csv", recording.file.name)
