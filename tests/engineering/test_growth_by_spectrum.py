"""Growth by a whole spectrum: equals the single range, the tight solution of the equation, and no equivalent range."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from engineering import crack_growth, stress_intensity
from engineering.errors import InputError

LAWS = ["steel-air-as-welded", "steel-air-simplified"]


def counts_between(start, end, bins, *, law="steel-air-as-welded", wall=12.0, attachment=30.0, share=0.0):
    ranges, counts = np.array(bins, dtype=float).T
    return float(
        crack_growth.counts_between(
            [start], [end], ranges_mpa=[ranges], counts=[counts], law=crack_growth.law(law), wall_mm=wall,
            attachment_mm=attachment, bending_share=share,
        )[0]
    )  # fmt: skip


def tight(start, end, bins, *, law, wall, attachment, share):
    """scipy's own solution of da/dn = sum n_k rate(dK_k), in ln a."""
    rule = crack_growth.law(law)

    def slope(ln_a, _):
        depth = np.exp(ln_a)
        unit = stress_intensity.surface_crack_k(
            membrane_mpa=1.0 - share,
            bending_mpa=share,
            depth_mm=depth,
            aspect=0.2,
            wall_mm=wall,
            attachment_mm=attachment,
        )
        growth = sum(n * float(rule.rate(s * unit)) for s, n in bins)
        return [depth / growth]

    solved = solve_ivp(slope, (np.log(start), np.log(end)), [0.0], rtol=1e-9, atol=1e-6, max_step=0.05)
    return float(solved.y[0, -1])


@pytest.mark.parametrize("law", LAWS)
def test_one_range_is_the_known_answer(law):
    alone = crack_growth.cycles_between(
        2.0, 8.0, range_mpa=60.0, law=crack_growth.law(law), wall_mm=12.0, attachment_mm=30.0
    )
    assert counts_between(2.0, 8.0, [[60.0, 1.0]], law=law) == pytest.approx(float(alone), rel=1e-3)


def test_a_bin_cut_in_two_changes_nothing():
    whole = counts_between(2.0, 8.0, [[60.0, 3.0], [20.0, 8.0]])
    cut = counts_between(2.0, 8.0, [[60.0, 1.0], [20.0, 8.0], [60.0, 2.0], [50.0, 0.0]])
    assert cut == pytest.approx(whole, rel=1e-12)


bins = st.lists(st.tuples(st.floats(5.0, 150.0), st.floats(0.1, 50.0)), min_size=1, max_size=4)


@settings(max_examples=15, deadline=None)
@given(
    bins=bins, law=st.sampled_from(LAWS), wall=st.floats(6.0, 40.0), attachment=st.floats(5.0, 100.0),
    first=st.floats(0.05, 0.4), growth=st.floats(1.2, 8.0),
)  # fmt: skip
def test_it_agrees_with_a_tight_solution(bins, law, wall, attachment, first, growth):
    start, end = first * wall, min(first * growth, 0.79) * wall
    ours = counts_between(start, end, bins, law=law, wall=wall, attachment=attachment)
    assert ours == pytest.approx(
        tight(start, end, bins, law=law, wall=wall, attachment=attachment, share=0.0), rel=5e-3
    )


def test_an_equivalent_range_can_be_on_the_unsafe_side_and_far_on_the_safe_one():
    """Why none is used: beside the kink of the default law it promises too much, elsewhere it wastes life."""

    def promised(spectrum, start, end):
        total = sum(n for _, n in spectrum)
        equivalent = (sum(n * s**5.1 for s, n in spectrum) / total) ** (1 / 5.1)
        law = crack_growth.law()
        cycles = crack_growth.cycles_between(
            start, end, range_mpa=equivalent, law=law, wall_mm=12.0, attachment_mm=30.0
        )
        return float(cycles) / total

    close = [[59.1, 1.0], [50.9, 8.1]]
    assert counts_between(0.463, 0.912, close) < 0.99 * promised(close, 0.463, 0.912)
    apart = [[70.0, 1.0], [25.0, 20.0]]
    assert counts_between(0.6, 0.8, apart) > 1.5 * promised(apart, 0.6, 0.8)


@pytest.mark.parametrize(
    ("ranges", "counts", "argument"),
    [([[50.0, 20.0]], [[1.0]], "ranges_mpa"), ([[0.0]], [[1.0]], "counts"), ([[-1.0]], [[1.0]], "ranges_mpa")],
)
def test_a_spectrum_that_cannot_be_is_refused_by_name(ranges, counts, argument):
    with pytest.raises(InputError) as refused:
        crack_growth.counts_between(
            [2.0], [8.0], ranges_mpa=ranges, counts=counts, law=crack_growth.law(), wall_mm=12.0, attachment_mm=30.0
        )
    assert refused.value.argument == argument
