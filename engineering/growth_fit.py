"""Growth of one measured crack: from few, noisy, partly censored sizes to cycles and sizes ahead, with an 80 % band.

Law: da/dN = ρ (a/b)^p, a power of size. For Paris' law with a steady stress range p = m/2; a geometry factor that rises
or falls with size adds to p or takes from it. With size b and relative rate k = ρ/b at a cycle count Nc amid the
readings::

    a(N) = b [1 + (1 − p) k (N − Nc)]^(1/(1 − p))          (p = 1: b exp(k (N − Nc)))

Unknown: b, k, p and the standard deviation s of a reading. All four are sampled together (Bayes), so a band widens by
itself where readings are few, noisy or censored. Ahead of the last reading the growth rate is let differ from the
fitted law by a factor, log-normal with ``Prior.model_error``: loads, geometry and material are not as steady as a law.

Everything is computed in sizes over their typical size and cycles over their span, so units and scale do not matter.
Units: any one unit of size (mm here) and of count. The sampler is seeded: same input, same figures.

References: P. Paris and F. Erdogan (1963), J. Basic Eng. 85, 528-533 for the law; J. Goodman and J. Weare (2010), Comm.
App. Math. Comp. Sci. 5, 65-80 for the sampler; C. J. Lu and W. Q. Meeker (1993), Technometrics 35, 161-174 for the law
with a free exponent on measured cracks. Method, assumptions and back-test: docs/method/growth-fit.md.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engineering.errors import FloatArray, InputError, finite, non_negative, one, positive

BAND = (0.1, 0.5, 0.9)
MOST_READINGS = 10_000
_WALKERS = 120
_BURN_IN = 250
_KEPT = 60
_THINNING = 10
_SEED = 1963
_LOG_B, _LOG_K, _P, _LOG_S = range(4)
_P_RANGE = (-1.0, 8.0)
_NODES = 64
_GAINS = np.linspace(0, 6.0, 2 * _NODES)  # at most size times 400: past that the crack has run away


@dataclass(frozen=True)
class Prior:
    """What is held to be likely before the crack was measured. The defaults were set before any back-test.

    Attributes:
        m_mean, m_sd: Paris exponent; steel 3, taken wide enough for 2 to 4.
        shape_mean, shape_sd: what the geometry factor adds to the exponent of size: m times the slope of ln Y on ln a,
            −0.3 m at a weld toe to +0.5 m and more for an edge crack a third of the way through.
        shape_rise: mean rise of that exponent for each unit of ln a beyond the last reading (exponential): geometry
            factors steepen as a crack nears the far edge.
        rate_per_cycle, rate_at_mm, rate_log_sd: a known rate (size per cycle) at a size, with the standard deviation of
            its natural logarithm; None where nothing is known.
        scatter, scatter_log_sd: standard deviation of a reading over the typical size and the spread of its logarithm;
            used where ``sd_mm`` is not given.
        model_error: standard deviation of the logarithm of the future rate over the fitted law's.
    """

    m_mean: float = 3.0
    m_sd: float = 0.6
    shape_mean: float = 0.5
    shape_sd: float = 1.0
    shape_rise: float = 0.8
    rate_per_cycle: float | None = None
    rate_at_mm: float | None = None
    rate_log_sd: float = 0.7
    scatter: float = 0.03
    scatter_log_sd: float = 1.2
    model_error: float = 0.15

    def __post_init__(self) -> None:
        for name in ("m_mean", "m_sd", "rate_log_sd", "scatter", "scatter_log_sd"):
            positive(name, getattr(self, name))
        non_negative("shape_sd", self.shape_sd)
        non_negative("shape_rise", self.shape_rise)
        non_negative("model_error", self.model_error)
        finite("shape_mean", self.shape_mean)
        if (self.rate_per_cycle is None) != (self.rate_at_mm is None):
            raise InputError("rate_at_mm", "a known rate needs both the rate and the size it holds at", code="shape")
        if self.rate_per_cycle is not None and self.rate_at_mm is not None:
            positive("rate_per_cycle", self.rate_per_cycle)
            positive("rate_at_mm", self.rate_at_mm)

    @property
    def exponent(self) -> tuple[float, float]:
        """Mean and standard deviation of p = m/2 + shape."""
        return self.m_mean / 2 + self.shape_mean, math.hypot(self.m_sd / 2, self.shape_sd)


def prior_for_geometry(
    factor: Callable[[float], float], *, from_mm: float, to_mm: float, m_mean: float = 3.0, m_sd: float = 0.6
) -> Prior:
    """A ``Prior`` for a crack whose geometry factor Y(a) is known, between the size now and the size asked for.

    ``factor`` gives Y for a size; ``m_mean`` ± ``m_sd`` is Paris' exponent. Shape = m d ln Y/d ln a at ``from_mm``;
    its rise per unit of ln a from the same slope at ``to_mm``, not under 0.
    What is left open about the shape has a standard deviation of 0.3 (common practice, no source).
    """
    low, high = one(positive, "from_mm", from_mm), one(positive, "to_mm", to_mm)
    if high <= low:
        raise InputError("to_mm", f"must lie above from_mm ({low:g}), got {high:g}")

    def slope(size: float) -> float:
        step = 1e-4
        ratio = positive("factor", [factor(size * math.exp(step)), factor(size * math.exp(-step))])
        return float(np.log(ratio[0] / ratio[1])) / (2 * step)

    rise = m_mean * (slope(high) - slope(low)) / math.log(high / low)
    return Prior(m_mean=m_mean, m_sd=m_sd, shape_mean=m_mean * slope(low), shape_sd=0.3, shape_rise=max(rise, 0.0))


@dataclass(frozen=True)
class _Readings:
    """Readings over their typical size and span: count from the middle, size, and which are upper limits only."""

    at: FloatArray
    size: FloatArray
    below: NDArray[np.bool_]
    sd: float | None
    middle: float
    span: float
    unit: float


@dataclass(frozen=True)
class Fit:
    """Plausible growth histories of one crack; ``draws`` holds (b, k, p, s) of each, in the fit's own scale.

    Every answer is (10 %, 50 %, 90 %): one crack in ten is expected outside on either side.
    """

    draws: FloatArray
    last_cycles: float
    prior: Prior
    readings: _Readings

    def cycles_to(self, size_mm: float) -> tuple[float, float, float]:
        """Early, middle and late count at which the crack reaches ``size_mm``, on the counter of the readings.

        A count before the last reading means that the size may have been passed already.
        """
        size = one(positive, "size_mm", size_mm) / self.readings.unit
        b, k, p, _ = self.draws.T
        at = _power_gain(size / b, 1 - p) / k
        last = self._scaled(self.last_cycles)
        ahead = at > last
        at[ahead] = last + self._ahead(ahead).cycles_to(size)
        return _band(self.readings.middle + self.readings.span * at)

    def size_at(self, cycles: float, *, reading: bool = False) -> tuple[float, float, float]:
        """Low, middle and high size at a count; infinity where the crack may have run away by then.

        With ``reading`` the band is that of a measured size, the scatter of a reading included.
        """
        at, last = self._scaled(one(non_negative, "cycles", cycles)), self._scaled(self.last_cycles)
        sizes = self._all_ahead.size_after(at - last) if at > last else self._size_then(at)
        if reading:
            noise = np.random.default_rng(_SEED + 2).standard_normal(len(sizes))
            sizes = sizes + self.draws[:, _LOG_S] * noise
        return _band(np.maximum(sizes, 0.0) * self.readings.unit)

    def rate_at(self, size_mm: float) -> tuple[float, float, float]:
        """Low, middle and high growth per cycle when the crack has ``size_mm``."""
        size = one(positive, "size_mm", size_mm) / self.readings.unit
        b, k, p, _ = self.draws.T
        return _band(b * k * (size / b) ** p * self.readings.unit / self.readings.span)

    @property
    def exponent(self) -> tuple[float, float, float]:
        """Low, middle and high exponent p of size; Paris' m is about 2 p where geometry does not change."""
        return _band(self.draws[:, _P])

    @property
    def scatter_mm(self) -> tuple[float, float, float]:
        """Low, middle and high standard deviation of one reading."""
        return _band(self.draws[:, _LOG_S] * self.readings.unit)

    def _scaled(self, cycles: float) -> float:
        return (cycles - self.readings.middle) / self.readings.span

    def _size_then(self, at: float) -> FloatArray:
        b, k, p, _ = self.draws.T
        return _sizes(b, k, p, np.array([at]))[:, 0]

    @cached_property
    def _all_ahead(self) -> _Ahead:
        return self._ahead(np.ones(len(self.draws), dtype=np.bool_))

    def _ahead(self, chosen: NDArray[np.bool_]) -> _Ahead:
        """The chosen histories from the last reading on, each with a rate and a rise of exponent of its own."""
        rng = np.random.default_rng(_SEED + 1)
        factor = np.exp(self.prior.model_error * rng.standard_normal(len(self.draws)))
        rise = self.prior.shape_rise * rng.standard_exponential(len(self.draws))
        b, k, p, _ = self.draws.T
        start = self._size_then(self._scaled(self.last_cycles))
        gone = np.log(start / b)
        rate = factor * k * np.exp((p - 1) * gone)
        return _Ahead(start[chosen], rate[chosen], (p - 1 + rise * np.maximum(gone, 0.0))[chosen], rise[chosen])


