"""The order in which bolts are tightened: across a ring, from the middle of a plate outwards."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assets_app.register.drawing_bolts import BoltPattern
from assets_app.register.tightening_order import from_the_middle, order_words, star, tightening_order


@pytest.mark.parametrize(
    ("count", "order"),
    [
        # the star of flange practice, from memory; numbers run clockwise
        (4, [1, 3, 2, 4]),
        (8, [1, 5, 3, 7, 2, 6, 4, 8]),
        (12, [1, 7, 4, 10, 2, 8, 5, 11, 3, 9, 6, 12]),
        (16, [1, 9, 5, 13, 3, 11, 7, 15, 2, 10, 6, 14, 4, 12, 8, 16]),
        (5, [1, 3, 5, 2, 4]),
    ],
)
def test_a_ring_is_tightened_like_a_star(count, order):
    assert star(count) == order


@given(st.integers(1, 150))
def test_every_bolt_of_a_ring_comes_once(count):
    assert sorted(star(count)) == list(range(1, count + 1))


@given(st.integers(2, 60).map(lambda half: 2 * half))
def test_on_an_even_ring_every_second_bolt_lies_across_the_one_before(count):
    order = star(count)
    assert all(abs(a - b) == count // 2 for a, b in zip(order[::2], order[1::2], strict=True))


def test_a_plate_of_three_by_three_begins_in_the_middle_and_ends_at_the_corners():
    order = tightening_order(BoltPattern(bolt_count=9, pattern="grid", rows=3, row_pitch_mm=60, column_pitch_mm=60))
    assert order[0] == 5
    assert set(order[1:5]) == {2, 4, 6, 8}
    assert set(order[5:]) == {1, 3, 7, 9}
    assert {order[1], order[2]} in ({2, 8}, {4, 6})  # it crosses over


coordinates = st.tuples(st.integers(-500, 500), st.integers(-500, 500))


@given(st.lists(coordinates, min_size=1, max_size=40, unique=True))
def test_no_bolt_is_tightened_before_one_nearer_to_the_middle(points):
    order = from_the_middle(points)
    assert sorted(order) == list(range(1, len(points) + 1))
    cx, cy = (sum(axis) / len(points) for axis in zip(*points, strict=True))
    out = [math.dist(points[number - 1], (cx, cy)) for number in order]
    assert all(a <= b + 2e-6 * max(out) for a, b in itertools.pairwise(out))


def test_an_unknown_pattern_keeps_the_order_of_the_numbers_and_says_so():
    pattern = BoltPattern(bolt_count=6)
    assert tightening_order(pattern) == [1, 2, 3, 4, 5, 6]
    assert "not known" in order_words(pattern)
    assert tightening_order(BoltPattern()) == []
