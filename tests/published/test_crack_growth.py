"""Growth laws and lives against published constants and closed forms."""

from __future__ import annotations

import pytest

from engineering import crack_growth

pytestmark = pytest.mark.published


@pytest.mark.parametrize(
    ("a", "m", "factor", "stress", "start", "end", "expected"),
    [
        (5.21e-13, 3, 1.00, 100, 1, 10, 471_388.44),
        (5.21e-13, 3, 1.12, 80, 2, 20, 463_382.79),
        (3.00e-13, 3, 1.00, 100, 1, 10, 818_644.58),
        (5.21e-13, 3, 1.00, 50, 5, 25, 1_363_420.44),
        (1.00e-10, 2, 1.00, 100, 1, 10, 732_935.60),
    ],
)
def test_closed_form_of_paris_and_erdogan(a, m, factor, stress, start, end, expected):
    """Paris and Erdogan 1963 integrated with constant Y, for m other than 2 and m = 2 (values computed apart)."""
    found = crack_growth.paris_cycles(start, end, range_mpa=stress, a=a, m=m, factor=factor)
    assert round(float(found), 2) == expected


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("steel-air-r-low-mean", 363),
        ("steel-air-r-low-upper", 315),
        ("steel-air-r-high-mean", 196),
        ("steel-air-r-high-upper", 144),
        ("steel-marine-r-low-mean", 1336),
        ("steel-marine-r-low-upper", 993),
        ("steel-marine-r-high-mean", 1098),
        ("steel-marine-r-high-upper", 748),
    ],
)
def test_stages_cross_where_bs_7910_prints_the_transition(name, printed):
    """BS 7910:2013 clause 8.2 prints the range of K between the stages (from memory), N/mm^1.5."""
    (transition,) = crack_growth.law(name).transitions
    assert round(transition) == printed


@pytest.mark.parametrize(
    ("name", "rate"),
    [("steel-air-simplified", 1.65e-8), ("steel-marine-simplified", 7.27e-8), ("aluminium-air", 4.46e-7)],
)
def test_constants_in_mpa_sqrt_m(name, rate):
    """IIW XIII-2460 prints the steel law as 1.65e-11 m per cycle in MPa√m; the others converted apart."""
    assert float(crack_growth.law(name).rate(1000**0.5)) == pytest.approx(rate, rel=2e-3)


@pytest.mark.parametrize(
    ("name", "stages"),
    [
        ("steel-air-r-high-mean", ((4.80e-18, 5.10), (5.86e-13, 2.88))),
        ("steel-marine-r-high-mean", ((5.37e-14, 3.42), (5.67e-7, 1.11))),
    ],
)
def test_mean_laws_are_those_printed_in_the_jcss_probabilistic_model_code(name, stages):
    """JCSS Probabilistic Model Code part 3, fatigue models for metallic structures."""
    assert crack_growth.law(name).stages == stages


def test_threshold_as_welded():
    """BS 7910 and IIW: 63 N/mm^1.5, about 2 MPa√m, for as-welded joints whatever R."""
    assert {crack_growth.law(name).threshold for name in ("steel-air-as-welded", "steel-air-simplified")} == {63.0}