@dataclass(frozen=True)
class _Ahead:
    """Growth beyond the last reading: d ln a/dN = rate exp(q l + rise l²/2) with l = ln(a/start)."""

    start: FloatArray
    rate: FloatArray
    q: FloatArray
    rise: FloatArray

    def _needed(self, gain: FloatArray) -> FloatArray:
        """Cycles from the start to each gain l (histories × nodes), by the trapezium rule along the nodes."""
        slow = np.exp(np.clip(-self.q[:, None] * gain - self.rise[:, None] * gain**2 / 2, -700, 700))
        steps = np.diff(gain, axis=1) * (slow[:, 1:] + slow[:, :-1]) / 2
        summed = np.concatenate([np.zeros((len(gain), 1)), np.cumsum(steps, axis=1)], axis=1)
        needed: FloatArray = summed / self.rate[:, None]
        return needed

    def cycles_to(self, size: float) -> FloatArray:
        gain = np.maximum(np.log(size / self.start), 0.0)
        return self._needed(gain[:, None] * np.linspace(0, 1, _NODES))[:, -1]

    @cached_property
    def _table(self) -> FloatArray:
        """Cycles to each of the gains: made once, however many sizes are asked for."""
        return self._needed(np.broadcast_to(_GAINS, (len(self.start), len(_GAINS))))

    def size_after(self, cycles: float) -> FloatArray:
        needed = self._table
        node = (needed < cycles).sum(axis=1)
        gone = node == needed.shape[1]
        node = np.clip(node, 1, needed.shape[1] - 1)
        row = np.arange(len(node))
        before, after = needed[row, node - 1], needed[row, node]
        part = np.minimum((cycles - before) / np.where(after > before, after - before, 1.0), 1.0)
        size: FloatArray = self.start * np.exp((node - 1 + part) * _GAINS[1])
        return np.where(gone, np.inf, size)


