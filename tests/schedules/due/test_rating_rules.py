"""Ratings on plain facts: what a missing figure does, many at once equal one by one, which way things move."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engineering import sn_curves
from engineering.tables import load
from schedules.due.fact_rules import Facts
from schedules.due.rating_rules import rate, worse_conditions

WELD = Facts(
    programme_id=1, joint_id=1, kind="weld", method="MT", conditions="good", access="easy", single_path=True,
    consequence="high", bins=[[60.0, 1.0], [30.0, 4.0]], peak_mpa=90.0, spectrum_status="calculated", category_mpa=71.0,
    wall_mm=12.0, attachment_mm=30.0, steel_grade="S355J2",
)  # fmt: skip
BOLTS = Facts(
    programme_id=2, joint_id=2, kind="bolted", method="BC", conditions="normal", access="easy", single_path=False,
    consequence="low", bins=[[40.0, 1.0]], detail="bolt-tension", bolt_diameter_mm=36.0,
)  # fmt: skip


def one(fact: Facts):
    return rate([fact])[0]


def test_damage_by_one_count_is_the_miner_sum_of_the_strength_line():
    """EN 1993-1-9:2005: category 71, safe life, high consequence (1.35): 1/N(60) + 4/N(30)."""
    expected = sum(n / sn_curves.cycles_to_failure(s, 71.0, gamma_mf=1.35) for s, n in WELD.bins)
    assert one(WELD).damage_per_count == pytest.approx(float(expected), rel=1e-12)


def test_a_thick_bolt_counts_with_its_size_factor():
    """EN 1993-1-9:2005 Table 8.1: ks = (30/36)^0.25 = 0.9554."""
    assert one(BOLTS).inputs["size_factor"] == pytest.approx(0.9554, abs=5e-5)


def test_bolts_have_no_growth_window_and_that_is_not_a_figure_missing():
    rated = one(BOLTS)
    assert (rated.window_count, rated.unprotected, rated.missing) == (None, False, ())


@pytest.mark.parametrize(
    ("figure", "value", "limits", "named"),
    [
        ("bins", (), {"damage", "growth window"}, "stress spectrum"),
        ("category_mpa", None, {"damage"}, "detail category"),
        ("category_mpa", 180.0, {"damage"}, "detail category"),
        ("detail", "no-such-detail", {"damage"}, "detail 'no-such-detail'"),
        ("detail", "fillet-throat-shear", {"damage"}, "spectrum of shear stress"),
        ("wall_mm", None, {"growth window"}, "wall thickness"),
        ("peak_mpa", None, {"growth window"}, "greatest tension"),
        ("steel_grade", "", {"growth window"}, "steel grade"),
        ("steel_grade", "mystery", {"growth window"}, "steel grade"),
        ("access", "", {"growth window"}, "access"),
        ("method", "RT", {"growth window"}, None),
        ("growth_law", "no-such-law", {"growth window"}, None),
    ],
)
def test_a_missing_figure_is_named_and_only_its_limit_goes_unrated(figure, value, limits, named):
    rated = one(replace(WELD, **{figure: value}))
    assert {item.limit for item in rated.missing} == limits
    assert (rated.damage_per_count is None) == ("damage" in limits)
    assert (rated.window_count is None) == ("growth window" in limits)
    if named:
        assert named in {item.figure for item in rated.missing}
    assert all(item.to_do for item in rated.missing)


@pytest.mark.parametrize(
    ("figure", "value", "said"),
    [
        ("wall_mm", -3.0, "wall thickness"),
        ("wall_mm", 1e300, "wall thickness"),
        ("peak_mpa", float("nan"), "greatest tension"),
        ("category_mpa", "71", "detail category"),
        ("bins", 5, "stress spectrum"),
        ("bins", [60.0, 1.0], "stress spectrum"),
        ("bins", [[60.0, 1e300]], "stress spectrum"),
        ("bins", [[float("nan"), 1.0]], "stress spectrum"),
        ("bins", [["60 MPa", 1.0]], "stress spectrum"),
        ("stress_kind", "torsion", "kind of stress"),
        ("looks_single", 0, "looks in a growth window"),
        ("share_single", float("nan"), "share of the life"),
        ("attachment_mm", [30.0, 40.0], None),
        ("tables", {"partial_factors": None}, "table partial_factors"),
        ("method", ["MT"], "rating"),
    ],
)
def test_a_figure_that_cannot_be_right_stops_nobody_and_asks_for_a_look_now(figure, value, said):
    good, odd, other = rate([WELD, replace(WELD, programme_id=3, **{figure: value}), replace(WELD, programme_id=4)])
    assert good == one(WELD)
    assert other.window_count == pytest.approx(good.window_count)
    assert odd.impossible == bool(said)  # an attachment has a worst case
    assert not said or any(said in item.figure for item in odd.missing)
    json.dumps([odd.inputs, odd.damage_share, odd.looks], allow_nan=False)  # it can be kept
    assert 0 < odd.damage_share <= 1 <= odd.looks


@pytest.mark.parametrize("share", [-0.1, 1.5, float("nan")])
def test_a_bending_share_that_cannot_be_counts_as_none_and_stops_nobody(share):
    good, mended = rate([WELD, replace(WELD, programme_id=3, bending_share=share)])
    assert good.window_count == pytest.approx(one(WELD).window_count)
    assert mended.window_count == pytest.approx(one(replace(WELD, bending_share=0.0)).window_count)


@pytest.mark.parametrize(
    ("figure", "value"),
    [
        ("bins", [["60 MPa", 1.0]]),
        ("bins", [[1e200, 1.0]]),
        ("bins", [[60.0, None]]),
        ("stress_kind", "torsion"),
    ],
)
def test_a_spectrum_that_cannot_be_is_named_as_missing_and_stops_nobody(figure, value):
    good, odd = rate([WELD, replace(WELD, programme_id=3, **{figure: value})])
    assert good.window_count == pytest.approx(one(WELD).window_count)
    assert odd.damage_per_count is None
    assert odd.window_count is None
    assert "stress spectrum" in {each.figure for each in odd.missing}


def test_an_unknown_consequence_is_taken_as_high_and_said():
    low, unknown = rate([replace(WELD, consequence="low"), replace(WELD, consequence="")])
    assert unknown.damage_per_count == pytest.approx(one(WELD).damage_per_count)
    assert unknown.damage_per_count > low.damage_per_count
    assert unknown.inputs["consequence"] == "high"


def test_an_office_table_without_the_row_leaves_the_joint_unrated_and_stops_nobody():
    table = load("partial_factors")
    short = replace(table, rows={name: row for name, row in table.rows.items() if not name.endswith("high")})
    good, odd = rate([WELD, replace(WELD, programme_id=3, tables={"partial_factors": short})])
    assert good.damage_per_count is not None
    assert odd.damage_per_count is None
    assert "partial factor" in {each.figure for each in odd.missing}


def test_an_unknown_attachment_is_taken_as_the_worst():
    assert one(replace(WELD, attachment_mm=None)).window_count <= one(WELD).window_count


def test_an_unknown_subgrade_is_taken_as_the_lowest():
    assert one(replace(WELD, steel_grade="S355")).critical_mm <= one(WELD).critical_mm


def test_the_worse_of_two_conditions_counts():
    assert worse_conditions("good", "poor") == "poor"
    assert worse_conditions("normal", "") == "normal"


facts = st.builds(
    replace,
    st.just(WELD),
    bins=st.lists(st.tuples(st.floats(5.0, 150.0), st.floats(0.5, 50.0)).map(list), min_size=1, max_size=4),
    peak_mpa=st.floats(20.0, 200.0),
    wall_mm=st.floats(4.0, 40.0),
    method=st.sampled_from(["MT", "VT", "ET", "UT"]),
    single_path=st.booleans(),
)


@settings(max_examples=25)
@given(st.lists(facts, min_size=2, max_size=8))
def test_many_at_once_equal_one_by_one(many):
    together = rate(many)
    for fact, rated in zip(many, together, strict=True):
        alone = one(fact)
        assert rated.damage_per_count == pytest.approx(alone.damage_per_count, rel=1e-9)
        assert rated.unprotected == alone.unprotected
        if alone.window_count is not None:
            assert rated.window_count == pytest.approx(alone.window_count, rel=1e-6)


@settings(max_examples=25)
@given(facts, st.floats(1.0, 2.0))
def test_more_stress_never_lengthens_life_or_window(fact, harder):
    more = replace(fact, bins=[[s * harder, n] for s, n in fact.bins])
    a, b = one(fact), one(more)
    assert b.damage_per_count >= a.damage_per_count
    if a.window_count is not None and b.window_count is not None:
        assert b.window_count <= a.window_count * (1 + 1e-9)


@settings(max_examples=25)
@given(facts)
def test_a_method_that_finds_less_never_shortens_the_window(fact):
    fine, coarse = (
        one(replace(fact, method="MT", conditions="good")),
        one(replace(fact, method="MT", conditions="normal")),
    )
    if coarse.window_count is not None:
        assert fine.window_count >= coarse.window_count
