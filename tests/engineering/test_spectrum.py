"""Rainflow counting, screening and binning: properties, and agreement with two public libraries."""

import tracemalloc
from collections import Counter

import fatpack
import numpy as np
import pytest
import rainflow
from hypothesis import given, settings
from hypothesis import strategies as st

from engineering import damage, spectrum
from engineering.errors import InputError

small_integers = st.lists(st.integers(-6, 6).map(float), min_size=3, max_size=60)
reals = st.lists(st.floats(-300, 300), min_size=2, max_size=60)


def _total(cycles):
    total = Counter()
    for size, mean, number in zip(*(part.tolist() for part in cycles), strict=True):
        total[size, mean] += number
    return total


def _library_total(series):
    total = Counter()
    for size, mean, number, _, _ in rainflow.extract_cycles(series):
        if size:
            total[size, mean] += number
    return total


@given(small_integers)
@settings(max_examples=400)
def test_counts_by_range_and_mean_equal_those_of_the_library_rainflow(series):
    assert _total(spectrum.count(series)) == _library_total(series)


@pytest.mark.parametrize("seed", range(5))
def test_a_long_noisy_recording_counts_as_in_the_library_rainflow(seed):
    noise = np.random.default_rng(seed).standard_normal(5_000)
    series = noise if seed % 2 else np.cumsum(noise)
    assert _total(spectrum.count(series)) == _library_total(series)


def _numbers(cycles):
    number = Counter()
    for size, count in zip(cycles.ranges.tolist(), cycles.counts.tolist(), strict=True):
        number[size] += count
    return number


@given(small_integers)
def test_closed_count_is_what_one_more_repeat_adds_in_the_library_rainflow(series):
    def by_range(times):
        number = Counter()
        for (size, _), count in _library_total(series * times).items():
            number[size] += count
        return number

    four = by_range(4)
    four.subtract(by_range(3))
    assert _numbers(spectrum.count(series, residue="closed")) == +four


@pytest.mark.parametrize("seed", range(3))
def test_a_repeating_recording_from_peak_to_peak_counts_as_in_the_library_fatpack(seed):
    series = np.random.default_rng(seed).integers(-20, 21, 3_000).astype(float)
    series[0] = series[-1] = 21.0
    theirs = fatpack.find_rainflow_ranges(series, k=41)  # 41 classes of exactly 1 MPa: nothing is rounded
    assert _numbers(spectrum.count(series, residue="closed")) == Counter(np.round(theirs, 6).tolist())


@given(series=reals, cuts=st.lists(st.integers(0, 60), max_size=6), residue=st.sampled_from(spectrum.RESIDUES))
@settings(max_examples=300)
def test_chunks_give_exactly_what_the_whole_gives(series, cuts, residue):
    whole = spectrum.Rainflow(bin_width_mpa=0.5, residue=residue).feed(series)
    pieces = spectrum.Rainflow(bin_width_mpa=0.5, residue=residue)
    for piece in np.split(np.array(series), sorted(cuts)):
        pieces.feed(piece)
    assert pieces.samples == whole.samples == len(series)
    for one, other in zip(pieces.result(), whole.result(), strict=True):
        assert one.tolist() == other.tolist()


@pytest.mark.parametrize("chunk", [1, 7, 1_000])
def test_a_recording_fed_in_small_chunks_equals_the_whole(chunk):
    series = np.cumsum(np.random.default_rng(3).standard_normal(4_000)) * 10
    whole = spectrum.Rainflow(bin_width_mpa=1).feed(series).result()
    pieces = spectrum.Rainflow(bin_width_mpa=1)
    for start in range(0, len(series), chunk):
        pieces.feed(series[start : start + chunk])
    assert pieces.result().counts.tolist() == whole.counts.tolist()
    assert pieces.result().ranges.tolist() == whole.ranges.tolist()


