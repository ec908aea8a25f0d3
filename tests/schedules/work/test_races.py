"""Two people at once: one wins, the other is told what happened. Each race has its control with the lock taken away."""

import threading

import pytest
from django.db import connection

from assets_app.models import Inspection, RecordEntry
from assets_app.refusals import Conflict
from schedules.models import WorkOrder
from schedules.work import orders, raising
from schedules.work.finishing import LookInput, finish

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]


def at_once(*deeds):
    """Run deeds in threads of their own; what each gave or raised, in order."""
    outcomes = [None] * len(deeds)
    start = threading.Barrier(len(deeds), timeout=10)

    def run(place, deed):
        try:
            start.wait()
            outcomes[place] = deed()
        except Exception as error:
            outcomes[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(deeds)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return outcomes


def test_of_two_who_finish_one_order_exactly_one_wins(look_order, all_steps, inspector, now):
    order = all_steps(look_order, inspector)

    def deed():
        return finish(
            order_id=order.pk,
            expected_version=order.version,
            look=LookInput(result="accepted"),
            actor=inspector,
            now=now,
        )

    outcomes = at_once(deed, deed)
    lost = [each for each in outcomes if isinstance(each, Conflict)]
    assert [each.code for each in lost] == ["order_changed"], outcomes
    assert sum(isinstance(each, WorkOrder) for each in outcomes) == 1
    assert Inspection.objects.count() == 1


def test_control_without_the_lock_both_note_part_done_on_one_version(repair_order, technician, now, monkeypatch):
    """Both read the order before either writes: with the lock taken away the second one's check sees nothing new."""
    from schedules.work import actions

    both_read = threading.Barrier(2, timeout=10)

    def unlocked(order_id):
        order = WorkOrder.objects.select_related("site", "joint", "asset").get(pk=order_id)
        both_read.wait()
        return order

    monkeypatch.setattr(orders, "locked", unlocked)

    def deed():
        return actions.note_part_done(
            order_id=repair_order.pk, expected_version=1, note="half", minutes_spent=10, actor=technician, now=now
        )

    outcomes = at_once(deed, deed)
    assert all(isinstance(each, WorkOrder) for each in outcomes), outcomes
    repair_order.refresh_from_db()
    assert (repair_order.version, repair_order.minutes_spent) == (2, 10)  # one of the two is lost
    assert RecordEntry.objects.filter(deed="order.part_done").count() == 2


def test_the_lock_keeps_both_from_part_done_on_one_version(repair_order, technician, now):
    from schedules.work import actions

    def deed():
        return actions.note_part_done(
            order_id=repair_order.pk, expected_version=1, note="half", minutes_spent=10, actor=technician, now=now
        )

    outcomes = at_once(deed, deed)
    assert sorted(type(each).__name__ for each in outcomes) == ["Conflict", "WorkOrder"]


def test_two_planners_who_press_the_button_at_once_raise_each_order_once(dated, site, planner, now):
    def deed():
        return raising.raise_due_orders(site_id=site.pk, within_days=30, actor=planner, now=now)

    outcomes = at_once(deed, deed)
    assert sorted(len(each) for each in outcomes) == [0, 1], outcomes
    assert WorkOrder.objects.count() == 1


def test_a_look_recorded_beside_a_finish_does_not_lock_both_for_ever(look_order, all_steps, inspector, now):
    """Joint, order, record: both walk that way, so neither waits for the other."""
    from assets_app.inspections.actions import record_inspection

    order = all_steps(look_order, inspector)

    def finishing():
        return finish(
            order_id=order.pk,
            expected_version=order.version,
            look=LookInput(result="accepted"),
            actor=inspector,
            now=now,
        )

    def looking():
        return record_inspection(
            joint_id=order.joint_id, method="MT", inspected_at=now, result="accepted", actor=inspector, now=now
        )

    outcomes = at_once(finishing, looking)
    assert isinstance(outcomes[1], Inspection), outcomes
    assert isinstance(outcomes[0], WorkOrder | Conflict), outcomes
    order.refresh_from_db()
    assert order.state == "done"


@pytest.mark.parametrize("is_locked", [True, False], ids=["with the lock", "control without it"])
def test_an_order_given_while_the_role_is_taken_never_stays_with_the_leaver(
    is_locked, repair_order, technician, planner, manager, site, now, monkeypatch
):
    """The giver has looked at the role and not yet committed when the role is taken, and waits for that as it can."""
    from assets_app.people.actions import take_role
    from schedules.work import actions

    given, taken, write_down = threading.Event(), threading.Event(), orders.write_down

    def slowly(order, entry, **facts):
        if entry == "order.assigned":
            given.set()
            taken.wait(0.3)
        write_down(order, entry, **facts)

    monkeypatch.setattr(orders, "write_down", slowly)
    if not is_locked:
        monkeypatch.setattr(orders, "_locked_taker", lambda person_id: technician)

    def give():
        return actions.assign(
            order_id=repair_order.pk, expected_version=1, assignee_id=technician.pk, actor=planner, now=now
        )

    def take():
        given.wait(10)
        freed = take_role(site_id=site.pk, person_id=technician.pk, name="technician", actor=manager, now=now)
        taken.set()
        return freed

    outcomes = at_once(give, take)
    repair_order.refresh_from_db()
    left_with = repair_order.assignee
    assert outcomes[1] == ([repair_order.number] if is_locked else []), outcomes
    assert left_with == (None if is_locked else technician)
