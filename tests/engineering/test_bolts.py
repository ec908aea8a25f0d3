"""Single bolts: guards, safe defaults and how results move."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engineering import bolts, tables
from engineering.errors import InputError


def test_an_unknown_size_names_those_there_are():
    with pytest.raises(InputError) as error:
        bolts.size("M21")
    assert error.value.code == "unknown_row"
    assert "M20" in error.value.reason


def test_an_office_may_bring_its_own_sizes():
    own = tables.build(
        "bolt_sizes",
        {
            "title": "Own",
            "source": "the maker's drawing",
            "edition": "2020",
            "status": "common practice",
            "rows": [{"id": "M20x1.5", "d_mm": 20, "pitch_mm": 1.5, "stress_area_mm2": 272}],
        },
    )
    bolt = bolts.size("M20x1.5", own)
    assert bolts.preload_kn(bolt, "8.8") == pytest.approx(0.7 * 800 * 272 / 1000)
    assert (bolt.source, bolt.status) == ("the maker's drawing", "common practice")


@pytest.mark.parametrize("grade", ["4.6", "5.6", "6.8", "12.9", "A325"])
def test_a_class_that_the_code_does_not_preload_is_refused(grade):
    with pytest.raises(InputError) as error:
        bolts.preload_kn("M20", grade)
    assert (error.value.argument, error.value.code) == ("cls", "unknown_row")


def test_us_pretension_of_a_metric_class_is_refused():
    with pytest.raises(InputError) as error:
        bolts.preload_kn("M20", "8.8", code=bolts.AISC)
    assert error.value.code == "unknown_row"


def test_an_unknown_code_is_refused():
    with pytest.raises(InputError) as error:
        bolts.preload_kn("M20", "8.8", code="somewhere")
    assert error.value.argument == "code"


@pytest.mark.parametrize("grade", ["12.9", "A325", "A490"])
def test_a_class_outside_the_code_gets_no_resistance(grade):
    for resistance in (bolts.shear_resistance_n, bolts.tension_resistance_n):
        with pytest.raises(InputError) as error:
            resistance("M20", grade)
        assert error.value.argument == "cls"


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: bolts.torque_nm(float("nan"), 0.2, 20), "preload_kn"),
        (lambda: bolts.torque_nm(100, 2, 20), "k"),
        (lambda: bolts.torque_nm(100, 0.2, -20), "d_mm"),
        (lambda: bolts.stress_area_mm2(20, 11), "pitch_mm"),
        (lambda: bolts.shear_resistance_n("M20", "8.8", planes=3), "planes"),
        (lambda: bolts.slip_resistance_n(-1, friction=0.4), "preload_n"),
        (lambda: bolts.slip_resistance_n(1, friction=4), "friction"),
        (lambda: bolts.slip_resistance_n(1, friction=0.4, surfaces=0), "surfaces"),
        (lambda: bolts.prying_factor(0, 10), "m_mm"),
        (lambda: bolts.tension_range_mpa(-1, "M20"), "range_n"),
        (lambda: bolts.tension_range_mpa(1, "M20", prying=0.5), "prying"),
        (lambda: bolts.tension_cycles_to_failure(1, "M20", joint_factor=0), "joint_factor"),
        (lambda: bolts.interaction(-1, 0, shear_resistance_n=1, tension_resistance_n=1), "shear_n"),
    ],
)
def test_bad_input_names_its_argument(call, argument):
    with pytest.raises(InputError) as error:
        call()
    assert error.value.argument == argument


def test_the_thread_is_taken_to_lie_in_the_shear_plane():
    assert bolts.shear_resistance_n("M20", "10.9") < bolts.shear_resistance_n("M20", "10.9", thread_in_plane=False)
    assert bolts.shear_resistance_n("M20", "10.9", planes=2) == 2 * bolts.shear_resistance_n("M20", "10.9")


def test_pull_takes_grip_away_until_none_is_left():
    """EN 1993-1-8, 3.9.2: 0.8 of the pull comes off the preload."""
    assert bolts.slip_resistance_n(125e3, friction=0.5) == pytest.approx(50e3)
    assert bolts.slip_resistance_n(125e3, friction=0.5, tension_n=78_125) == pytest.approx(25e3)
    assert bolts.slip_resistance_n(125e3, friction=0.5, tension_n=200e3) == 0.0


def test_long_joints_lose_up_to_a_quarter():
    assert bolts.long_joint_factor(15 * 20, 20) == 1.0
    assert bolts.long_joint_factor(40 * 20, 20) == pytest.approx(0.875)
    assert bolts.long_joint_factor(100 * 20, 20) == 0.75


def test_full_pull_or_full_shear_uses_a_bolt_up():
    full = {"shear_resistance_n": 94e3, "tension_resistance_n": 141e3}
    assert bolts.interaction(94e3, 0, **full) == pytest.approx(1)
    assert bolts.interaction(0, 141e3, **full) == pytest.approx(1)
    assert bolts.interaction(47e3, 141e3 * 0.7, **full) == pytest.approx(1)


@given(m=st.floats(5, 500), n=st.floats(5, 500))
def test_the_free_wall_bound_of_prying_lies_above_the_stiff_one(m, n):
    free, stiff = bolts.prying_factor(m, n), bolts.prying_factor(m, n, stiff_web=True)
    assert free > stiff >= 1.4 - 1e-12
    assert free >= 1.8 - 1e-12


@given(m=st.floats(5, 100), n=st.floats(5, 100), turning=st.floats(0, 1))
def test_no_lever_in_balance_pries_more_than_the_bound(m, n, turning):
    """Whatever share of T m the wall line takes, the plate in balance holds Q n = (1 - share) T m at its edge."""
    pry = (1 - turning) * m / n
    assert 1 + pry <= bolts.prying_factor(m, n) + 1e-9


def test_preload_earns_nothing_in_fatigue_unless_asked():
    assert bolts.tension_range_mpa(12_250, "M20") == pytest.approx(50)
    assert bolts.tension_range_mpa(12_250, "M20", joint_factor=0.2) == pytest.approx(10)
    assert bolts.tension_cycles_to_failure(12_250, "M20") == pytest.approx(2e6)


@given(force=st.floats(1e3, 1e5), more=st.floats(1.0, 3.0))
def test_more_load_or_more_prying_never_lengthens_a_bolts_life(force, more):
    life = bolts.tension_cycles_to_failure(force, "M24")
    assert bolts.tension_cycles_to_failure(force * more, "M24") <= life
    assert bolts.tension_cycles_to_failure(force, "M24", prying=more) <= life