def fit(
    cycles: ArrayLike,
    sizes_mm: ArrayLike,
    *,
    sd_mm: float | None = None,
    censored: ArrayLike | None = None,
    prior: Prior | None = None,
) -> Fit:
    """Fit the growth of one crack to two or more readings at two or more counts.

    Args:
        cycles: counts, not negative, any order; repeated readings at one count are welcome.
        sizes_mm: measured size > 0; for a censored reading the limit under which the size lay.
        sd_mm: standard deviation of one reading if known; taken as right within a third. None: learnt from the scatter.
        censored: True where nothing was found above the limit in ``sizes_mm``; None: all readings are sizes.
        prior: what is likely beforehand; None: ``Prior()``.

    Raises:
        InputError: ``shape`` for unlike lengths, fewer than two counts or no measured size at all; ``not_a_number``,
            ``not_positive``, ``negative``.
    """
    belief = prior or Prior()
    (readings, last), rng = _prepare(cycles, sizes_mm, sd_mm, censored), np.random.default_rng(_SEED)
    draws = _sample(_start(readings, belief, rng), readings, belief, rng)
    draws[:, [_LOG_B, _LOG_K, _LOG_S]] = np.exp(draws[:, [_LOG_B, _LOG_K, _LOG_S]])
    return Fit(draws=draws, last_cycles=last, prior=belief, readings=readings)


