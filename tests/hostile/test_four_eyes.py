"""Every way found by which one person could have been both pairs of eyes, tried by that person; each is refused."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.db.models import Max
from django.test import Client
from django.test.utils import CaptureQueriesContext

from assets_app.inspections.actions import correct_inspection, record_inspection
from assets_app.models import Inspection, Qualification, Role
from assets_app.refusals import NotAllowed
from schedules.models import WorkOrder
from schedules.work import actions, raising
from schedules.work.finishing import LookInput, finish, verify
from schedules.work.holds import place_hold, release_hold
from schedules.work.queries import my_work
from schedules.work.welding import WeldInput

pytestmark = [pytest.mark.django_db, pytest.mark.hostile]


def certify(who, **told):
    Qualification.objects.create(person=who, issued_on=date(2024, 1, 1), expires_on=date(2029, 1, 1), **told)


@pytest.fixture
def both(inspector, site):
    """Inspector, and an engineer who may lift holds: every right that one person can have."""
    Role.objects.create(person=inspector, site=site, name="engineer", release_authority=True)
    certify(inspector, kind="engineer")
    return inspector


@pytest.fixture
def hold(weld_joint, technician, now):
    return place_hold(joint_id=weld_joint.pk, reason="cracked paint at the toe", actor=technician, now=now)


def refused(deed, code="did_the_work"):
    with pytest.raises(NotAllowed) as told:
        deed()
    assert told.value.code == code


def verifying(order, who, now):
    order.refresh_from_db()
    return lambda: verify(order_id=order.pk, expected_version=order.version, actor=who, now=now)


def may_not_verify(order, who, now):
    refused(verifying(order, who, now))
    assert order not in my_work(who, today=now.date()).to_verify, "it is not held out to them either"


def lifting(hold, who, now):
    return lambda: release_hold(hold_id=hold.pk, reason="ground", evidence="report 7", actor=who, now=now)


def done(order, who, now, **told):
    order.refresh_from_db()
    return finish(order_id=order.pk, expected_version=order.version, actor=who, now=now, **told)


def step(order, who, now, sequence=1):
    order.refresh_from_db()
    actions.do_step(order_id=order.pk, expected_version=order.version, sequence=sequence, actor=who, now=now)


def test_a_step_done_again_by_another_does_not_free_who_did_it_first(
    repair_order, all_steps, technician, both, hold, now
):
    step(repair_order, both, now)
    done(all_steps(repair_order, technician), technician, now)
    assert not repair_order.steps.filter(done_by=both).exists(), "the order itself has forgotten"
    may_not_verify(repair_order, both, now)
    refused(lifting(hold, both, now))


def test_who_left_the_order_part_done_has_worked_on_it(repair_order, all_steps, technician, both, hold, now):
    actions.note_part_done(order_id=repair_order.pk, expected_version=1, note="gouged out", actor=both, now=now)
    done(all_steps(repair_order, technician), technician, now)
    may_not_verify(repair_order, both, now)
    refused(lifting(hold, both, now))


def test_who_began_a_look_and_left_it_incomplete_does_not_verify_it(look_order, all_steps, both, person, site, now):
    done(look_order, both, now, look=LookInput(result="incomplete", note="no light"))
    other = person("inspector", site)
    certify(other, kind="ndt", method="MT", level=2)
    done(all_steps(look_order, other), other, now, look=LookInput(result="accepted"))
    may_not_verify(look_order, both, now)
    assert (look_order.state, look_order.verified_by) == (WorkOrder.State.DONE, None)


def corrected_by(order, who, now):
    order.refresh_from_db()
    return correct_inspection(
        inspection_id=order.inspection_id,
        reason="wrong light noted",
        method="MT",
        inspected_at=now,
        result="accepted",
        actor=who,
        now=now + timedelta(minutes=1),
    )


@pytest.fixture
def looked(look_order, all_steps, person, site, now):
    other = person("inspector", site)
    certify(other, kind="ndt", method="MT", level=2)
    return done(all_steps(look_order, other), other, now, look=LookInput(result="accepted"))


def test_who_corrected_the_look_does_not_verify_its_order(looked, both, engineer, now):
    corrected_by(looked, both, now)
    may_not_verify(looked, both, now)
    assert looked in my_work(engineer, today=now.date()).to_verify
    assert verifying(looked, engineer, now)().verified_by == engineer


def test_who_verified_the_order_does_not_correct_its_look_afterwards(looked, both, now):
    verifying(looked, both, now)()
    refused(lambda: corrected_by(looked, both, now), "verified_it")
    assert Inspection.objects.count() == 1, "nothing is left of the correction"


def test_a_look_recorded_beside_its_order_is_not_verified_by_who_recorded_it(
    look_order, both, now, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        record_inspection(
            joint_id=look_order.joint_id, method="MT", inspected_at=now, result="accepted", actor=both, now=now
        )
    look_order.refresh_from_db()
    assert look_order.state == WorkOrder.State.DONE
    may_not_verify(look_order, both, now)


def test_a_hold_placed_because_of_the_last_repair_is_not_lifted_by_who_did_it(
    repair_order, all_steps, weld_joint, technician, both, now
):
    done(all_steps(repair_order, both), both, now)
    later = now + timedelta(hours=1)
    hold = place_hold(joint_id=weld_joint.pk, reason="the repair cracked", actor=technician, now=later)
    refused(lifting(hold, both, later))
    hold.refresh_from_db()
    assert (hold.released_at, hold.released_by) == (None, None)


def test_older_work_that_another_has_done_anew_since_does_not_bind(
    repair_order, all_steps, weld_joint, technician, both, planner, now
):
    done(all_steps(repair_order, both), both, now)
    later = now + timedelta(hours=1)
    hold = place_hold(joint_id=weld_joint.pk, reason="the repair cracked", actor=technician, now=later)
    again = raising.raise_order_by_hand(
        joint_id=weld_joint.pk, kind="repair", why="cracked again", actor=planner, now=later
    )
    done(all_steps(again, technician), technician, later)
    assert lifting(hold, both, later)().released_by == both


def test_closing_the_order_lifts_no_hold(repair_order, all_steps, technician, both, hold, now):
    done(all_steps(repair_order, technician), technician, now)
    verifying(repair_order, both, now)()
    hold.refresh_from_db()
    assert hold.released_at is None


def test_a_welder_named_by_another_is_bound_like_who_did_it(repair_order, all_steps, technician, both, hold, now):
    done(all_steps(repair_order, technician), technician, now, weld=WeldInput(welder_id=both.pk, process="135"))
    may_not_verify(repair_order, both, now)
    refused(lifting(hold, both, now))
    hold.refresh_from_db()
    assert (repair_order.verified_by, hold.released_at) == (None, None)


@pytest.mark.parametrize("door", ["page", "api"])
def test_pages_and_api_refuse_what_the_deed_refuses(door, repair_order, all_steps, technician, both, hold, now):
    step(repair_order, both, now)
    order = done(all_steps(repair_order, technician), technician, now)
    client = Client()
    client.force_login(both)
    root, verb = ("/api/v1", "") if door == "api" else ("", "do/")
    sent = {"version": order.version, "expected_version": order.version}
    answer = client.post(f"{root}/orders/{order.pk}/{verb}verify/", sent, HTTP_IDEMPOTENCY_KEY="verify-once")
    assert answer.status_code == 403, answer.content
    lift = {"reason": "ground", "evidence": "report 7"}
    assert client.post(f"{root}/holds/{hold.pk}/release/", lift, HTTP_IDEMPOTENCY_KEY="lift-once").status_code == 403
    order.refresh_from_db()
    hold.refresh_from_db()
    assert (order.verified_by, hold.released_by) == (None, None)
    assert "Verify and close" not in client.get(f"/orders/{order.pk}/").content.decode()


@pytest.fixture
def done_ones(site, asset, weld_joint, now):
    """Orders that are done, so many by each of some people, the longest waiting first."""

    def make(*told):
        who = [person for person, many in told for _ in range(many)]
        common = {"site": site, "asset": asset, "joint": weld_joint, "kind": "repair", "state": "done"}
        first = (WorkOrder.objects.aggregate(last=Max("number"))["last"] or 0) + 1
        return WorkOrder.objects.bulk_create(
            WorkOrder(
                number=number, done_by=one, done_at=now - timedelta(days=9, minutes=-number), raised_at=now, **common
            )
            for number, one in enumerate(who, start=first)
        )

    return make


def test_own_work_that_waits_longer_hides_nobody_elses(done_ones, technician, both, now):
    """The forty shown are the first that this person may verify, in as many queries as for a few."""
    mine = done_ones((both, 45))
    mine[0].steps.create(sequence=1, text="ground", done_by=technician, done_at=now)
    theirs = done_ones((technician, 3))
    with CaptureQueriesContext(connection) as few:
        assert my_work(both, today=now.date()).to_verify == theirs
    more = done_ones((technician, 45))
    with CaptureQueriesContext(connection) as many:
        assert my_work(both, today=now.date()).to_verify == [*theirs, *more][:40]
    assert len(many) == len(few)


def test_corrections_cost_no_query_each(done_ones, looked, technician, both, engineer, now):
    with CaptureQueriesContext(connection) as none:
        assert my_work(both, today=now.date()).to_verify == [looked]
    certify(engineer, kind="ndt", method="MT", level=2)
    first = corrected_by(looked, engineer, now)
    again = correct_inspection(
        inspection_id=first.pk, reason="the wrong day", method="MT", inspected_at=now, result="accepted",
        actor=both, now=now + timedelta(minutes=2),
    )  # fmt: skip
    assert again.corrects == first
    with CaptureQueriesContext(connection) as two:
        assert my_work(both, today=now.date()).to_verify == []
    assert len(two) == len(none)
    may_not_verify(looked, engineer, now)
    may_not_verify(looked, both, now)
