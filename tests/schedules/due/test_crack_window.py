"""A crack of known size against its growth window: the share used, and how long an assessment may run."""

from __future__ import annotations

from datetime import date

import pytest

from assets_app.inspections import hooks
from assets_app.models import Finding, FindingSize, Inspection

pytestmark = pytest.mark.django_db


@pytest.fixture
def rated(programme, steady_counter, spectrum, steel):
    return programme("MT", conditions="good", last_look_on=date(2026, 6, 1))


@pytest.fixture
def crack(weld_joint, person, site, now):
    look = Inspection.objects.create(
        joint=weld_joint, method="MT", inspected_at=now, inspected_on=date(2026, 6, 10), result="findings",
        inspector=person("inspector", site), recorded_at=now,
    )  # fmt: skip
    finding = Finding.objects.create(
        joint=weld_joint, inspection=look, kind="100", severity="hold now", severity_computed="hold now",
        severity_reason="crack", found_on=date(2026, 6, 10),
    )  # fmt: skip

    def sized(**size):
        FindingSize.objects.create(finding=finding, inspection=look, measured_on=date(2026, 6, 10), **size)
        return finding

    return sized


def used(joint, now, **size):
    given = {"length_mm": None, "depth_mm": None} | size
    return hooks.window_used(joint_id=joint.pk, kind="100", now=now, **given)


def test_the_share_used_rises_from_nothing_to_all(rated, weld_joint, now):
    shares = [used(weld_joint, now, depth_mm=depth) for depth in (1.0, 1.9, 2.4, 3.0, 3.4, 9.0)]
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)
    assert 0.1 < shares[2] < 0.9


def test_a_length_counts_as_a_half_round_crack(rated, weld_joint, now):
    assert used(weld_joint, now, length_mm=5.0) == used(weld_joint, now, depth_mm=2.5)


def test_what_is_not_known_stays_unknown(rated, weld_joint, now, spectrum):
    assert used(weld_joint, now) is None
    spectrum.delete()
    assert used(weld_joint, now, depth_mm=2.5) is None


def test_an_assessment_of_a_small_crack_may_run_longer(rated, crack, now):
    finding = crack(depth_mm=2.0)
    small = hooks.latest_assessment_end(finding, now)
    FindingSize.objects.update(depth_mm=3.0)
    large = hooks.latest_assessment_end(finding, now)
    assert date(2026, 6, 15) < large < small


def test_a_crack_beyond_critical_may_not_stand_a_day(rated, crack, now):
    assert hooks.latest_assessment_end(crack(depth_mm=8.0), now) is None


def test_without_a_size_no_assessment_can_be_bounded(rated, crack, now):
    assert hooks.latest_assessment_end(crack(), now) is None


def test_a_window_beyond_the_horizon_bounds_an_assessment_by_the_horizon(rated, crack, now, spectrum):
    finding = crack(depth_mm=2.0)
    spectrum.bins = [[2.0, 1.0]]
    spectrum.save()
    assert hooks.latest_assessment_end(finding, now) > date(2050, 1, 1)