def _prepare(
    cycles: ArrayLike, sizes_mm: ArrayLike, sd_mm: float | None, censored: ArrayLike | None
) -> tuple[_Readings, float]:
    at, size = np.atleast_1d(non_negative("cycles", cycles)), np.atleast_1d(positive("sizes_mm", sizes_mm))
    below = np.zeros(at.shape, dtype=np.bool_) if censored is None else np.atleast_1d(np.asarray(censored))
    if at.ndim != 1 or size.shape != at.shape:
        raise InputError("sizes_mm", f"needs one size a count: {at.size} counts, {size.size} sizes", code="shape")
    if below.shape != at.shape or below.dtype != np.bool_:
        raise InputError("censored", "needs True or False for each reading", code="shape")
    if len(at) > MOST_READINGS:
        raise InputError("cycles", f"more than {MOST_READINGS} readings of one crack", code="shape")
    if len(np.unique(at)) < 2:
        raise InputError("cycles", "growth needs readings at two counts at least", code="shape")
    if below.all():
        raise InputError("censored", "no reading measured a size", code="shape")
    order = np.lexsort((size, at))
    at, size, below = at[order], size[order], below[order]
    sd = None if sd_mm is None else one(positive, "sd_mm", sd_mm)
    unit = float(np.exp(np.log(size[~below]).mean()))
    span = float(np.ptp(at))
    middle = float(at[~below].mean())
    # Rounded far below any reading's precision, so that another unit gives the same draws and not merely like ones.
    at_scaled, size_scaled = np.round((at - middle) / span, 12), np.round(size / unit, 12)
    sd_scaled = None if sd is None else round(sd / unit, 12)
    return _Readings(at_scaled, size_scaled, below, sd_scaled, middle, span, unit), float(at.max())


def _power_gain(ratio: FloatArray, q: FloatArray) -> FloatArray:
    """(ratio^q − 1)/q, and ln ratio where q is 0."""
    log = np.log(ratio)
    small = np.abs(q) < 1e-9
    return np.where(small, log, np.expm1(np.clip(q * log, -700, 700)) / np.where(small, 1.0, q))


def _sizes(b: FloatArray, k: FloatArray, p: FloatArray, at: FloatArray) -> FloatArray:
    """Sizes (histories × counts); infinity past run-away, 0 before the law starts from nothing."""
    q = (1 - p)[:, None]
    growth = k[:, None] * at
    base = 1 + q * growth
    alive = base > 0
    small = np.abs(q) < 1e-6
    log = np.log(np.where(alive, base, 1.0)) / np.where(small, 1.0, q)
    if small.any():
        log = np.where(small, growth, log)
    sizes: FloatArray = b[:, None] * np.exp(np.minimum(np.maximum(log, -300.0), 300.0))
    certain = alive & (np.abs(log) < 300)
    if not certain.all():
        sizes = np.where(certain, sizes, np.where(np.where(alive, log > 0, q < 0), np.inf, 0.0))
    return sizes


