"""Orders of somebody who may do no more work at a site go back to nobody; what is done, and other sites, stay."""

import pytest

from assets_app.models import RecordEntry, Role
from assets_app.people.actions import grant_role, take_role
from schedules.work import actions
from schedules.work.models import WorkOrder

pytestmark = pytest.mark.django_db


@pytest.fixture
def given(look_order, repair_order, technician, planner, now):
    for order in (look_order, repair_order):
        actions.assign(order_id=order.pk, expected_version=1, assignee_id=technician.pk, actor=planner, now=now)
    WorkOrder.objects.filter(pk=repair_order.pk).update(state="waiting")
    return look_order, repair_order


def test_with_the_last_role_to_work_open_orders_go_back_and_each_says_so(
    client, given, technician, manager, site, now, planner
):
    look, repair = given
    who = {"site_id": site.pk, "person_id": technician.pk, "actor": manager, "now": now}
    grant_role(name="inspector", **who)
    assert take_role(name="technician", **who) == [], "as inspector the work goes on"
    client.force_login(manager)
    sent = {"site_id": site.pk, "name": "inspector"}
    page = client.post(f"/people/{technician.pk}/roles/take/", sent, follow=True).content.decode()
    assert f"2 orders of {technician.display_name} go back to nobody ({look.number}, {repair.number})" in page
    for order, state in ((look, "open"), (repair, "waiting")):
        order.refresh_from_db()
        assert (order.assignee, order.state, order.version) == (None, state, 3)
    client.force_login(planner)
    log = client.get(f"/orders/{look.pk}/").content.decode()
    assert f"unassigned, {technician.display_name} is inspector here no more" in log
    assert RecordEntry.objects.filter(deed="order.unassigned").count() == 2


def test_what_is_done_keeps_its_name(given, technician, manager, site, other_site, now):
    look, repair = given
    WorkOrder.objects.filter(pk=look.pk).update(state="done")
    Role.objects.create(person=technician, site=other_site, name="technician")  # work elsewhere is no work here
    freed = take_role(site_id=site.pk, person_id=technician.pk, name="technician", actor=manager, now=now)
    assert freed == [repair.number]
    look.refresh_from_db()
    assert look.assignee == technician
