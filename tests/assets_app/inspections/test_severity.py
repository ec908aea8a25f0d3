"""The severity table: what DATES asks, and that more is never milder."""

import math
import tomllib
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assets_app.inspections import bolt_loads, kinds, rules
from assets_app.inspections.models import SEVERITY_ORDER, Severity
from engineering import bolt_group, bolt_patterns
from engineering.errors import InputError

CRACKS = sorted(code for code, kind in kinds.KINDS.items() if kind.is_crack)
IMPERFECTIONS = sorted(code for code, kind in kinds.KINDS.items() if kind.is_weld_kind and not kind.is_crack)
RATIO = st.one_of(st.none(), st.floats(1.0, 50), st.just(math.inf))
SHARE = st.one_of(st.none(), st.floats(0, 3))


def rank(kind, **facts) -> int:
    facts.setdefault("is_crack", kinds.KINDS[kind].is_crack)
    return SEVERITY_ORDER[rules.severity(kind, **facts)[0]]


@given(st.sampled_from(CRACKS), SHARE, st.sampled_from([None, True, False]))
def test_any_crack_on_a_single_load_path_is_a_hold_whatever_else_is_known(kind, used, accepted):
    answer, reason = rules.severity(
        kind, is_crack=True, single_load_path=True, window_used=used, accepted=accepted, excess_ratio=1.0
    )
    assert answer == "hold now"
    assert "single load path" in reason


@given(st.sampled_from(CRACKS), SHARE)
def test_any_other_crack_is_at_least_repair_before_use(kind, used):
    assert rank(kind, single_load_path=False, window_used=used) >= SEVERITY_ORDER["repair before use"]


def test_a_crack_that_has_used_half_its_window_is_a_hold_even_with_a_second_load_path():
    assert rules.severity("101", is_crack=True, single_load_path=False, window_used=0.5)[0] == "hold now"
    assert rules.severity("101", is_crack=True, single_load_path=False, window_used=0.49)[0] == "repair before use"


def test_an_unknown_window_is_said_to_be_unknown():
    assert "not known" in rules.severity("101", is_crack=True, single_load_path=False)[1]


@given(st.sampled_from(IMPERFECTIONS), st.booleans())
def test_what_cannot_be_judged_is_never_milder_than_plan_repair(kind, single):
    assert rank(kind, single_load_path=single, accepted=None) >= SEVERITY_ORDER["plan repair"]


@given(st.sampled_from(IMPERFECTIONS), st.booleans(), RATIO)
def test_what_is_beyond_the_limit_is_never_a_mere_record(kind, single, ratio):
    assert rank(kind, single_load_path=single, accepted=False, excess_ratio=ratio) >= SEVERITY_ORDER["watch"]


@given(st.sampled_from(IMPERFECTIONS), st.floats(1, 50), st.floats(1, 50), st.booleans())
def test_a_larger_excess_is_never_milder(kind, one, other, single):
    small, large = sorted((one, other))
    facts = {"single_load_path": single, "accepted": False}
    assert rank(kind, excess_ratio=small, **facts) <= rank(kind, excess_ratio=large, **facts)
    assert rank(kind, excess_ratio=large, **facts) <= rank(kind, excess_ratio=None, **facts)


@given(
    st.sampled_from(sorted(kinds.KINDS)),
    st.sampled_from([None, True, False]),
    RATIO,
    SHARE,
    st.integers(1, 30),
    st.one_of(st.none(), st.floats(1, 9), st.just(math.inf)),
    st.one_of(st.none(), st.floats(0, 20)),
)
def test_a_single_load_path_is_never_milder(kind, accepted, ratio, used, lost, rise, gap):
    facts = {
        "accepted": accepted,
        "excess_ratio": ratio,
        "window_used": used,
        "bolts_lost": lost,
        "bolt_count": 30,
        "bolt_rise": rise,
        "gap_mm": gap,
    }
    assert rank(kind, single_load_path=False, **facts) <= rank(kind, single_load_path=True, **facts)


@given(st.sampled_from(CRACKS), st.floats(0, 2), st.floats(0, 2), st.booleans())
def test_a_window_further_used_is_never_milder(kind, one, other, single):
    less, more = sorted((one, other))
    facts = {"single_load_path": single}
    assert rank(kind, window_used=less, **facts) <= rank(kind, window_used=more, **facts)


@settings(deadline=None, max_examples=60)
@given(st.integers(4, 24), st.data(), st.sampled_from(kinds.LOST), st.booleans(), st.booleans())
def test_another_bolt_lost_is_never_milder(count, data, kind, single, drawn):
    lost = data.draw(st.lists(st.integers(1, count), min_size=1, max_size=min(5, count - 1), unique=True))
    more = [*lost, data.draw(st.sampled_from([n for n in range(1, count + 1) if n not in lost]))]
    facts = bolt_loads.GroupFacts(bolt_count=count, pattern="ring" if drawn else "", ring_diameter_mm=300)

    def after(numbers):
        return rank(
            kind,
            single_load_path=single,
            bolts_lost=len(numbers),
            bolt_count=count,
            bolt_rise=bolt_loads.rise(facts, numbers),
        )

    assert after(lost) <= after(more)


