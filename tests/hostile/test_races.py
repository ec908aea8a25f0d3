"""Pairs of people at one thing at once, on PostgreSQL: one wins, the other is told what changed.

Each race has its control: with the lock or the check of the version taken away, the same pair does go wrong.
"""

from __future__ import annotations

import contextlib
import os
import threading
from collections import Counter as Tally
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from typing import Any

import pytest
from celery import Task
from django.core.files.base import ContentFile
from django.db import connection, models

from assets_app import claims
from assets_app.inspections import finding_actions
from assets_app.models import Finding, RecordEntry, RegisterImport
from assets_app.refusals import Conflict, Refused
from assets_app.register import importer
from schedules.deferral import actions as deferral
from schedules.duty import actions as duty
from schedules.models import Deferral, Hold, Reading, Step, WorkOrder
from schedules.work import actions, eyes, orders

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.postgres,
    pytest.mark.hostile,
]
PAIRS = int(os.environ.get("RACE_PAIRS", "150"))  # RACE_PAIRS=1000 takes minutes on a busy machine
FEW = 40  # pairs of the other races


@pytest.fixture(autouse=True)
def no_workers(monkeypatch):
    """What workers do after the commit is theirs: it is not raced here, and would only be waited for."""
    monkeypatch.setattr(Task, "apply_async", lambda *_, **__: None)


class Pair:
    """Two threads, each with its connection, that begin every deed at the same moment."""

    def __init__(self) -> None:
        self.pool = ThreadPoolExecutor(2)
        self.start = threading.Barrier(2, timeout=30)

    def __enter__(self) -> Pair:
        return self

    def __exit__(self, *_: object) -> None:
        closed = threading.Barrier(2, timeout=30)
        list(self.pool.map(lambda _: (closed.wait(), connection.close()), range(2)))
        self.pool.shutdown()

    def race(self, *deeds: Callable[[], Any]) -> list[Any]:
        """What each deed gave, or the error that it raised."""
        return list(self.pool.map(self._one, deeds))

    def _one(self, deed: Callable[[], Any]) -> Any:
        self.start.wait()
        try:
            return deed()
        except Exception as error:
            return error


@pytest.fixture
def pair():
    with Pair() as two:
        yield two


def codes(outcomes: list[Any]) -> list[str]:
    """Sorted: ``done`` or the code of the refusal."""
    for each in outcomes:
        assert isinstance(each, Refused) or not isinstance(each, Exception), each
    return sorted(each.code if isinstance(each, Refused) else "done" for each in outcomes)


def without_locks(monkeypatch) -> None:
    """``select_for_update`` locks nothing."""
    monkeypatch.setattr(models.QuerySet, "select_for_update", lambda rows, **_: rows.all())


def meeting(monkeypatch, owner: Any, name: str) -> None:
    """Both come to this call, between reading and writing, before either goes on; a lock would keep one away."""
    both = threading.Barrier(2, timeout=2)
    call = getattr(owner, name)

    def wait_and_call(*arguments: Any, **named: Any) -> Any:
        with contextlib.suppress(threading.BrokenBarrierError):
            both.wait()
        return call(*arguments, **named)

    monkeypatch.setattr(owner, name, wait_and_call)


# One order, closed by two ---------------------------------------------------------------------------------------------


def many_ready(first: WorkOrder, how_many: int, worker: Any, now: Any) -> list[WorkOrder]:
    """Copies of a repair order, their steps done."""
    made = []
    for number in range(how_many):
        made.append(
            WorkOrder(
                **{f.name: getattr(first, f.name) for f in WorkOrder._meta.concrete_fields if f.name != "id"}
                | {"number": 1000 + number, "finding": None}
            )
        )
    WorkOrder.objects.bulk_create(made, batch_size=500)
    Step.objects.bulk_create(
        Step(order=order, sequence=1, text="welded", done_at=now, done_by=worker) for order in made
    )
    return made


def finishing(order: WorkOrder, who: Any, now: Any) -> Callable[[], Any]:
    return lambda: actions.finish(order_id=order.pk, expected_version=1, note=f"by {who}", actor=who, now=now)


def test_of_a_thousand_pairs_who_finish_one_order_exactly_one_wins_each_time(
    pair, repair_order, technician, inspector, site, now
):
    ready = many_ready(repair_order, PAIRS, technician, now)
    winners = Tally()
    for order in ready:
        outcomes = pair.race(finishing(order, technician, now), finishing(order, inspector, now))
        assert codes(outcomes) == ["done", "order_changed"], outcomes
        (won,) = (each for each in outcomes if isinstance(each, WorkOrder))
        (lost,) = (each for each in outcomes if isinstance(each, Conflict))
        assert lost.status == 409
        (change,) = lost.data["changes"]
        assert (change["deed"], change["by"], change["version"]) == ("finished", won.done_by.display_name, 2)
        assert won.done_by.display_name in lost.message
        winners[won.done_by_id] += 1
    done = WorkOrder.objects.filter(pk__in=[order.pk for order in ready])
    assert set(done.values_list("state", "version")) == {("done", 2)}
    assert RecordEntry.objects.filter(deed="order.finished").count() == PAIRS
    assert len(winners) == 2, "both came first at times, so they did race"


