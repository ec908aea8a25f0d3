"""Screening of a recording before it is counted: gaps, spikes and drift, each reported with where and how much.

A spike from a loose plug makes false cycles, a slow wander of the gauge's zero makes one false large one. Whatever is
changed is listed, so that a person can judge it; nothing is changed in silence. Stresses in MPa.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from engineering.errors import FloatArray, InputError, non_negative, one, positive

GAPS_AT_MOST = 0.05  # share of samples that may be bridged; common practice, no source
_SIGMA_PER_MAD = 1.4826  # standard deviation over median absolute deviation of normal noise


@dataclass(frozen=True)
class Screening:
    """What came out and what was done.

    Attributes:
        series: the recording to count, MPa.
        gaps: sample numbers (from 0) that held no number and were bridged by a straight line.
        spikes: sample numbers judged to be spikes.
        spike_amounts: how far each stood off its neighbours' median, MPa (signed).
        spikes_removed: whether they were replaced by a straight line between the good samples beside them.
        spike_limit_mpa: the departure from which a sample was judged a spike.
        drift_mpa: how far the slow baseline wandered, highest less lowest, MPa.
        drift_removed: whether the wander was taken off.
        notes: the same in sentences, for the page and the record.
    """

    series: FloatArray
    gaps: np.ndarray
    spikes: np.ndarray
    spike_amounts: FloatArray
    spikes_removed: bool
    spike_limit_mpa: float
    drift_mpa: float
    drift_removed: bool
    notes: tuple[str, ...]


def screen(
    series: ArrayLike,
    *,
    remove_spikes: bool = True,
    remove_drift: bool = False,
    spike_limit_mpa: float | None = None,
    spike_samples: int = 3,
    spike_sigmas: float = 8.0,
    spike_floor_mpa: float = 5.0,
    drift_samples: int | None = None,
) -> Screening:
    """A recording freed of gaps and spikes (and, if asked, of drift), with an account of it.

    Args:
        series: stresses in time order, MPa; NaN or infinity marks a gap.
        remove_spikes: replace them; False only lists them.
        remove_drift: take the slow baseline off. Off by default: a real slow cycle (sun, filling and emptying) looks
            the same, and to take it off would understate the damage.
        spike_limit_mpa: departure that makes a spike, MPa; None works it out from the recording.
        spike_samples: longest spike, samples; what stays away longer is taken for real.
        spike_sigmas: worked-out limit, in standard deviations of the samples about their running median.
        spike_floor_mpa: the worked-out limit is never below this, MPa.
        drift_samples: samples in each stretch whose median is a point of the baseline; None takes a twentieth.

    Returns: ``Screening``. Errors: ``InputError``: fewer than 10 samples, more than 5 % gaps, settings not positive.
    Range of validity: at least some 10 samples in the fastest real cycle. A recording already cut down to its reversals
    must not be screened for spikes.
    Source: running median and median absolute deviation are common practice; the figures 8, 5 MPa and 5 % have none.
    """
    values = _samples(series)
    bridged, gaps = _bridge_gaps(values)
    limit, departure = _departures(bridged, spike_limit_mpa, spike_samples, spike_sigmas, spike_floor_mpa)
    spikes = np.flatnonzero(np.abs(departure) > limit)
    amounts = departure[spikes]
    cleaned = _bridge(bridged, spikes) if remove_spikes else bridged
    baseline = _baseline(cleaned, drift_samples)
    drift = float(np.ptp(baseline))
    if remove_drift:
        cleaned = cleaned - (baseline - np.median(baseline))
    return Screening(
        series=cleaned,
        gaps=gaps,
        spikes=spikes,
        spike_amounts=amounts,
        spikes_removed=remove_spikes,
        spike_limit_mpa=limit,
        drift_mpa=drift,
        drift_removed=remove_drift,
        notes=_notes(gaps, spikes, amounts, remove_spikes, limit, drift, remove_drift),
    )


def _samples(series: ArrayLike) -> FloatArray:
    try:
        values = np.asarray(series, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError("series", "needs numbers; leave a lost sample as NaN", code="not_a_number") from error
    if values.ndim != 1 or len(values) < 10:
        raise InputError("series", "must be one list of at least 10 samples in time order", code="shape")
    return values


def _bridge_gaps(values: FloatArray) -> tuple[FloatArray, np.ndarray]:
    gaps = np.flatnonzero(~np.isfinite(values))
    if len(gaps) > GAPS_AT_MOST * len(values):
        raise InputError(
            "series", f"{len(gaps)} of {len(values)} samples hold no number: too many to bridge", code="not_a_number"
        )
    return _bridge(values, gaps), gaps


def _bridge(values: FloatArray, bad: np.ndarray) -> FloatArray:
    """Straight line across the bad samples; beyond the first and last good one, their value."""
    if not len(bad):
        return values.copy()
    good = np.ones(len(values), dtype=bool)
    good[bad] = False
    if not good.any():
        raise InputError("spike_limit_mpa", "every sample would count as a spike: set a larger limit")
    at = np.arange(len(values))
    return np.where(good, values, np.interp(at, at[good], values[good]))


def _departures(
    values: FloatArray, limit_mpa: float | None, samples: int, sigmas: float, floor_mpa: float
) -> tuple[float, FloatArray]:
    """(limit, departure from the running median) whose window outvotes a spike of ``samples`` on either side."""
    from scipy.ndimage import median_filter  # here, for it takes half a second to load

    width = 2 * int(positive("spike_samples", samples)) + 1
    departure = values - median_filter(values, size=width, mode="nearest")
    if limit_mpa is not None:
        return one(positive, "spike_limit_mpa", limit_mpa), departure
    spread = _SIGMA_PER_MAD * float(np.median(np.abs(departure)))
    floor = one(non_negative, "spike_floor_mpa", floor_mpa)
    return max(one(positive, "spike_sigmas", sigmas) * spread, floor), departure


def _baseline(values: FloatArray, drift_samples: int | None) -> FloatArray:
    """Medians of equal stretches, joined by straight lines."""
    stretch = max(len(values) // 20, 1) if drift_samples is None else int(positive("drift_samples", drift_samples))
    pieces = np.array_split(values, max(len(values) // stretch, 1))
    middles = np.cumsum([len(piece) for piece in pieces]) - np.array([(len(piece) + 1) / 2 for piece in pieces])
    return np.interp(np.arange(len(values)), middles, [float(np.median(piece)) for piece in pieces])


def _notes(
    gaps: np.ndarray, spikes: np.ndarray, amounts: FloatArray, removed: bool, limit: float, drift: float, flat: bool
) -> tuple[str, ...]:
    notes = [f"{len(gaps)} lost samples bridged by straight lines." if len(gaps) else "No sample was lost."]
    if len(spikes):
        deed = "replaced by straight lines" if removed else "left as they are"
        largest = float(np.max(np.abs(amounts)))
        notes.append(f"{len(spikes)} samples stood off by more than {limit:.1f} MPa (most: {largest:.1f} MPa): {deed}.")
    else:
        notes.append(f"No sample stood off by more than {limit:.1f} MPa.")
    deed = "taken off" if flat else "left in: a real slow cycle would look the same"
    notes.append(f"The baseline wandered by {drift:.1f} MPa: {deed}.")
    return tuple(notes)
