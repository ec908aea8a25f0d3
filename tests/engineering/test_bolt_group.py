"""Bolt groups: balance, what losing a bolt does, and the words used when nothing can be carried."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from engineering.bolt_group import (
    Group,
    Verdict,
    overturning,
    overturning_any_direction,
    separation_utilisation,
    shear_and_moment,
    slip_utilisation,
)
from engineering.bolt_patterns import grid, ring
from engineering.errors import InputError

LOADS = st.floats(-1e6, 1e6)
MOMENTS = st.floats(-1e9, 1e9)


@st.composite
def groups(draw):
    """Three to ten bolts anywhere on a 10 mm raster, some of them lost."""
    cells = st.tuples(st.integers(-30, 30), st.integers(-30, 30))
    points = draw(st.lists(cells, min_size=3, max_size=10, unique=True))
    states = draw(
        st.lists(
            st.sampled_from(["ok", "ok", "ok", "missing", "broken", "slack", "unknown"]),
            min_size=len(points),
            max_size=len(points),
        )
    )
    return Group(10.0 * np.array(points), states)


@given(group=groups(), fx=LOADS, fy=LOADS, moment=MOMENTS)
def test_shears_balance_the_load_whatever_is_lost(group, fx, fy, moment):
    loads = shear_and_moment(group, fx, fy, moment)
    assume(loads.can_carry)
    x, y = group.positions_mm.T
    shear = loads.components_n
    size = abs(fx) + abs(fy) + abs(moment) / 10 + 1
    assert shear.sum(axis=0) == pytest.approx([fx, fy], abs=1e-8 * size)
    assert (x * shear[:, 1] - y * shear[:, 0]).sum() == pytest.approx(moment, abs=1e-5 * size)
    assert np.all(loads.loads_n[~group.carrying] == 0)


@given(group=groups(), axial=LOADS, mx=MOMENTS, my=MOMENTS)
def test_pulls_balance_the_load_whatever_is_lost(group, axial, mx, my):
    loads = overturning(group, axial, mx, my)
    assume(loads.can_carry)
    x, y = group.positions_mm.T
    pull = loads.loads_n
    size = abs(axial) + (abs(mx) + abs(my)) / 10 + np.abs(pull).sum() + 1
    assert pull.sum() == pytest.approx(axial, abs=1e-7 * size)
    assert (pull * y).sum() == pytest.approx(mx, abs=1e-5 * size)
    assert (pull * x).sum() == pytest.approx(my, abs=1e-5 * size)


@given(group=groups(), fx=LOADS, fy=LOADS, moment=MOMENTS, axial=LOADS, mx=MOMENTS, my=MOMENTS)
def test_a_bolt_lost_never_stiffens_its_group(group, fx, fy, moment, axial, mx, my):
    """Work done by a load on like springs is the sum of squares; one bolt fewer never lowers it (least work)."""
    there = np.flatnonzero(group.carrying)
    assume(len(there) > 0)
    fewer = group.with_lost(int(there[0]))
    for before, after in (
        (shear_and_moment(group, fx, fy, moment), shear_and_moment(fewer, fx, fy, moment)),
        (overturning(group, axial, mx, my), overturning(fewer, axial, mx, my)),
    ):
        if after.can_carry:
            assert before.can_carry
            assert (after.loads_n**2).sum() >= (before.loads_n**2).sum() * (1 - 1e-9)
        else:
            assert math.isinf(after.worst_n)


@given(group=groups(), fx=LOADS, fy=LOADS, moment=MOMENTS)
def test_a_loss_earns_no_credit(group, fx, fy, moment):
    loads = shear_and_moment(group, fx, fy, moment)
    assert loads.rise >= 1
    assert 0 <= loads.life_share <= 1
    assert loads.worst_n >= loads.loads_n.max() - 1e-9 or not loads.can_carry


@given(count=st.integers(4, 40), lost=st.sets(st.integers(0, 39), max_size=6), start=st.floats(0, 360))
def test_no_loss_from_a_ring_lowers_its_worst_pull_under_a_turning_moment(count, lost, start):
    """Σ(a² + b²) = tr I⁻¹ ≥ 4/(n' r²) for the n' bolts that remain, so their worst is at least 2M/(n' r)."""
    whole = ring(count, 800, start)
    after = overturning_any_direction(whole.with_lost(*(i for i in lost if i < count)), 0, 1e8)
    assert after.worst_n >= overturning_any_direction(whole, 0, 1e8).worst_n * (1 - 1e-9)
    assert after.worst_n >= 4 * 1e8 / (count * 800) * (1 - 1e-9)


def test_one_more_bolt_lost_may_lower_the_worst_a_little_on_a_ring_already_broken():
    """Why the never-falling measure is the work done and not the worst bolt: 2 then 3 lost of a ring of 24."""
    found = False
    whole = ring(24, 800)
    for second in range(1, 24):
        for third in range(second + 1, 24):
            two = overturning_any_direction(whole.with_lost(0, second), 0, 1e8)
            three = overturning_any_direction(whole.with_lost(0, second, third), 0, 1e8)
            assert three.rise >= 1
            found = found or three.worst_n < two.worst_n
    assert found


def test_losing_the_far_bolts_may_lower_the_worst_load_but_is_given_no_credit():
    """Two far bolts attract the moment; without them a near ring of twelve shares it more evenly."""
    near = ring(12, 100).positions_mm
    group = Group(np.vstack([near, [[200, 0], [-200, 0]]]))
    whole = shear_and_moment(group, 0, 0, 1e6)
    without = shear_and_moment(group.with_lost(12, 13), 0, 0, 1e6)
    assert without.worst_n < whole.worst_n
    assert without.rise == 1.0


def test_a_slack_far_bolt_counts_in_whichever_way_is_worse():
    near = ring(12, 100).positions_mm
    far = Group(np.vstack([near, [[200, 0], [-200, 0]]]))
    loads = shear_and_moment(far.with_lost(12, 13, state="slack"), 0, 0, 1e6)
    assert loads.loads_n[12:].tolist() == [0, 0]
    assert loads.worst_n == pytest.approx(shear_and_moment(far, 0, 0, 1e6).worst_n)


@pytest.mark.parametrize("state", ["missing", "broken", "slack", "unknown"])
def test_every_way_of_being_lost_loads_the_others_alike(state):
    loads = overturning(ring(12, 400).with_lost(3, state=state), 0, 100e6, 0)
    assert loads.loads_n[3] == 0
    assert loads.worst_n == pytest.approx(97_465.6, abs=0.05)
    assert loads.rise == pytest.approx(97.4656 / 83.3333, rel=1e-5)
    assert loads.life_share == pytest.approx((83.3333 / 97.4656) ** 3, rel=1e-5)


@pytest.mark.parametrize(
    ("lost", "verdict"),
    [((0, 1, 2, 3), Verdict.NO_BOLT), ((0, 1, 2), Verdict.ON_A_LINE), ((0, 1), Verdict.ON_A_LINE)],
)
def test_too_few_bolts_against_overturning_is_said_in_words(lost, verdict):
    loads = overturning(grid(2, 2, 100, 100).with_lost(*lost), 10.0, 1e3, 0)
    assert loads.verdict is verdict
    assert not loads.can_carry
    assert math.isinf(loads.worst_n)
    assert math.isinf(loads.rise)
    assert math.isinf(loads.utilisation)
    assert loads.life_share == 0
    assert np.all(np.isinf(loads.loads_n[[i for i in range(4) if i not in lost]]))


@pytest.mark.parametrize(("lost", "verdict"), [((0, 1, 2, 3), Verdict.NO_BOLT), ((0, 1, 2), Verdict.TURNS)])
def test_too_few_bolts_in_shear_is_said_in_words(lost, verdict):
    loads = shear_and_moment(grid(2, 2, 100, 100).with_lost(*lost), 10.0, 0, 0)
    assert loads.verdict is verdict
    assert math.isinf(loads.worst_n)
    assert slip_utilisation(loads, preload_n=1e5, friction=0.3) == math.inf


def test_a_joint_made_with_one_bolt_carries_what_passes_through_it():
    pin = Group([[30.0, 0.0]])
    assert shear_and_moment(pin, 0, 1000, 30_000).loads_n.tolist() == [1000]
    assert shear_and_moment(pin, 0, 1000, 0).verdict is Verdict.TURNS


def test_a_bolt_that_only_pushed_and_now_pulls_has_an_infinite_rise():
    group = grid(2, 2, 100, 100)
    pressed = overturning(group, -400e3, 0, 0)
    assert (pressed.worst_n, pressed.rise, pressed.life_share) == (0.0, 1.0, 1.0)
    intact = overturning(ring(8, 200), -400e3, 0, 9.0e6)
    tilted = overturning(ring(8, 200).with_lost(3, 4, 5), -400e3, 0, 9.0e6)
    assert intact.worst_n == 0
    assert tilted.worst_n > 0
    assert (tilted.rise, tilted.life_share) == (math.inf, 0.0)


@given(factor=st.floats(0.01, 100), scale=st.floats(0.01, 100))
def test_loads_scale_with_the_load_and_with_size(factor, scale):
    """Twice the moment on twice the ring: twice the moment and half of that per bolt."""
    base = overturning(ring(10, 300).with_lost(2, 3), 5e3, 4e6, 1e6).loads_n
    grown = overturning(ring(10, 300 * scale).with_lost(2, 3), 5e3 * factor, 4e6 * factor * scale, 1e6 * factor * scale)
    assert grown.loads_n == pytest.approx(base * factor, rel=1e-9, abs=1e-6 * factor)


@given(turn=st.floats(0, 360))
def test_turning_joint_and_load_together_changes_nothing(turn):
    a = math.radians(turn)
    base = overturning(ring(9, 300).with_lost(1), 0, 0, 4e6)
    turned = overturning(ring(9, 300, turn).with_lost(1), 0, 4e6 * math.sin(a), 4e6 * math.cos(a))
    assert turned.loads_n == pytest.approx(base.loads_n, abs=1e-5)


def test_the_turning_moment_covers_every_direction():
    group = ring(12, 400).with_lost(3, 4)
    cover = overturning_any_direction(group, 2e4, 5e7)
    for a in np.linspace(0, 2 * np.pi, 73):
        one = overturning(group, 2e4, 5e7 * math.cos(a), 5e7 * math.sin(a))
        assert np.all(one.loads_n <= cover.loads_n + 1e-6)


def test_grip_and_parting_follow_the_worst_bolt():
    shear = shear_and_moment(grid(2, 2, 100, 100), 0, -40e3, 0)
    assert slip_utilisation(shear, preload_n=125e3, friction=0.4) == pytest.approx(10e3 / 40e3)
    assert slip_utilisation(shear, preload_n=125e3, friction=0.4, pulls_n=[0, 0, 0, 78_125]) == pytest.approx(0.5)
    assert slip_utilisation(shear, preload_n=125e3, friction=0.4, pulls_n=2e5) == math.inf
    pull = overturning(ring(8, 200), 0, 10e6, 0)
    assert separation_utilisation(pull, preload_n=137.2e3) == pytest.approx(25 / 137.2)
    assert separation_utilisation(pull, preload_n=137.2e3, preload_left=0.5) == pytest.approx(50 / 137.2)
    assert separation_utilisation(pull, preload_n=137.2e3, preload_left=0) == math.inf


def test_a_lost_bolt_takes_its_grip_with_it():
    whole = slip_utilisation(shear_and_moment(ring(8, 200), 8e3, 0, 0), preload_n=1e5, friction=0.3)
    less = slip_utilisation(shear_and_moment(ring(8, 200).with_lost(0, 4), 8e3, 0, 0), preload_n=1e5, friction=0.3)
    assert less == pytest.approx(whole * 8 / 6)


def test_prying_raises_use_and_not_the_loads():
    plain, pried = overturning(ring(8, 200), 0, 1e7, 0), overturning(ring(8, 200), 0, 1e7, 0, prying=1.8)
    assert pried.utilisation == pytest.approx(1.8 * plain.utilisation)
    assert pried.worst_n == plain.worst_n


def test_a_class_outside_the_code_has_loads_but_no_utilisation():
    loads = overturning(ring(8, 200, size="3/4", property_class="A325"), 0, 1e7, 0)
    assert loads.utilisation is None
    assert loads.worst_n == pytest.approx(25e3)


@pytest.mark.parametrize(
    ("call", "argument", "code"),
    [
        (lambda: Group([[0, 0], [1, float("nan")]]), "positions_mm", "not_a_number"),
        (lambda: Group([[0, 0], [0, 0]]), "positions_mm", "shape"),
        (lambda: Group([0, 0]), "positions_mm", "shape"),
        (lambda: Group([[0, 0]], ["fine"]), "state", "unknown_row"),
        (lambda: Group([[0, 0]], ["ok", "ok"]), "state", "shape"),
        (lambda: ring(0, 100), "count", "not_positive"),
        (lambda: ring(8, -100), "diameter_mm", "not_positive"),
        (lambda: grid(0, 1, 1, 1), "columns", "not_positive"),
        (lambda: ring(8, 100).with_lost(8), "bolts_lost", "out_of_range"),
        (lambda: ring(8, 100).with_lost(-1), "bolts_lost", "out_of_range"),
        (lambda: shear_and_moment(ring(8, 100), float("nan"), 0, 0), "fx", "not_a_number"),
        (lambda: overturning(ring(8, 100), 0, [1, 2], 0), "mx", "shape"),
        (lambda: overturning(ring(8, 100), 0, 1, 0, prying=0.9), "prying", "out_of_range"),
        (lambda: overturning_any_direction(ring(8, 100), 0, -1), "moment", "negative"),
        (lambda: slip_utilisation(overturning(ring(8, 9), 0, 1, 0), preload_n=1, friction=0.3), "loads", "shape"),
        (lambda: separation_utilisation(shear_and_moment(ring(8, 9), 1, 0, 0), preload_n=1), "loads", "shape"),
    ],
)
def test_bad_input_names_its_argument(call, argument, code):
    with pytest.raises(InputError) as error:
        call()
    assert (error.value.argument, error.value.code) == (argument, code)


def test_a_load_beyond_the_intact_group_is_named_and_not_blamed_on_the_bolts_lost():
    line = Group([[-60, 0], [0, 0], [60, 0]])
    for group in (line, line.with_lost(1)):
        told = overturning(group, 0.0, 1e6, 0.0)
        assert told.intact_verdict is Verdict.ON_A_LINE
        assert not told.could_carry
        assert told.intact_worst_n == told.worst_n == told.rise == math.inf
        assert shear_and_moment(group, 0.0, 1e3, 0.0).could_carry


def test_bolts_lost_down_to_one_line_are_told_from_bolts_that_always_stood_on_one():
    plate = grid(2, 2, 100, 100)
    told = overturning(plate.with_lost(0, 1), 0.0, 1e6, 0.0)
    assert told.verdict is Verdict.ON_A_LINE
    assert told.could_carry
    assert math.isfinite(told.intact_worst_n)


@pytest.mark.parametrize("count", [math.nan, math.inf, 1e300, 0, -3, 2.5, "eight", None, [], [4, 8]])
def test_a_count_of_bolts_that_cannot_be_is_refused_by_name(count):
    for argument, call in (
        ("count", lambda: ring(count, 300.0)),
        ("columns", lambda: grid(count, 2, 70.0, 70.0)),
        ("rows", lambda: grid(2, count, 70.0, 70.0)),
    ):
        with pytest.raises(InputError) as refused:
            call()
        assert refused.value.argument == argument
