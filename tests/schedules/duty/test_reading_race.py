"""Two readings at once on one counter are judged one after the other. The control shows what the lock prevents."""

from __future__ import annotations

import contextlib
import threading
from datetime import timedelta

import pytest
from django.db import connection
from django.db.models import QuerySet

from assets_app.refusals import Refused
from schedules.duty import actions
from schedules.models import Reading

pytestmark = pytest.mark.django_db(transaction=True)


def post_both_at_once(monkeypatch, counter, actor, now) -> list[str]:
    """1,000 on the day before and 900 today; each waits for the other once it has read the counter, if it can."""
    both_have_read = threading.Barrier(2, timeout=1.5)
    build = actions.Chain.__init__

    def build_and_wait(self, *args):
        build(self, *args)
        with contextlib.suppress(threading.BrokenBarrierError):
            both_have_read.wait()

    monkeypatch.setattr(actions.Chain, "__init__", build_and_wait)
    outcomes = []

    def post(value, days_ago):
        try:
            actions.post_reading(
                counter_id=counter.pk,
                value=value,
                read_at=now - timedelta(days=days_ago),
                actor=actor,
                now=now,
                source="api",
            )
            outcomes.append("stored")
        except Refused as refused:
            outcomes.append(refused.code)
        finally:
            connection.close()

    threads = [threading.Thread(target=post, args=given) for given in ((1000, 1), (900, 0))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    return sorted(outcomes)


def test_of_two_readings_that_contradict_each_other_one_is_refused(monkeypatch, counter, person, site, now):
    outcomes = post_both_at_once(monkeypatch, counter, person("technician", site), now)
    assert outcomes in (["reading_above_later", "stored"], ["reading_runs_backwards", "stored"])
    assert Reading.objects.count() == 1


@pytest.mark.postgres
def test_without_the_lock_both_would_be_stored(monkeypatch, counter, person, site, now):
    actor = person("technician", site)
    monkeypatch.setattr(QuerySet, "select_for_update", lambda self, **_: self.all())
    monkeypatch.setattr(actions, "_refit", lambda chain, now: False)  # its own unique row would be the next to clash
    assert post_both_at_once(monkeypatch, counter, actor, now) == ["stored", "stored"]
    totals = Reading.objects.order_by("read_at").values_list("total", flat=True)
    assert list(totals) == [1000, 900]
