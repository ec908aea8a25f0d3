"""What an order may go through, and nothing else."""

import pytest

from assets_app.refusals import Conflict
from schedules.models import Step, WorkOrder
from schedules.work import actions, rules

ILLEGAL = [
    (deed, state) for deed in rules.TRANSITIONS for state in rules.STATES if state not in rules.TRANSITIONS[deed]
]
# deed -> what is called, and by whom
CALLS = {
    "assign": (lambda **who: actions.assign(assignee_id=None, **who), "planner"),
    "plan": (lambda **who: actions.plan(planned_on=None, **who), "planner"),
    "add step": (lambda **who: actions.add_temporary_work(what="lifting", **who), "planner"),
    "add part": (lambda **who: actions.add_part(name="bolt M20", **who), "planner"),
    "order part": (lambda **who: actions.order_part(part_id=1, **who), "planner"),
    "note arrival of part": (lambda **who: actions.part_arrived(part_id=1, **who), "planner"),
    "begin waiting": (lambda **who: actions.begin_wait(reason="parts", **who), "technician"),
    "end waiting": (lambda **who: actions.end_wait(**who), "technician"),
    "do step": (lambda **who: actions.do_step(sequence=1, **who), "technician"),
    "note part done": (lambda **who: actions.note_part_done(note="half", **who), "technician"),
    "finish": (lambda **who: actions.finish(**who), "technician"),
    "verify": (lambda **who: actions.verify(**who), "inspector"),
    "cancel": (lambda **who: actions.cancel(reason="no need", **who), "manager"),
}


def test_every_deed_is_called_somewhere():
    assert set(CALLS) | {"answer by look"} == set(rules.TRANSITIONS)


@pytest.mark.django_db
@pytest.mark.parametrize(("deed", "state"), [pair for pair in ILLEGAL if pair[0] in CALLS])
def test_what_the_table_does_not_allow_is_refused(deed, state, repair_order, person, site, now):
    WorkOrder.objects.filter(pk=repair_order.pk).update(state=state)
    call, role = CALLS[deed]
    with pytest.raises(Conflict) as refused:
        call(order_id=repair_order.pk, expected_version=repair_order.version, actor=person(role, site), now=now)
    assert refused.value.code == "order_state"
    repair_order.refresh_from_db()
    assert (repair_order.state, repair_order.version) == (state, 1)


def test_nothing_leads_out_of_closed_or_cancelled():
    assert all(not {"closed", "cancelled"} & set(table) for table in rules.TRANSITIONS.values())


def test_only_done_work_can_be_verified_and_done_work_only_that():
    assert rules.TRANSITIONS["verify"] == {"done": "closed"}
    assert [deed for deed, table in rules.TRANSITIONS.items() if "done" in table] == ["verify"]


@pytest.mark.parametrize("method", ["VT", "PT", "MT", "UT", "ET", "RT", "BC"])
def test_every_look_starts_with_steps_and_asks_for_a_photo(method):
    steps = rules.steps_for("inspect", method)
    assert [step.kind for step in steps].count("photo") == 1
    assert all(step.source and len(step.text) <= 200 for step in steps)
    assert {step.kind for step in steps} <= set(Step.Kind.values)


def test_an_unknown_method_has_no_steps():
    with pytest.raises(KeyError):
        rules.steps_for("inspect", "XX")
