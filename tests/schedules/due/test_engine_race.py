"""Two recomputes of one asset at once end as if one had come after the other. The control takes the lock away."""

from __future__ import annotations

import threading
from datetime import date

import pytest
from django.db import connection, transaction

from schedules.due import actions, engine
from schedules.due.store import Scope
from schedules.models import DueDate, Programme

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]


def recompute_twice_at_once(monkeypatch, programme, now, *, waits_s: float) -> date | None:
    """A slow recompute has read twelve months when six are set and computed; then it writes. The date that remains."""
    has_read, other_done = threading.Event(), threading.Event()
    work_out = engine.due_dates

    def slowly(*args):
        due = work_out(*args)
        if threading.current_thread().name == "slow" and not has_read.is_set():
            has_read.set()
            other_done.wait(waits_s)
        return due

    monkeypatch.setattr(engine, "due_dates", slowly)

    def slow():
        engine.recompute(Scope(asset_range=(0, 2**40)), now=now)
        connection.close()

    def other():
        with transaction.atomic():
            Programme.objects.filter(pk=programme.pk).update(calendar_months=6)
            actions.mark_joints_stale(joint_ids=[programme.joint_id], why="test", now=now)
        engine.recompute_stale(now=now)
        other_done.set()
        connection.close()

    first, second = threading.Thread(target=slow, name="slow"), threading.Thread(target=other)
    first.start()
    assert has_read.wait(20)
    second.start()
    first.join()
    second.join()
    return DueDate.objects.get(programme=programme).calendar_on


@pytest.fixture
def yearly(programme, monkeypatch, now):
    """Computed for two years already, so that it is rated; since then set to one year."""
    monkeypatch.setattr(actions, "_start_work", lambda: None)
    one = programme("VT", calendar_months=24, last_look_on=date(2026, 5, 1))
    engine.recompute(Scope(asset_range=(0, 2**40)), now=now)
    Programme.objects.update(calendar_months=12)
    return one


def test_a_slow_recompute_does_not_write_over_a_newer_date(monkeypatch, yearly, now):
    assert recompute_twice_at_once(monkeypatch, yearly, now, waits_s=3) == date(2026, 11, 1)


def test_without_the_lock_it_would(monkeypatch, yearly, now):
    monkeypatch.setattr(engine, "_hold", lambda scope: None)
    assert recompute_twice_at_once(monkeypatch, yearly, now, waits_s=30) == date(2027, 5, 1)