def test_control_without_the_lock_both_finish_one_order(pair, repair_order, technician, inspector, now, monkeypatch):
    (order,) = many_ready(repair_order, 1, technician, now)
    without_locks(monkeypatch)
    meeting(monkeypatch, orders, "check_version")
    assert codes(pair.race(finishing(order, technician, now), finishing(order, inspector, now))) == ["done", "done"]
    order.refresh_from_db()
    assert order.version == 2, "one of the two finishes is lost"


def test_control_without_the_version_the_slower_one_still_does_a_deed_on_what_it_never_saw(
    pair, repair_order, technician, inspector, now, monkeypatch
):
    def half(who):
        return lambda: actions.note_part_done(
            order_id=repair_order.pk, expected_version=1, note="half", actor=who, now=now
        )

    monkeypatch.setattr(orders, "check_version", lambda order, expected: None)
    assert codes(pair.race(half(technician), half(inspector))) == ["done", "done"]


# Holds ----------------------------------------------------------------------------------------------------------------


def placing(found: Finding, who: Any, now: Any) -> Callable[[], Any]:
    return lambda: actions.place_hold(finding_id=found.pk, reason=f"rust, says {who}", actor=who, now=now)


def test_of_two_who_hold_one_finding_one_does_and_the_other_hears_of_it(pair, finding, technician, inspector, now):
    for _ in range(FEW):
        found = finding()
        outcomes = pair.race(placing(found, technician, now), placing(found, inspector, now))
        assert codes(outcomes) == ["already_held", "done"], outcomes
        assert Hold.objects.filter(finding=found, released_at=None).count() == 1


def lifting(hold: Hold, who: Any, now: Any) -> Callable[[], Any]:
    return lambda: actions.release_hold(
        hold_id=hold.pk, reason=f"safe, says {who}", evidence="report 7", actor=who, now=now
    )


@pytest.fixture
def authorities(person, site):
    return person("engineer", site, authority=True), person("manager", site, authority=True)


def test_of_two_who_lift_one_hold_one_does_and_the_other_hears_of_it(pair, authorities, technician, weld_joint, now):
    one, other = authorities
    for _ in range(FEW):
        hold = actions.place_hold(joint_id=weld_joint.pk, reason="rust", actor=technician, now=now)
        outcomes = pair.race(lifting(hold, one, now), lifting(hold, other, now))
        assert codes(outcomes) == ["already_released", "done"], outcomes
    assert RecordEntry.objects.filter(deed="hold.released").count() == FEW


def test_control_without_the_lock_both_lift_one_hold(pair, authorities, technician, weld_joint, now, monkeypatch):
    one, other = authorities
    hold = actions.place_hold(joint_id=weld_joint.pk, reason="rust", actor=technician, now=now)
    without_locks(monkeypatch)
    meeting(monkeypatch, eyes, "worked_on_held")
    assert codes(pair.race(lifting(hold, one, now), lifting(hold, other, now))) == ["done", "done"]


def test_control_without_the_constraint_two_holds_stand_on_one_finding(pair, finding, technician, inspector, now):
    """What keeps the second one out is the database's own rule; the index comes back with the next test's flush."""
    found = finding()
    (rule,) = (each for each in Hold._meta.constraints if each.name == "one_standing_hold_a_finding")
    with connection.schema_editor() as editor:
        editor.remove_constraint(Hold, rule)
    try:
        assert codes(pair.race(placing(found, technician, now), placing(found, inspector, now))) == ["done", "done"]
        assert Hold.objects.filter(finding=found, released_at=None).count() == 2
    finally:
        Hold.objects.all().delete()
        with connection.schema_editor() as editor:
            editor.add_constraint(Hold, rule)


# Deferrals ------------------------------------------------------------------------------------------------------------


def putting_off(order: WorkOrder, who: Any, now: Any) -> Callable[[], Any]:
    return lambda: deferral.sign_deferral(
        order_id=order.pk,
        expected_version=1,
        ends_on=date(2026, 6, 25),
        reason=f"no crane, says {who}",
        interim_measure="half load",
        actor=who,
        now=now,
    )


def test_of_two_who_put_one_order_off_one_does_and_the_other_hears_until_when(
    pair, repair_order, manager, engineer, technician, now
):
    ready = many_ready(repair_order, FEW, technician, now)
    WorkOrder.objects.update(due_on=date(2026, 6, 10))
    for order in ready:
        outcomes = pair.race(putting_off(order, manager, now), putting_off(order, engineer, now))
        assert codes(outcomes) == ["already_deferred", "done"], outcomes
        (lost,) = (each for each in outcomes if isinstance(each, Conflict))
        assert "25 Jun 2026" in lost.message
    assert Deferral.objects.count() == FEW


