"""A site, an asset that runs 100 counts a day, and a rated weld."""

from datetime import UTC, date, datetime, timedelta

import pytest

from schedules.duty import rules
from schedules.models import CounterForecast, Programme, Reading, StressSpectrum


@pytest.fixture
def steady_counter(counter, now):
    """Read every week since 1 January 2026: 100 counts a day, nothing before."""
    day = date(2026, 1, 1)
    total = 0.0
    while day <= date(2026, 6, 14):
        at = datetime(day.year, day.month, day.day, 20, tzinfo=UTC)
        Reading.objects.create(
            counter=counter, read_at=at, read_on=day, value=total, total=total, source="api", posted_at=at
        )
        day, total = day + timedelta(days=7), total + 700.0
    history = [(r.read_on.toordinal() + 20 / 24, r.total) for r in counter.readings.order_by("read_at")]
    parameters, basis = rules.fit(history, [])
    CounterForecast.objects.create(
        counter=counter,
        as_of=day - timedelta(days=7),
        total=total - 700.0,
        parameters=parameters,
        basis=basis,
        computed_at=now,
    )
    return counter


@pytest.fixture
def steel(weld_joint):
    """The weld sits in a member of S355J2."""
    from assets_app.models import Member

    member = Member.objects.create(
        asset=weld_joint.asset, tag="M-1", section="CHS 219.1x12", steel_grade="S355J2", wall_mm=12
    )
    weld_joint.member = member
    weld_joint.save()
    return member


@pytest.fixture
def spectrum(weld_joint):
    return StressSpectrum.objects.create(
        joint=weld_joint,
        bins=[[60.0, 1.0], [30.0, 4.0]],
        peak_stress_mpa=90.0,
        status="calculated",
        source="stress report 12",
        valid_from=date(2015, 1, 1),
    )


@pytest.fixture
def programme(weld_joint):
    """``programme("MT", calendar_months=12)``"""

    def make(method="MT", joint=weld_joint, **fields):
        return Programme.objects.create(joint=joint, asset=joint.asset, method=method, **fields)

    return make
