"""Holds: anybody places one, the named authority lifts it, never who did the work."""

import pytest

from assets_app.inspections.actions import raise_severity
from assets_app.models import RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from schedules.models import Hold, Intent
from schedules.work import actions, queries
from schedules.work.finishing import finish
from schedules.work.holds import place_hold, release_hold
from tests.schedules.work.conftest import welds

pytestmark = pytest.mark.django_db


@pytest.fixture
def authority(person, site):
    return person("engineer", site, authority=True)


@pytest.fixture
def hold(weld_joint, technician, now):
    return place_hold(joint_id=weld_joint.pk, reason="cracked paint at the toe", actor=technician, now=now)


def lift(hold, actor, now, **changes):
    said = {"reason": "ground and looked at", "evidence": "report 7"} | changes
    return release_hold(hold_id=hold.pk, actor=actor, now=now, **said)


@pytest.mark.parametrize("role", ["planner", "technician", "inspector", "engineer", "manager", "auditor"])
def test_anybody_at_the_site_places_one_and_it_is_recorded(role, asset, person, site, now):
    who = person(role, site)
    place_hold(asset_id=asset.pk, reason="it creaks", actor=who, now=now)
    assert RecordEntry.objects.get(deed="hold.placed").actor == who
    assert list(queries.standing_holds([asset.pk])) == [Hold.objects.get()]


def test_nobody_from_elsewhere_places_one(asset, stranger, now):
    with pytest.raises(NotFound):
        place_hold(asset_id=asset.pk, reason="it creaks", actor=stranger, now=now)


def test_a_hold_says_why_and_on_what(asset, technician, now):
    for given, code in (({"asset_id": asset.pk, "reason": " "}, "reason_needed"), ({"reason": "x"}, "what_is_held")):
        with pytest.raises(Unprocessable) as refused:
            place_hold(actor=technician, now=now, **given)
        assert refused.value.code == code


def test_a_finding_raised_to_hold_now_holds_its_joint_once(finding, technician, now):
    seen = finding("watch")
    raise_severity(finding_id=seen.pk, severity="repair before use", reason="longer", actor=technician, now=now)
    assert not Hold.objects.exists()
    raise_severity(finding_id=seen.pk, severity="hold now", reason="through the wall", actor=technician, now=now)
    hold = Hold.objects.get()
    assert (hold.finding, hold.placed_by) == (seen, None)
    assert "through the wall" in hold.reason
    with pytest.raises(Conflict) as refused:
        place_hold(finding_id=seen.pk, reason="same", actor=technician, now=now)
    assert refused.value.code == "already_held"


def test_the_hold_is_told_in_the_same_transaction(hold, authority, now):
    lift(hold, authority, now)
    assert set(Intent.objects.values_list("key", flat=True)) == {f"hold placed:{hold.pk}", f"hold released:{hold.pk}"}


def test_the_authority_lifts_it_and_it_is_recorded(hold, authority, now):
    lift(hold, authority, now)
    entry = RecordEntry.objects.get(deed="hold.released")
    assert (entry.actor, entry.facts["evidence"]) == (authority, "report 7")
    assert not queries.standing_holds([hold.asset_id]).exists()


def test_an_engineer_who_is_not_named_lifts_nothing(hold, engineer, now):
    with pytest.raises(NotAllowed) as refused:
        lift(hold, engineer, now)
    assert refused.value.code == "not_release_authority"


def test_a_technician_lifts_nothing_even_if_named(hold, person, site, now):
    with pytest.raises(NotAllowed) as refused:
        lift(hold, person("technician", site, authority=True), now)
    assert refused.value.code == "role_lacks_right"


@pytest.mark.parametrize(("missing", "code"), [("reason", "reason_needed"), ("evidence", "evidence_needed")])
def test_reason_and_evidence_are_asked_for(hold, authority, now, missing, code):
    with pytest.raises(Unprocessable) as refused:
        lift(hold, authority, now, **{missing: " "})
    assert refused.value.code == code


def test_a_lifted_hold_is_not_lifted_again(hold, authority, now):
    lift(hold, authority, now)
    with pytest.raises(Conflict) as refused:
        lift(hold, authority, now)
    assert refused.value.code == "already_released"


def test_never_by_who_did_the_repair(hold, repair_order, all_steps, authority, person, site, now):
    order = all_steps(repair_order, welds(authority))
    finish(order_id=order.pk, expected_version=order.version, actor=authority, now=now)
    with pytest.raises(NotAllowed) as refused:
        lift(hold, authority, now)
    assert refused.value.code == "did_the_work"
    lift(hold, person("manager", site, authority=True), now)


def test_nor_by_who_did_a_single_step_of_it(hold, repair_order, authority, now):
    actions.do_step(order_id=repair_order.pk, expected_version=1, sequence=1, actor=authority, now=now)
    with pytest.raises(NotAllowed) as refused:
        lift(hold, authority, now)
    assert refused.value.code == "did_the_work"


def test_not_while_the_finding_still_says_hold_now(finding, technician, authority, now):
    seen = finding("watch")
    raise_severity(finding_id=seen.pk, severity="hold now", reason="through the wall", actor=technician, now=now)
    with pytest.raises(Conflict) as refused:
        lift(Hold.objects.get(), authority, now)
    assert refused.value.code == "finding_still_open"
