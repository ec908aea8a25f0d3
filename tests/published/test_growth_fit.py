"""The growth fit against measured cracks and published growth."""

import numpy as np
import pytest

from bench import growth_fit_backtest as bench
from engineering.growth_fit import Prior, fit

pytestmark = pytest.mark.published


@pytest.fixture(scope="module")
def alone():
    return bench.back_test()


def test_the_data_are_whole():
    """Hudak et al. (1978) in Lu and Meeker (1993): 21 specimens, 262 readings, all from 0.90 in."""
    readings = bench.specimens()
    assert len(readings) == 21
    assert sum(map(len, readings.values())) == 262
    assert {sizes[0] for sizes in readings.values()} == {(0.0, 0.9)}


@pytest.mark.parametrize(("factor", "life"), [(1.12, 335_525), (1.0, 471_388)])
def test_three_sizes_on_a_published_growth_line_lead_to_its_life(factor, life):
    """BS 7910 simplified law, A = 5.21e-13, m = 3, 100 MPa, from 1 to 10 mm: closed form and quadrature, see the life.

    The readings are taken from the ordinary differential equation, step by step, not from the fit's own formula.
    """
    size, count, counts, sizes = 1.0, 0, [0], [1.0]
    step = 50
    while size < 3.0:
        mid = size + step / 2 * 5.21e-13 * (factor * 100 * np.sqrt(np.pi * size)) ** 3
        size += step * 5.21e-13 * (factor * 100 * np.sqrt(np.pi * mid)) ** 3
        count += step
        if size >= len(sizes) * 0.5 + 1:
            counts.append(count)
            sizes.append(size)
    sure = Prior(m_sd=1e-3, shape_mean=0, shape_sd=0, shape_rise=0, model_error=0)
    assert fit(counts, sizes, sd_mm=1e-3, prior=sure).cycles_to(10.0)[1] == pytest.approx(life, rel=0.005)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["1", "10", "20"])
def test_first_half_of_a_measured_crack_holds_its_second_half(name, alone):
    """Hudak et al. (1978): a fast, a middling and a slow specimen, all inside their bands."""
    (outcome,) = (each for each in alone if each.specimen == name)
    assert outcome.sizes_inside == outcome.sizes_ahead
    assert outcome.early < outcome.reached < outcome.late
    assert abs(outcome.cycles_error) < 0.2


@pytest.mark.slow
def test_back_test_over_all_specimens_gives_the_documented_coverage(alone):
    """Hudak et al. (1978), 21 specimens: 18 of 21 lives and 114 of 124 sizes in the 80 % band."""
    lives = sum(o.early <= o.reached <= o.late for o in alone)
    assert 15 <= lives <= 20
    assert sum(o.sizes_inside for o in alone) / sum(o.sizes_ahead for o in alone) >= 0.8
    assert np.median([abs(o.cycles_error) for o in alone]) < 0.2


@pytest.mark.slow
def test_sister_specimens_sharpen_the_prediction(alone):
    """Leave one out among every third specimen: the exponent of the others halves the error in the life ahead at least.

    All 21, each with the other twenty: docs/method/growth-fit.md, by `python -m bench.growth_fit_backtest`.
    """
    third = {o.specimen for o in alone[::3]}
    sisters = bench.back_test_with_sisters(third)
    error_alone, error_with = (
        np.median([abs(o.cycles_error) for o in group if o.specimen in third]) for group in (alone, sisters)
    )
    assert error_with < error_alone / 2
