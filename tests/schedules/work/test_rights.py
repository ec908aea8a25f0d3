"""Every deed on an order: denied, granted, recorded, stale."""

from datetime import date

import pytest

from assets_app.models import RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound
from schedules.models import Part, WorkOrder
from schedules.work import actions

pytestmark = pytest.mark.django_db

# deed -> (call, who may, who may not, entry)
DEEDS = {
    "assign": (lambda **who: actions.assign(assignee_id=None, **who), "planner", "technician", "order.assigned"),
    "plan": (lambda **who: actions.plan(planned_on=date(2026, 7, 1), **who), "manager", "engineer", "order.planned"),
    "add_temporary_work": (
        lambda **who: actions.add_temporary_work(what="shoring", **who),
        "technician",
        "auditor",
        "order.temporary_work_added",
    ),
    "add_part": (lambda **who: actions.add_part(name="bolt", **who), "technician", "auditor", "order.part_added"),
    "begin_wait": (lambda **who: actions.begin_wait(reason="permit", **who), "planner", "auditor", "order.waiting"),
    "do_step": (lambda **who: actions.do_step(sequence=1, **who), "technician", "planner", "order.step_done"),
    "part_done": (lambda **who: actions.note_part_done(note="half", **who), "engineer", "manager", "order.part_done"),
    "cancel": (lambda **who: actions.cancel(reason="no need", **who), "manager", "technician", "order.cancelled"),
}
EVERY = pytest.mark.parametrize("name", DEEDS)


@EVERY
def test_granted_and_recorded(name, repair_order, person, site, now):
    call, may, _, entry = DEEDS[name]
    who = person(may, site)
    call(order_id=repair_order.pk, expected_version=1, actor=who, now=now)
    written = RecordEntry.objects.order_by("pk").last()
    assert (written.deed, written.actor, written.subject_id) == (entry, who, repair_order.pk)
    assert written.facts["version"] == WorkOrder.objects.get(pk=repair_order.pk).version == 2


@EVERY
def test_denied_to_other_roles(name, repair_order, person, site, now):
    call, _, may_not, _ = DEEDS[name]
    with pytest.raises(NotAllowed) as refused:
        call(order_id=repair_order.pk, expected_version=1, actor=person(may_not, site), now=now)
    assert refused.value.code == "role_lacks_right"
    assert WorkOrder.objects.get(pk=repair_order.pk).version == 1


@EVERY
def test_not_found_from_another_site(name, repair_order, person, other_site, now):
    call, may, _, _ = DEEDS[name]
    with pytest.raises(NotFound):
        call(order_id=repair_order.pk, expected_version=1, actor=person(may, other_site), now=now)


@EVERY
def test_refused_on_a_stale_page(name, repair_order, planner, person, site, now):
    actions.plan(order_id=repair_order.pk, expected_version=1, planned_on=None, actor=planner, now=now)
    call, may, _, _ = DEEDS[name]
    with pytest.raises(Conflict) as refused:
        call(order_id=repair_order.pk, expected_version=1, actor=person(may, site), now=now)
    assert refused.value.code == "order_changed"
    assert refused.value.data["changes"][0]["deed"] == "planned"
    assert refused.value.data["version"] == 2


def test_only_who_may_work_here_gets_an_order(repair_order, planner, manager, now):
    from assets_app.refusals import Unprocessable

    with pytest.raises(Unprocessable) as refused:
        actions.assign(order_id=repair_order.pk, expected_version=1, assignee_id=manager.pk, actor=planner, now=now)
    assert refused.value.code == "cannot_work_here"


def test_a_technician_takes_a_free_order_and_no_other(repair_order, technician, person, site, now):
    actions.assign(order_id=repair_order.pk, expected_version=1, assignee_id=technician.pk, actor=technician, now=now)
    other = person("technician", site)
    with pytest.raises(NotAllowed):
        actions.assign(order_id=repair_order.pk, expected_version=2, assignee_id=other.pk, actor=other, now=now)


def test_a_part_is_ordered_once_and_arrives_once(repair_order, planner, manager, now, today):
    who = {"order_id": repair_order.pk, "actor": planner, "now": now}
    part = actions.add_part(expected_version=1, name="bolt M20x80", quantity=4, lead_time_days=10, **who)
    actions.order_part(expected_version=2, part_id=part.pk, **who)
    with pytest.raises(Conflict) as refused:
        actions.order_part(expected_version=3, part_id=part.pk, **who)
    assert refused.value.code == "already_ordered"
    assert "Part ordered by Planner on 15 Jun 2026 at" in refused.value.message
    other = actions.add_part(expected_version=3, name="bolt M20x80", **who)
    actions.order_part(expected_version=4, part_id=other.pk, order_id=repair_order.pk, actor=manager, now=now)
    with pytest.raises(Conflict) as refused:
        actions.order_part(expected_version=5, part_id=part.pk, **who)
    assert refused.value.data["by"] == "Planner"  # not who ordered the other part of this name
    actions.part_arrived(expected_version=5, part_id=part.pk, **who)
    with pytest.raises(Conflict) as refused:
        actions.part_arrived(expected_version=6, part_id=part.pk, **who)
    assert (refused.value.code, refused.value.data["by"]) == ("already_here", "Planner")
    other.delete()
    assert (Part.objects.get().ordered_on, Part.objects.get().arrived_on) == (today, today)


def test_waiting_ends_where_it_began(repair_order, technician, now, today):
    who = {"order_id": repair_order.pk, "actor": technician, "now": now}
    actions.do_step(expected_version=1, sequence=1, **who)
    actions.begin_wait(expected_version=2, reason="weather", note="gusts over 15 m/s", **who)
    order = actions.end_wait(expected_version=3, **who)
    assert (order.state, order.waits.get().ended_on) == ("part done", today)


def test_a_value_step_takes_the_value_and_a_photo_step_the_photo(repair_order, technician, photo, now):
    from assets_app.refusals import Unprocessable

    who = {"order_id": repair_order.pk, "actor": technician, "now": now}
    with pytest.raises(Unprocessable) as refused:
        actions.do_step(expected_version=1, sequence=3, **who)
    assert refused.value.code == "photo_needed"
    step = actions.do_step(expected_version=1, sequence=3, photo=photo(), **who)
    assert step.evidence.finding == repair_order.finding
    step = actions.do_step(expected_version=2, sequence=5, value="WPS-17", **who)
    assert step.value == "WPS-17"