def test_looking_at_the_result_does_not_disturb_the_count():
    series = np.random.default_rng(4).standard_normal(200) * 50
    looked = spectrum.Rainflow(bin_width_mpa=1)
    for piece in np.split(series, 10):
        looked.feed(piece).result()
    assert looked.result().counts.tolist() == spectrum.Rainflow(bin_width_mpa=1).feed(series).result().counts.tolist()


@given(reals)
def test_counts_add_up_to_half_the_number_of_ranges_between_reversals(series):
    points = [series[0]]
    for value in series[1:]:
        if value == points[-1]:
            continue
        if len(points) > 1 and (value > points[-1]) == (points[-1] > points[-2]):
            points[-1] = value
        else:
            points.append(value)
    assert spectrum.count(series).counts.sum() == (len(points) - 1) / 2


@given(series=reals)
def test_the_largest_range_counted_spans_the_recording(series):
    found = spectrum.count(series).ranges
    span = max(series) - min(series)
    assert (found.max() if len(found) else 0.0) == span


@given(series=small_integers, scale=st.sampled_from([0.25, 0.5, 2.0, 8.0]), shift=st.integers(-50, 50))
def test_ranges_scale_with_the_stress_and_do_not_feel_a_shift(series, scale, shift):
    plain = spectrum.count(series)
    moved = spectrum.count(np.array(series) * scale + shift)
    assert moved.ranges.tolist() == (plain.ranges * scale).tolist()
    assert moved.means.tolist() == (plain.means * scale + shift).tolist()
    assert moved.counts.tolist() == plain.counts.tolist()


@given(small_integers)
def test_a_recording_turned_upside_down_has_the_same_ranges(series):
    plain, turned = spectrum.count(series), spectrum.count(-np.array(series))
    assert sorted(zip(plain.ranges, plain.counts, strict=True)) == sorted(
        zip(turned.ranges, turned.counts, strict=True)
    )


@given(small_integers)
def test_a_repeating_recording_has_whole_cycles_wherever_it_is_cut(series):
    plain = _numbers(spectrum.count(series, residue="closed"))
    assert all(count == int(count) for count in plain.values())
    cut = len(series) // 2
    assert _numbers(spectrum.count(series[cut:] + series[:cut], residue="closed")) == plain


def test_a_spiral_counts_as_in_the_library_rainflow():
    n = np.arange(2_000)
    inward = (-1.0) ** n * (2_000 - n)
    series = np.concatenate((inward, inward[::-1] * 1.5))
    assert _total(spectrum.count(series)) == _library_total(series)


def test_a_spiral_is_counted_in_reasonable_time():
    """Only one pair at a time closes: the rounds hand over to the plain stack, or this would take hours."""
    inward = (-1.0) ** np.arange(50_000) * np.arange(50_000, 0, -1)
    found = spectrum.count(np.concatenate((inward, -inward[::-1])))
    assert found.counts.sum() == pytest.approx((len(inward) * 2 - 1) / 2)


def test_constant_amplitude_leaves_almost_nothing_open():
    counter = spectrum.Rainflow(bin_width_mpa=10)
    for _ in range(20):
        counter.feed(np.tile([0.0, 100.0], 5_000))
    assert len(counter.open_reversals) <= 3
    ranges, counts = counter.result()
    assert (ranges.tolist(), counts.tolist()) == ([100.0], [99_999.5])


def test_a_resolution_bounds_the_open_reversals_of_a_recording_that_dies_away():
    n = np.arange(20_000)
    dying = (-1.0) ** n * 100 * 0.9995**n
    assert len(spectrum.Rainflow(bin_width_mpa=1).feed(dying).open_reversals) == len(n)
    assert len(spectrum.Rainflow(bin_width_mpa=1, resolution_mpa=0.5).feed(dying).open_reversals) <= 402


def test_memory_does_not_grow_with_the_length_of_the_recording():
    def peak(chunks):
        noise = np.random.default_rng(0)
        tracemalloc.start()
        counter = spectrum.Rainflow(bin_width_mpa=1)
        for _ in range(chunks):
            counter.feed(noise.standard_normal(20_000) * 30)
        _, highest = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return highest

    assert peak(40) < 1.3 * peak(4)


