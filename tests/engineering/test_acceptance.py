"""Acceptance: what is unknown stays unknown, and nothing missing makes a finding acceptable."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engineering import tables
from engineering.acceptance import CODES, EDITIONS, KINDS, LEVELS, judge, level_for
from engineering.errors import InputError

FULL = {
    "length_mm": 10.0, "weld_length_mm": 400.0, "wall_mm": 8.0, "throat_mm": 5.0, "leg_mm": 7.0, "width_mm": 10.0,
    "joint": "fillet", "transverse": True, "pore_sum_25_mm": 3.0, "pore_sum_300_mm": 6.0, "pores_per_100_mm": 1.0,
    "angle_deg": 95.0,
}  # fmt: skip
RULES = st.one_of(
    st.sampled_from([{"code": code} for code in CODES]),
    st.sampled_from([{"level": level, "edition": edition} for level in LEVELS for edition in EDITIONS]),
)


def test_every_crack_is_refused_by_every_rule_even_when_nothing_else_is_known():
    for kind in KINDS.values():
        if kind.is_crack:
            for level in LEVELS:
                assert judge(kind.number, level=level).accepted is False
                assert judge(kind.number, level=level, wall_mm=0.2).accepted is False
            for code in CODES:
                assert judge(kind.number, code=code).accepted is False


@given(
    kind=st.sampled_from(sorted(KINDS)), rule=RULES, size=st.floats(0, 12), known=st.sets(st.sampled_from(sorted(FULL)))
)
def test_a_fact_withheld_may_leave_a_finding_unjudged_but_never_turns_the_answer(kind, rule, size, known):
    partly = judge(kind, size_mm=size, **rule, **{name: FULL[name] for name in known})
    fully = judge(kind, size_mm=size, **rule, **FULL)
    if partly.accepted is not None:
        assert partly.accepted == fully.accepted


@given(kind=st.sampled_from(sorted(KINDS)), rule=RULES, size=st.floats(0.01, 12), more=st.floats(0, 5))
def test_a_larger_imperfection_is_never_accepted_where_a_smaller_one_is_not(kind, rule, size, more):
    facts = {**FULL, "joint": "butt", "transverse": False}
    if judge(kind, size_mm=size, **rule, **facts).accepted is False:
        assert judge(kind, size_mm=size + more, **rule, **facts).accepted is False


@given(kind=st.sampled_from(sorted(KINDS)), edition=st.sampled_from(EDITIONS), size=st.floats(0.01, 12),
       wall=st.floats(0.5, 60), joint=st.sampled_from(["butt", "fillet"]))  # fmt: skip
def test_a_stricter_level_never_accepts_what_a_milder_one_refuses(kind, edition, size, wall, joint):
    facts = {**FULL, "wall_mm": wall, "joint": joint, "throat_mm": 0.6 * wall, "edition": edition, "size_mm": size}
    strict, middle, mild = (judge(kind, level=level, **facts).accepted for level in LEVELS)
    for stricter, milder in ((strict, middle), (middle, mild)):
        if milder is False:
            assert stricter is False


@pytest.mark.parametrize(
    ("kind", "facts", "missing"),
    [
        (5011, {"size_mm": 0.4}, "wall_mm"),
        (5011, {"wall_mm": 8}, "size_mm"),
        (502, {"size_mm": 3}, "width_mm"),
        (2017, {"size_mm": 1, "wall_mm": 8}, "throat_mm"),
        (5213, {"size_mm": 0.5, "wall_mm": 8, "throat_mm": 5}, "length_mm"),
        (5213, {"size_mm": 0.5, "wall_mm": 8, "throat_mm": 5, "length_mm": 20}, "weld_length_mm"),
        (505, {"wall_mm": 8, "joint": "butt"}, "angle_deg"),
        (602, {"wall_mm": 8}, "judgement"),
    ],
)
def test_an_unjudged_finding_says_what_is_missing(kind, facts, missing):
    judged = judge(kind, level="C", **facts)
    assert judged.accepted is None
    assert missing in judged.missing
    assert "cannot be judged" in judged.reason


@pytest.mark.parametrize("kind", [2011, 301, 508])
def test_what_no_table_covers_is_not_accepted(kind):
    judged = judge(kind, level="D", size_mm=0.1, wall_mm=20)
    assert judged.accepted is None
    assert "not covered" in judged.reason


def test_a_wall_thinner_than_the_standard_reaches_is_not_covered():
    for wall in (0.2, 0.4, 0.49):
        assert judge(5011, level="D", size_mm=0.01, wall_mm=wall, length_mm=1, weld_length_mm=99).accepted is None
    assert judge(5011, level="D", size_mm=0.01, wall_mm=0.5, length_mm=1, weld_length_mm=99).accepted is True


def test_the_thin_branch_ends_at_3_mm():
    assert judge(5011, level="B", size_mm=0.1, wall_mm=3.0).accepted is False
    assert judge(5011, level="B", size_mm=0.1, wall_mm=3.01).accepted is True


def test_undercut_beyond_every_possible_limit_is_refused_without_the_wall():
    assert judge(502, level="B", size_mm=5.1).accepted is False
    assert judge(502, level="B", size_mm=0.9).accepted is True


def test_a_quarter_of_a_short_weld_is_the_most_a_short_imperfection_may_take():
    facts = {"level": "C", "size_mm": 0.5, "wall_mm": 8, "throat_mm": 5, "weld_length_mm": 40}
    assert judge(5213, length_mm=10, **facts).accepted is True
    long = judge(5213, length_mm=11, **facts)
    assert (long.accepted, long.limit_mm, long.excess_mm) == (False, 0.0, 0.5)


@pytest.mark.parametrize(("length", "accepted"), [(25, True), (25.1, False), (34, False)])
def test_a_short_imperfection_ends_at_25_mm_on_a_long_weld(length, accepted):
    facts = {"level": "C", "size_mm": 0.5, "wall_mm": 8, "throat_mm": 5, "weld_length_mm": 500}
    assert judge(5213, length_mm=length, **facts).accepted is accepted


def test_more_than_25_mm_is_never_short_whatever_the_weld():
    facts = {"level": "C", "size_mm": 0.5, "wall_mm": 8, "throat_mm": 5}
    assert judge(5213, length_mm=25.1, **facts).accepted is False
    assert judge(5213, length_mm=25, **facts).accepted is None


def test_the_edition_is_named_and_matters():
    facts = {"level": "C", "size_mm": 3.0, "wall_mm": 8, "width_mm": 4}
    older, newer = (judge(504, edition=edition, **facts) for edition in EDITIONS)
    assert (older.accepted, newer.accepted) == (True, False)
    assert "2014" in older.clause
    assert "2023" in newer.clause


def test_an_office_may_bring_its_own_limits():
    own = tables.build("own", {"title": "Site rule", "source": "Larkmoor Pier", "edition": "3",
                               "status": "common practice",
                               "rows": [{"id": "u", "numbers": ["5011"], "level": "C", "editions": ["2014"],
                                         "rule": "limit", "constant_mm": 0.2, "clause": "4"}]})  # fmt: skip
    judged = judge(5011, level="C", size_mm=0.3, table=own)
    assert (judged.accepted, judged.limit_mm, judged.source) == (False, 0.2, "Larkmoor Pier")
    assert judged.status == "common practice"


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"kind": 999, "level": "B"}, "kind"),
        ({"kind": True, "level": "B"}, "kind"),
        ({"kind": 100}, "level"),
        ({"kind": 100, "level": "B", "code": "AWS static"}, "level"),
        ({"kind": 100, "level": "E"}, "level"),
        ({"kind": 100, "code": "AWS"}, "code"),
        ({"kind": 100, "level": "B", "edition": "2003"}, "edition"),
        ({"kind": 5011, "level": "B", "size_mm": -1}, "size_mm"),
        ({"kind": 5011, "level": "B", "size_mm": math.nan}, "size_mm"),
        ({"kind": 5011, "level": "B", "wall_mm": -8}, "wall_mm"),
        ({"kind": 5213, "level": "B", "throat_mm": 0}, "throat_mm"),
        ({"kind": 2017, "level": "B", "joint": "lap"}, "joint"),
    ],
)
def test_bad_input_names_the_argument(arguments, name):
    with pytest.raises(InputError) as caught:
        judge(arguments.pop("kind"), **arguments)
    assert caught.value.argument == name


def test_an_unknown_execution_class_is_refused():
    with pytest.raises(InputError) as caught:
        level_for("EXC5", 100)
    assert caught.value.code == "unknown_row"


def test_the_columns_that_make_a_limit_are_as_copied():
    rows = tables.load("iso5817").rows.values()
    assert len(rows) == 121
    assert sum(row.get("factor", 0) for row in rows) == pytest.approx(14.10)
    assert sum(row.get("constant_mm", 0) for row in rows) == pytest.approx(25.5)