def test_control_without_the_lock_both_believe_that_nobody_put_it_off(
    pair, repair_order, manager, engineer, now, monkeypatch
):
    """The second one then only meets the database's rule, as a fault and not as an answer."""
    WorkOrder.objects.update(due_on=date(2026, 6, 10))
    without_locks(monkeypatch)
    meeting(monkeypatch, deferral, "_check_end")
    outcomes = pair.race(putting_off(repair_order, manager, now), putting_off(repair_order, engineer, now))
    assert sorted(type(each).__name__ for each in outcomes) == ["Deferral", "IntegrityError"], outcomes


# Findings -------------------------------------------------------------------------------------------------------------


def judging(found: Finding, act: Callable[..., Any], severity: str, who: Any, now: Any) -> Callable[[], Any]:
    return lambda: act(finding_id=found.pk, severity=severity, reason="seen", actor=who, now=now)


def told(found: Finding) -> list[tuple[str, str]]:
    """Severity before and after, as the record tells it."""
    rows = RecordEntry.objects.filter(subject_kind="finding", subject_id=found.pk).order_by("sequence")
    return [(row.facts["before"], row.facts["severity"]) for row in rows]


def test_raised_and_lowered_at_once_a_finding_goes_from_one_to_the_other(pair, finding, technician, engineer, now):
    orders_seen = Tally()
    for _ in range(FEW):
        found = finding()
        outcomes = pair.race(
            judging(found, finding_actions.raise_severity, "repair before use", technician, now),
            judging(found, finding_actions.lower_severity, "watch", engineer, now),
        )
        assert codes(outcomes) == ["done", "done"], outcomes
        found.refresh_from_db()
        (began, first), (then, last) = told(found)
        assert (began, then) == ("plan repair", first), "the second one judged what the first one had left"
        assert found.severity == last
        orders_seen[first] += 1
    assert sum(orders_seen.values()) == FEW


def test_control_without_the_lock_one_of_the_two_judgements_is_lost(
    pair, finding, technician, engineer, now, monkeypatch
):
    found = finding()
    without_locks(monkeypatch)
    meeting(monkeypatch, finding_actions.rules, "is_graver")
    outcomes = pair.race(
        judging(found, finding_actions.raise_severity, "repair before use", technician, now),
        judging(found, finding_actions.lower_severity, "watch", engineer, now),
    )
    assert codes(outcomes) == ["done", "done"]
    assert [before for before, _ in told(found)] == ["plan repair", "plan repair"]


# Readings -------------------------------------------------------------------------------------------------------------


def reading(counter: Any, value: float, at: Any, who: Any, now: Any) -> Callable[[], Any]:
    return lambda: duty.post_reading(
        counter_id=counter.pk, value=value, read_at=at, actor=who, now=now, source=Reading.Source.API
    )


def test_two_readings_of_one_moment_are_one_when_they_agree_and_refused_when_they_do_not(
    pair, counter, technician, inspector, now
):
    for turn in range(FEW):
        at = now - timedelta(hours=FEW - turn)
        same = turn % 2 == 0
        outcomes = pair.race(
            reading(counter, 10.0 * turn + 1, at, technician, now),
            reading(counter, 10.0 * turn + (1 if same else 2), at, inspector, now),
        )
        assert codes(outcomes) == (["done", "done"] if same else ["done", "reading_differs"]), outcomes
        assert Reading.objects.filter(counter=counter, read_at=at).count() == 1


def test_control_without_the_lock_two_readings_of_one_moment_meet_as_a_fault(
    pair, counter, technician, inspector, now, monkeypatch
):
    without_locks(monkeypatch)
    meeting(monkeypatch, duty, "_placed")
    outcomes = pair.race(reading(counter, 1, now, technician, now), reading(counter, 2, now, inspector, now))
    assert sorted(type(each).__name__ for each in outcomes) == ["IntegrityError", "Reading"], outcomes


# Imports --------------------------------------------------------------------------------------------------------------

SHEET = b"asset_tag,asset_name,asset_kind\nR-77,Mole Swing,ride\n"


@pytest.fixture
def waiting(site, planner, now, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path

    def make() -> RegisterImport:
        row = RegisterImport(
            site=site, file_name="a.csv", file_sha256="0" * 64, dry_run=True, started_by=planner, started_at=now
        )
        row.file.save("a.csv", ContentFile(SHEET), save=False)
        row.save()
        return row

    return make


def run_both(pair: Pair, row: RegisterImport, now: Any) -> list[Any]:
    return pair.race(*[lambda: importer.run_import(import_id=row.pk, now=now)] * 2)


def test_of_two_workers_who_claim_one_import_one_runs_it(pair, waiting, now):
    for _ in range(FEW // 4):
        row = waiting()
        codes(run_both(pair, row, now))
        row.refresh_from_db()
        assert (row.state, row.attempts) == ("checked", 1)


def test_control_without_the_claim_both_run_one_import(pair, waiting, now, monkeypatch):
    row = waiting()
    monkeypatch.setattr(claims, "_free", lambda kind, pk, taken_from, now: RegisterImport.objects.filter(pk=pk))
    run_both(pair, row, now)
    row.refresh_from_db()
    assert row.attempts == 2