def test_too_many_open_reversals_are_refused_and_nothing_is_counted(monkeypatch):
    monkeypatch.setattr(spectrum, "MOST_OPEN", 50)
    counter = spectrum.Rainflow(bin_width_mpa=1).feed([0, 10, 0])
    before = counter.result()
    with pytest.raises(InputError, match="resolution_mpa"):
        counter.feed((-1.0) ** np.arange(80) * np.arange(80, 0, -1))
    assert counter.samples == 3
    assert counter.result().counts.tolist() == before.counts.tolist()


@pytest.mark.parametrize("series", [[], [5.0], [5.0, 5.0, 5.0]])
def test_a_recording_without_a_range_has_no_cycles(series):
    assert spectrum.count(series).counts.sum() == 0
    assert spectrum.Rainflow(bin_width_mpa=1).feed(series).result().counts.sum() == 0


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: spectrum.count([1.0, np.nan, 2.0]), "series"),
        (lambda: spectrum.count([[1.0, 2.0]]), "series"),
        (lambda: spectrum.count([1.0, 2.0], residue="dropped"), "residue"),
        (lambda: spectrum.Rainflow(bin_width_mpa=0), "bin_width_mpa"),
        (lambda: spectrum.Rainflow(bin_width_mpa=1).feed([1.0, np.inf]), "samples"),
        (lambda: spectrum.Rainflow(bin_width_mpa=1e-9).feed([0.0, 500.0, 0.0, 500.0]), "bin_width_mpa"),
        (lambda: spectrum.strain_to_stress([np.nan]), "microstrain"),
        (lambda: spectrum.strain_to_stress(100, E_mpa=-1), "E_mpa"),
        (lambda: spectrum.histogram([10.0], [1.0, 2.0], 1, 1), "counts"),
        (lambda: spectrum.histogram([10.0], [1.0], 1, 0), "operating_cycles"),
        (lambda: spectrum.histogram([-10.0], [1.0], 1, 1), "ranges"),
        (lambda: spectrum.blocks([10.0], [1.0], 0), "size"),
    ],
)
def test_bad_input_names_the_argument(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.argument == argument


cycles = st.lists(st.tuples(st.floats(0.1, 400), st.floats(0.5, 1e4)), min_size=1, max_size=30)


@given(cycles, st.floats(0.5, 50), st.floats(1, 1e4))
def test_a_histogram_keeps_the_count_and_never_understates_damage(spectrum_of, width, rides):
    ranges, counts = np.array(spectrum_of).T
    binned = spectrum.histogram(ranges, counts, width, rides)
    assert binned.counts.sum() * rides == pytest.approx(counts.sum())
    exact = damage.per_operating_cycle([ranges], [counts], 71)[0]
    assert damage.per_operating_cycle([binned.ranges], [binned.counts], 71)[0] * rides >= exact * (1 - 1e-9)


@given(reals, st.sampled_from([0.1, 0.3, 0.7, 1.0, 2.5]))
def test_binning_what_is_binned_changes_nothing(series, width):
    once = spectrum.Rainflow(bin_width_mpa=width).feed(series).result()
    again = spectrum.histogram(once.ranges, once.counts, width, 1)
    assert again.ranges.tolist() == once.ranges.tolist()
    assert again.counts.tolist() == once.counts.tolist()


def test_a_range_on_the_edge_of_a_bin_stays_in_it_and_one_above_goes_up():
    assert spectrum.histogram([10.0, 10.001], [1, 1], 10, 1).ranges.tolist() == [10.0, 20.0]


@given(cycles, st.integers(1, 5))
def test_blocks_keep_the_count_and_never_understate_damage(spectrum_of, size):
    ranges, counts = np.array(spectrum_of).T
    few = spectrum.blocks(ranges, counts, size)
    assert len(few.ranges) == len(few.counts) == size
    assert few.counts.sum() == pytest.approx(counts.sum())
    exact, coarse = (damage.per_operating_cycle([r], [n], 71)[0] for r, n in ((ranges, counts), few))
    assert coarse >= exact * (1 - 1e-9)


@given(cycles)
def test_more_blocks_never_overstate_more(spectrum_of):
    ranges, counts = np.array(spectrum_of).T
    overstated = [
        float(np.sum(few.counts * few.ranges**3)) for few in (spectrum.blocks(ranges, counts, k) for k in (1, 2, 4))
    ]
    assert overstated[0] >= overstated[1] * (1 - 1e-9) >= overstated[2] * (1 - 2e-9)


def test_blocks_of_a_short_spectrum_are_exact_and_padded_with_nothing():
    few = spectrum.blocks([50.0, 90.0, 50.0], [2, 1, 3], 4)
    assert few.ranges.tolist() == [50.0, 90.0, 0.0, 0.0]
    assert few.counts.tolist() == [5.0, 1.0, 0.0, 0.0]
    assert spectrum.blocks([], [], 2).counts.tolist() == [0.0, 0.0]


def _ride(samples=4_000):
    sample = np.arange(samples)
    return 40 * np.sin(sample / 15) + np.random.default_rng(0).standard_normal(samples)


def test_screening_takes_out_spikes_and_says_where_and_how_much():
    series = _ride()
    series[[500, 2_000, 2_001]] += [400.0, -300.0, -300.0]
    screened = spectrum.screen(series)
    assert screened.spikes.tolist() == [500, 2_000, 2_001]
    assert screened.spike_amounts == pytest.approx([400, -300, -300], abs=10)
    assert np.abs(screened.series - _ride()).max() < 10
    assert "3 samples" in screened.notes[1]


def test_screening_that_only_lists_spikes_leaves_the_recording_alone():
    series = _ride()
    series[500] += 400
    screened = spectrum.screen(series, remove_spikes=False)
    assert screened.spikes.tolist() == [500]
    assert screened.series.tolist() == series.tolist()
    assert not screened.spikes_removed


def test_a_clean_recording_comes_through_unchanged():
    screened = spectrum.screen(_ride())
    assert screened.series.tolist() == _ride().tolist()
    assert len(screened.spikes) == len(screened.gaps) == 0


def test_a_step_that_stays_is_no_spike():
    series = np.concatenate((np.zeros(200), np.full(200, 150.0)))
    assert len(spectrum.screen(series).spikes) == 0


def test_drift_is_reported_and_left_in_unless_asked():
    series = _ride() + np.linspace(0, 80, 4_000)
    kept, taken = spectrum.screen(series), spectrum.screen(series, remove_drift=True)
    assert kept.drift_mpa == pytest.approx(76, abs=10)
    assert kept.series.tolist() == series.tolist()
    assert taken.drift_removed
    assert np.ptp(taken.series) < np.ptp(series) - 50


def test_gaps_are_bridged_and_listed_and_too_many_are_refused():
    series = _ride()
    series[[0, 10, 11]] = np.nan
    screened = spectrum.screen(series)
    assert screened.gaps.tolist() == [0, 10, 11]
    assert np.isfinite(screened.series).all()
    series[:300] = np.nan
    with pytest.raises(InputError, match="300 of 4000"):
        spectrum.screen(series)


@pytest.mark.parametrize(
    ("arguments", "argument"),
    [
        ({"series": [1.0, 2.0]}, "series"),
        ({"series": ["a"] * 20}, "series"),
        ({"series": [0.0] * 20, "spike_limit_mpa": -1}, "spike_limit_mpa"),
        ({"series": [0.0] * 20, "spike_samples": 0}, "spike_samples"),
        ({"series": [0.0] * 20, "drift_samples": 0}, "drift_samples"),
    ],
)
def test_bad_screening_input_names_the_argument(arguments, argument):
    with pytest.raises(InputError) as caught:
        spectrum.screen(**arguments)
    assert caught.value.argument == argument
