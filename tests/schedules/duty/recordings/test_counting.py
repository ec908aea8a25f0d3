"""Recordings are counted right, screened with an account, and where a chunk ends leaves no trace."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engineering.screening import screen
from engineering.spectrum import count
from schedules.duty.recordings import actions, counting, words
from schedules.duty.recordings.counting import Outline, Wanted, pieces
from schedules.models import StressSpectrum
from tests.schedules.duty.recordings.samples import ASTM_HALVES, ASTM_POINTS, csv_of, parquet_of, ride


@pytest.mark.published
def test_the_example_of_astm_e1049_goes_from_csv_to_a_joints_spectrum(counted, weld_joint, engineer, now, today):
    """ASTM E1049-85, Figure 6: ranges 3, 4, 6, 8, 9 with 0.5, 1.5, 0.5, 1, 0.5 cycles."""
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
