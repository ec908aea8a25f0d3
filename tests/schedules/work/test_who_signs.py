"""Who lifts a hold or puts work off as an engineer needs a running certificate; who comes second hears of the first."""

from datetime import date

import pytest

from assets_app.models import Qualification, Role
from assets_app.refusals import Conflict, NotAllowed
from schedules.deferral.actions import sign_deferral
from schedules.work import actions
from schedules.work.holds import place_hold, release_hold

pytestmark = pytest.mark.django_db


@pytest.fixture
def hold(weld_joint, technician, now):
    return place_hold(joint_id=weld_joint.pk, reason="cracked paint at the toe", actor=technician, now=now)


@pytest.fixture
def lapsed(person, site):
    """An engineer who may lift holds; the certificate ran out yesterday."""
    who = person("engineer", site, authority=True)
    Qualification.objects.filter(person=who).update(expires_on=date(2026, 6, 14))
    return who


def lift(hold, actor, now):
    return release_hold(hold_id=hold.pk, reason="ground", evidence="report 7", actor=actor, now=now)


def defer(order, actor, now):
    return sign_deferral(
        order_id=order.pk,
        expected_version=order.version,
        ends_on=date(2026, 7, 1),
        reason="weather",
        interim_measure="looked at daily",
        actor=actor,
        now=now,
    )


def test_a_lapsed_engineer_lifts_no_hold_and_hears_who_could(hold, lapsed, engineer, person, site, now, client):
    authority = person("manager", site, authority=True)
    with pytest.raises(NotAllowed) as refused:
        lift(hold, lapsed, now)
    assert refused.value.code == "engineer_not_certified"
    assert refused.value.data["who_could"] == [authority.display_name], "an engineer without authority could not"
    client.force_login(lapsed)
    assert "ran out on 14 Jun 2026" in client.get("/holds/").content.decode()
    assert lift(hold, authority, now).released_by == authority


def test_a_lapsed_engineer_puts_nothing_off(look_order, lapsed, manager, now):
    with pytest.raises(NotAllowed) as refused:
        defer(look_order, lapsed, now)
    assert refused.value.code == "engineer_not_certified"
    assert manager.display_name in refused.value.data["who_could"]


def test_who_is_manager_too_signs_as_manager(hold, lapsed, site, now):
    Role.objects.create(person=lapsed, site=site, name="manager", release_authority=True)
    assert lift(hold, lapsed, now).released_by == lapsed


def test_who_lifts_a_hold_second_hears_who_lifted_it_and_when_by_the_sites_clock(hold, person, site, now):
    first, second = (person("manager", site, authority=True) for _ in range(2))
    type(first).objects.filter(pk=first.pk).update(last_name="Oakrill")
    first.refresh_from_db()
    lift(hold, first, now)
    with pytest.raises(Conflict) as refused:
        lift(hold, second, now)
    assert refused.value.code == "already_released"
    assert "by Manager Oakrill on 15 Jun 2026 at 10:00" in refused.value.message
    assert refused.value.data["by"] == "Manager Oakrill"


def test_who_holds_a_finding_second_hears_who_held_it_and_when(finding, technician, inspector, now):
    seen = finding()
    place_hold(finding_id=seen.pk, reason="long", actor=technician, now=now)
    with pytest.raises(Conflict) as refused:
        place_hold(finding_id=seen.pk, reason="long too", actor=inspector, now=now)
    assert refused.value.code == "already_held"
    assert f"placed by {technician.display_name} on 15 Jun 2026 at 10:00" in refused.value.message


def test_a_stale_deed_hears_what_changed_by_whom_and_when(repair_order, technician, now):
    actions.do_step(order_id=repair_order.pk, expected_version=1, sequence=1, actor=technician, now=now)
    with pytest.raises(Conflict) as refused:
        actions.finish(order_id=repair_order.pk, expected_version=1, actor=technician, now=now)
    assert refused.value.code == "order_changed"
    assert f"step done by {technician.display_name} on 15 Jun 2026 at 10:00" in refused.value.message
