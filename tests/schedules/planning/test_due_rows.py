"""What is written of a row is kept; it says no less than one written anew, whatever changed meanwhile."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import pytest
from django.utils import timezone

from assets_app.doors.kept import Kept
from assets_app.models import Asset, Inspection, Joint, Person, Site
from schedules.due import engine
from schedules.due.store import Scope
from schedules.models import Counter, CounterForecast, DueDate, Programme, Rating, Reading, Season
from schedules.planning import due_rows
from tests.schedules.due.conftest import steady_counter  # noqa: F401


@pytest.fixture
def planner(client, person, site):
    client.force_login(person("planner", site))
    return client


@pytest.fixture
def row(weld_joint, steady_counter):  # noqa: F811
    """A look limited by calendar and growth window, by a counter that is read."""
    made = Programme.objects.create(
        joint=weld_joint, asset=weld_joint.asset, method="MT", calendar_months=24, last_look_on=date(2026, 2, 3)
    )
    Rating.objects.create(
        programme=made, detectable_mm=1.5, critical_mm=9.0, window_count=90_000.0, looks=3, computed_at=timezone.now(),
        inputs={}, edition="test", damage_share=0.3,
    )  # fmt: skip
    engine.recompute(Scope(joint_ids=[weld_joint.pk]), now=timezone.now())
    DueDate.objects.update(governing="calendar", next_limit="duty", next_on=date(2027, 3, 1))
    return made


def _look(joint_id: int) -> None:
    Inspection.objects.create(
        joint_id=joint_id, method="VT", inspected_on=date(2026, 3, 3), inspected_at=datetime(2026, 3, 3, 9, tzinfo=UTC),
        result="accepted", inspector=Person.objects.get(), recorded_at=timezone.now(),
    )  # fmt: skip


CHANGES = {
    "the due date": lambda: DueDate.objects.update(due_on=date(2026, 9, 9)),
    "what governs": lambda: DueDate.objects.update(governing="growth window"),
    "what comes next": lambda: DueDate.objects.update(next_on=date(2027, 4, 4)),
    "what is missing": lambda: [
        DueDate.objects.update(unrated=True),
        Rating.objects.update(missing=[{"limit": "damage", "figure": "spectrum", "to_do": "enter it"}]),
    ],
    "protection": lambda: DueDate.objects.update(unprotected=True),
    "the window": lambda: Rating.objects.update(window_count=150_000.0),
    "the last look": lambda: Programme.objects.update(last_look_on=date(2026, 4, 4)),
    "the joint's name": lambda: Joint.objects.update(name="<b>Knee</b>"),
    "the asset's tag": lambda: Asset.objects.update(tag="NEW-1"),
    "the counter's unit": lambda: Counter.objects.update(unit="hours"),
    "a reading": lambda: Reading.objects.filter(read_on=date(2026, 1, 8)).update(total=7000.0),
    "the forecast": lambda: CounterForecast.objects.update(total=30_000.0),
    "the season": lambda: Season.objects.create(
        site=Site.objects.first(), name="s", opens_month=4, opens_day=1, closes_month=9, closes_day=30
    ),
    "the site's day": lambda: Site.objects.update(time_zone="Pacific/Kiritimati"),
    "a look": lambda: _look(Joint.objects.get().pk),
    "a look more": lambda: _look(Joint.objects.get().pk),
}


@pytest.mark.django_db
def test_a_kept_row_is_the_one_written_anew_after_each_change(planner, row, monkeypatch):
    now = datetime(2026, 6, 15, 20, tzinfo=UTC)
    monkeypatch.setattr(timezone, "now", lambda: now)
    monkeypatch.setattr("schedules.planning.due_page.timezone.now", lambda: now)
    before = _page(planner)
    for name, change in CHANGES.items():
        change()
        kept = _page(planner)
        due_rows._written.clear()
        assert kept == _page(planner), name
        told = name not in ("a reading", "the forecast")  # these move the drawing only by less than a line's width
        assert not told or kept != before, name
        before = kept


def _page(planner) -> str:
    page = planner.get("/due/?weeks=0").content.decode()
    table = re.search(r"<tbody>.*</tbody>", page, re.DOTALL)
    assert table
    return re.sub(r'csrfmiddlewaretoken" value="[^"]*', "", table[0])


def test_only_so_much_is_kept_and_what_was_not_asked_for_longest_goes():
    kept: Kept[int] = Kept(2)
    made: list[int] = []

    def of(key: int) -> int:
        return kept.of(key, lambda: made.append(key) or -key)

    assert [of(key) for key in (1, 2, 1, 3, 1, 2)] == [-1, -2, -1, -3, -1, -2]
    assert made == [1, 2, 3, 2]
    assert len(kept) == 2