def _log_posterior(theta: FloatArray, readings: _Readings, prior: Prior) -> FloatArray:
    log_b, log_k, p, log_s = theta.T
    mean, sd = prior.exponent
    # The size amid the readings is near their typical one, within a factor of e: it keeps hopeless scatter bounded.
    value = -0.5 * ((p - mean) / sd) ** 2 - 0.5 * log_b**2
    if prior.rate_per_cycle is None or prior.rate_at_mm is None:
        # Growth over the span of the readings: some tenths of the size, within a factor of about 5 either way.
        value = value - 0.5 * ((log_k - math.log(0.3)) / 1.5) ** 2
    else:
        log_rate = log_b + log_k + p * (math.log(prior.rate_at_mm / readings.unit) - log_b)
        known = math.log(prior.rate_per_cycle * readings.span / readings.unit)
        value = value - 0.5 * ((log_rate - known) / prior.rate_log_sd) ** 2
    s_mean, s_sd = (prior.scatter, prior.scatter_log_sd) if readings.sd is None else (readings.sd, 0.3)
    value = value - 0.5 * ((log_s - math.log(s_mean)) / s_sd) ** 2
    b, k, s = np.exp(np.minimum(np.maximum(theta[:, [_LOG_B, _LOG_K, _LOG_S]].T, -50.0), 50.0))
    size = _sizes(b, k, p, readings.at)
    possible = (np.isfinite(size) & (size > 0)).all(axis=1)
    possible &= (p > _P_RANGE[0]) & (p < _P_RANGE[1]) & (np.abs(log_k) < 40) & (np.abs(log_b) < 40)
    size = np.where(possible[:, None], size, 1.0)
    off = (readings.size - size) / s[:, None]
    each = -0.5 * off**2 - log_s[:, None]
    if readings.below.any():
        from scipy.special import log_ndtr  # here, for it takes half a second to load

        each = np.where(readings.below, log_ndtr(off), each)
    value = value + each.sum(axis=1)
    return np.where(possible, value, -np.inf)


def _start(readings: _Readings, prior: Prior, rng: np.random.Generator) -> FloatArray:
    """Walkers near the posterior: for exponents from the prior, a straight line through the sizes' power."""
    mean, sd = prior.exponent
    seen = ~readings.below
    p = np.clip(mean + sd * rng.standard_normal(_WALKERS), _P_RANGE[0] + 0.1, _P_RANGE[1] - 0.1)
    theta = np.empty((_WALKERS, 4))
    for row, exponent in zip(theta, p, strict=True):
        gain = _power_gain(readings.size[seen], np.full(seen.sum(), 1 - exponent))
        if np.ptp(readings.at[seen]) > 0:
            slope, level = np.polyfit(readings.at[seen], gain, 1)
        else:
            slope, level = 0.3, float(gain.mean())
        slope = max(float(slope), 0.02)
        left = float(np.std(gain - level - slope * readings.at[seen]))
        row[:] = np.clip(level, -1.0, 1.0), math.log(slope), exponent, np.log(np.clip(left, 1e-4, 1.0))
    theta += rng.standard_normal(theta.shape) * [0.01, 0.1, 0.05, 0.2]
    for _ in range(60):
        bad = ~np.isfinite(_log_posterior(theta, readings, prior))
        if not bad.any():
            return theta
        # A crack that grew fast is only possible with a slower rate or a lower exponent: draw the walker that way.
        theta[bad, _LOG_K] -= 0.2
        theta[bad, _P] += (1.0 - theta[bad, _P]) * 0.1
        theta[bad, _LOG_B] *= 0.9
    raise InputError("sizes_mm", "no growth law fits these readings")


def _sample(theta: FloatArray, readings: _Readings, prior: Prior, rng: np.random.Generator) -> FloatArray:
    """Affine-invariant ensemble (Goodman and Weare 2010, stretch move, a = 2); returns the kept states stacked."""
    value = _log_posterior(theta, readings, prior)
    half = _WALKERS // 2
    kept = []
    for step in range(_BURN_IN + _KEPT * _THINNING):
        for move, other in ((slice(0, half), slice(half, None)), (slice(half, None), slice(0, half))):
            stretch = (1 + rng.random(half)) ** 2 / 2
            partner = theta[other][rng.integers(half, size=half)]
            trial = partner + stretch[:, None] * (theta[move] - partner)
            trial_value = _log_posterior(trial, readings, prior)
            odds = (theta.shape[1] - 1) * np.log(stretch) + trial_value - value[move]
            accept = np.log(rng.random(half)) < odds
            theta[move] = np.where(accept[:, None], trial, theta[move])
            value[move] = np.where(accept, trial_value, value[move])
        if step >= _BURN_IN and step % _THINNING == 0:
            kept.append(theta.copy())
    return np.concatenate(kept)


def _band(values: FloatArray) -> tuple[float, float, float]:
    low, middle, high = np.quantile(values, BAND, method="closest_observation")
    return float(low), float(middle), float(high)
