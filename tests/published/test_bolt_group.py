"""Bolt groups against textbook and public worked examples."""

import numpy as np
import pytest

from engineering import bolts
from engineering.bolt_group import Group, overturning, shear_and_moment
from engineering.bolt_patterns import grid, ring

pytestmark = pytest.mark.published


def test_four_bolts_at_an_arm_of_200_mm():
    """A public calculator page prints 90.1 kN for ±50, ±50 mm, 100 kN at 200 mm; recomputed 90.139 and 55.902."""
    loads = shear_and_moment(grid(2, 2, 100, 100), 0, -100e3, -100e3 * 200)
    assert loads.worst_n == pytest.approx(90_139, abs=0.5)
    assert loads.loads_n.min() == pytest.approx(50_000 * np.hypot(1, 0.5), abs=0.5)


@pytest.mark.parametrize(
    ("columns", "rows", "px", "py", "load_kn", "arm", "worst_kn"),
    [(2, 3, 80, 75, 100, 150, 49.784), (2, 4, 90, 75, 180, 250, 86.185)],
)
def test_two_columns_of_bolts(columns, rows, px, py, load_kn, arm, worst_kn):
    """By hand: J = 32 100 and 72 450 mm²; the page that prints 70.1 kN for the second took the relieved side."""
    loads = shear_and_moment(grid(columns, rows, px, py), 0, -load_kn * 1e3, -load_kn * 1e3 * arm)
    assert loads.worst_n / 1e3 == pytest.approx(worst_kn, abs=5e-4)


def test_textbook_bracket_of_four_bolts():
    """Shigley, Mechanical Engineering Design, example 8-7 (answers from memory): 21.0 and 14.8 kN."""
    loads = shear_and_moment(grid(2, 2, 150, 120), 0, -16e3, -16e3 * 425)
    assert sorted(loads.loads_n / 1e3) == pytest.approx([14.8, 14.8, 21.0, 21.0], abs=0.05)


def test_textbook_bracket_of_bhandari():
    """Bhandari, Design of Machine Elements, example 7.3 (inputs in a public repository): 12 093.4 and 8 139.4 N."""
    loads = shear_and_moment(grid(2, 2, 200, 150), 0, -10e3, -10e3 * 500)
    assert loads.worst_n == pytest.approx(12_093.4, abs=0.05)
    assert loads.loads_n.min() == pytest.approx(8_139.4, abs=0.05)


def test_fin_plate_of_the_sbe5_guide():
    """A public steel design guide: two columns of five M20 8.8, pitch 70 and 60, arm 80 mm: resistance 584 kN."""
    loads = shear_and_moment(grid(2, 5, 60, 70), 0, -584.07e3, -584.07e3 * 80)
    assert loads.worst_n == pytest.approx(bolts.shear_resistance_n("M20", "8.8"), rel=1e-4)
    assert loads.utilisation == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize(
    ("count", "diameter", "lost", "worst_kn", "least_kn"),
    [
        (8, 200, (), 250.0, -250.0),
        (8, 200, (2,), 297.4874, -300.0),
        (8, 200, (2, 3), 465.5133, -369.5986),
        (12, 400, (), 83.3333, -83.3333),
        (12, 400, (3,), 97.4656, -92.5926),
        (12, 400, (3, 4), 131.2160, -104.9461),
        (12, 400, (2, 3, 4), 150.4427, -130.3872),
        (24, 1000, (), 16.6667, -16.6667),
        (24, 1000, (6,), 18.4256, -17.4603),
        (24, 1000, (6, 7), 21.2367, -18.4191),
    ],
)
def test_ring_under_100_knm_about_the_shifted_centroid(count, diameter, lost, worst_kn, least_kn):
    """Unsymmetric bending of the bolts that remain, computed apart from this code: kN to four places."""
    loads = overturning(ring(count, diameter).with_lost(*lost), 0, 100e6, 0)
    assert loads.worst_n / 1e3 == pytest.approx(worst_kn, abs=5e-5)
    assert loads.loads_n.min() / 1e3 == pytest.approx(least_kn, abs=5e-5)


def test_ring_with_pull_as_well_gives_each_bolt_its_load():
    """Ring of 12 on 400 mm, bolt 3 lost, 100 kN·m and 120 kN pull at the old centre: all loads, kN."""
    loads = overturning(ring(12, 400).with_lost(3), 120e3, 100e6, 0)
    expected = [20.3704, 72.4074, 110.5012, 0, 110.5012, 72.4074, 20.3704, -31.6667, -69.7604, -83.7037, -69.7604]
    assert loads.loads_n / 1e3 == pytest.approx([*expected, -31.6667], abs=5e-5)


@pytest.mark.parametrize("count", [3, 4, 5, 8, 12, 24, 36])
def test_intact_ring_obeys_4m_over_nd(count):
    """Textbook closed form: largest pull 4M/(nD), when a bolt stands on the axis of the moment."""
    loads = overturning(ring(count, 500, 90), 0, 50e6, 0)
    assert loads.worst_n == pytest.approx(4 * 50e6 / (count * 500))


def test_first_t_stub_mode_is_the_prying_bound_of_a_stiff_web():
    """EN 1993-1-8 Table 6.2: mode 1 F = 4Mpl/m; bolts then hold F + 2 Mpl/n, so 1 + Q/T = 1 + m/(2n)."""
    m, n, plastic = 40.0, 45.0, 1.0e6
    force = 4 * plastic / m
    bolt_pull = force / 2 + plastic / n
    assert bolts.prying_factor(m, n, stiff_web=True) == pytest.approx(bolt_pull / (force / 2))


def test_a_group_of_one_class_reads_the_public_resistance():
    """A public guide prints 203 kN for one M24 8.8 in tension: a pull of 4 x 203.3 uses four of them up."""
    four = Group([[-50, -50], [50, -50], [50, 50], [-50, 50]], size="M24", property_class="8.8")
    assert overturning(four, 4 * 203.3e3, 0, 0).utilisation == pytest.approx(1.0, abs=1e-3)