def test_a_group_turned_even_by_a_second_loss_gets_no_credit():
    facts = bolt_loads.GroupFacts(bolt_count=6, pattern="ring", ring_diameter_mm=300)
    assert bolt_loads.rise(facts, [1, 4]) >= bolt_loads.rise(facts, [1])


def test_the_rise_is_that_of_the_bolt_group_under_the_worst_unit_load():
    facts = bolt_loads.GroupFacts(bolt_count=12, pattern="ring", ring_diameter_mm=400)
    group = bolt_patterns.ring(12, 400).with_lost(0)
    overturning = bolt_group.overturning_any_direction(group, 0, 1).rise
    assert bolt_loads.rise(facts, [1]) >= overturning > 1


def test_bolts_on_one_line_are_judged_by_what_a_line_can_carry():
    facts = bolt_loads.GroupFacts(bolt_count=4, pattern="grid", rows=1, column_pitch_mm=60)
    rise = bolt_loads.rise(facts, [1])
    assert math.isfinite(rise)
    assert rise > 4 / 3


def test_bolts_that_leave_a_mechanism_are_a_hold():
    facts = bolt_loads.GroupFacts(bolt_count=4, pattern="grid", rows=2, row_pitch_mm=60, column_pitch_mm=60)
    rise = bolt_loads.rise(facts, [1, 2])
    assert math.isinf(rise)
    answer, reason = rules.severity(
        "missing", is_crack=False, single_load_path=False, bolts_lost=2, bolt_count=4, bolt_rise=rise
    )
    assert answer == "hold now"
    assert "cannot carry" in reason


def test_one_bolt_of_twelve_missing_on_a_single_path_stops_use():
    facts = bolt_loads.GroupFacts(bolt_count=12, pattern="ring", ring_diameter_mm=400)
    answer, reason = rules.severity(
        "missing",
        is_crack=False,
        single_load_path=True,
        bolts_lost=1,
        bolt_count=12,
        bolt_rise=bolt_loads.rise(facts, [1]),
    )
    assert answer == "hold now"
    assert "1.30 times" in reason


def test_without_their_places_bolts_are_counted_and_the_reason_says_no_source():
    answer, reason = rules.severity("missing", is_crack=False, single_load_path=True, bolts_lost=3, bolt_count=12)
    assert answer == "hold now"
    assert "where they stand is not known" in reason
    assert "no source" in reason


def test_a_group_without_a_count_takes_the_gravest_row():
    assert rank("loose", single_load_path=False, bolts_lost=1) == SEVERITY_ORDER["hold now"]


def test_a_broken_bolt_is_graver_than_a_missing_one_in_a_forgiving_group():
    facts = {"single_load_path": False, "bolts_lost": 1, "bolt_count": 60, "bolt_rise": 1.02}
    assert rank("missing", **facts) < rank("broken", **facts)


@given(st.floats(0, 20), st.floats(0, 20), st.booleans())
def test_a_wider_gap_is_never_milder_and_an_unmeasured_one_is_the_worst(one, other, single):
    small, large = sorted((one, other))
    facts = {"single_load_path": single}
    assert rank("gap", gap_mm=small, **facts) <= rank("gap", gap_mm=large, **facts) <= rank("gap", **facts)


def test_nonsense_is_refused_and_not_clamped():
    with pytest.raises(InputError) as unknown:
        rules.severity("squeak", is_crack=False, single_load_path=True)
    assert unknown.value.code == "unknown_row"
    with pytest.raises(InputError) as nan:
        rules.severity("101", is_crack=True, single_load_path=False, window_used=math.nan)
    assert nan.value.code == "not_a_number"
    with pytest.raises(InputError):
        rules.severity("missing", is_crack=False, single_load_path=True, bolts_lost=0)


def test_no_row_of_the_table_is_milder_than_the_one_before_it_nor_the_single_path_milder():
    table = rules.shipped_table()
    by_measure: dict = {}
    for row in table.rows.values():
        by_measure.setdefault(row["measure"], []).append(row)
    assert len(by_measure) == 11
    for rows in by_measure.values():
        for row in rows:
            assert SEVERITY_ORDER[row["single"]] >= SEVERITY_ORDER[row["multiple"]]
        for before, after in pairwise(rows):
            assert before["from"] < after["from"]
            for column in ("multiple", "single"):
                assert SEVERITY_ORDER[before[column]] <= SEVERITY_ORDER[after[column]]


def test_a_slip_in_the_table_shows():
    path = Path(rules.__file__).with_name("severity.toml")
    data = tomllib.loads(path.read_text().replace('from = 1.25, multiple = "plan', 'from = 12.5, multiple = "plan'))
    from engineering import tables

    with pytest.raises(InputError):
        tables.build("severity", data)


def test_an_office_may_bring_its_own_table():
    from engineering import tables

    path = Path(rules.__file__).with_name("severity.toml")
    data = tomllib.loads(path.read_text())
    for row in data["rows"]:
        row["multiple"] = row["single"] = Severity.HOLD_NOW.value
    strict = tables.build("severity", data)
    facts = {"is_crack": False, "single_load_path": False, "accepted": None}
    assert rules.severity("5011", **facts)[0] == "plan repair"
    assert rules.severity("5011", table=strict, **facts)[0] == "hold now"
