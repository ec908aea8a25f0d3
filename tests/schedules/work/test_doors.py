"""The same deeds through the API and the pages."""

from datetime import date

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from assets_app.models import Inspection, Qualification
from schedules.models import Hold, WorkOrder
from schedules.work.holds import place_hold

pytestmark = pytest.mark.django_db


@pytest.fixture
def api(db):
    """``api(person)``"""

    def sign_in(who):
        client = APIClient()
        client.force_authenticate(who)
        return client

    return sign_in


@pytest.fixture
def sign_in(client):
    """``sign_in(person)`` gives the browser's side."""

    def go(who):
        client.force_login(who, backend="assets_app.people.signed_in.PersonBackend")
        return client

    return go


def test_the_api_lists_orders_of_my_sites_only(look_order, api, planner, stranger):
    assert [row["number"] for row in api(planner).get("/api/v1/orders/").json()["results"]] == [1]
    assert api(stranger).get("/api/v1/orders/").json()["results"] == []
    assert api(stranger).get(f"/api/v1/orders/{look_order.pk}/").status_code == 404


@pytest.mark.parametrize(
    ("query", "found"),
    [("state=open", 1), ("state=closed", 0), ("kind=repair", 0), ("due_before=2026-05-31", 0), ("mine=true", 0)],
)
def test_the_api_filters_orders(look_order, api, planner, query, found):
    assert len(api(planner).get(f"/api/v1/orders/?{query}").json()["results"]) == found


def test_the_api_raises_from_each_origin(dated, finding, weld_joint, api, planner):
    client = api(planner)
    for given in (
        {"programme": dated.pk},
        {"finding": finding().pk, "kind": "repair"},
        {"joint": weld_joint.pk, "kind": "inspect", "method": "VT", "why": "asked by the insurer"},
    ):
        assert client.post("/api/v1/orders/", given, format="json").status_code == 201
    both = client.post("/api/v1/orders/", {"programme": dated.pk, "joint": weld_joint.pk}, format="json")
    assert both.status_code == 422
    assert sorted(WorkOrder.objects.values_list("origin", flat=True)) == ["by hand", "due date", "finding"]


def test_a_finish_sent_twice_with_one_key_is_one_look(look_order, all_steps, api, inspector):
    order = all_steps(look_order, inspector)
    client, given = api(inspector), {"version": order.version, "look": {"result": "accepted"}}
    url, key = f"/api/v1/orders/{order.pk}/finish/", {"HTTP_IDEMPOTENCY_KEY": "phone-7-job-1"}
    first = client.post(url, given, format="json", **key)
    again = client.post(url, given, format="json", **key)
    assert (first.status_code, again.status_code) == (200, 200)
    assert first.json()["state"] == again.json()["state"] == "done"
    assert Inspection.objects.count() == 1
    late = client.post(url, given, format="json")
    assert (late.status_code, late.json()["code"]) == (409, "order_changed")
    assert late.json()["changes"][0]["deed"] == "finished"


def test_the_api_walks_an_order_to_its_end(repair_order, api, planner, technician, inspector, photo):
    Qualification.objects.filter(person=technician).update(last_used_on=timezone.now().date())
    url = f"/api/v1/orders/{repair_order.pk}/"
    version = 1

    def post(who, door, **given):
        nonlocal version
        answer = api(who).post(f"{url}{door}/", {"version": version, **given}, format="json")
        assert answer.status_code == 200, answer.json()
        version = answer.json()["version"]
        return answer.json()

    post(planner, "plan", planned_on="2099-01-01", cost_estimate="120.00")
    post(planner, "assign", assignee_id=technician.pk)
    part = post(technician, "add-part", name="strip")["parts"][0]
    post(planner, "order-part", part_id=part["id"])
    assert post(technician, "wait", reason="parts")["state"] == "waiting"
    post(technician, "part-arrived", part_id=part["id"])
    assert post(technician, "end-wait")["state"] == "open"
    for step in repair_order.steps.all():
        given = {"version": version, "value": "WPS-17"}
        if step.kind == "photo":
            from django.core.files.uploadedfile import SimpleUploadedFile

            given["photo"] = SimpleUploadedFile("w.jpg", photo().data, "image/jpeg")
        answer = api(technician).post(f"{url}steps/{step.sequence}/", given, format="multipart")
        version = answer.json()["version"]
    assert post(technician, "finish", minutes_spent=90)["state"] == "done"
    assert post(inspector, "verify", note="ground smooth")["state"] == "closed"


def test_holds_are_placed_and_lifted_through_the_api(weld_joint, api, person, site, technician, now):
    placed = api(technician).post("/api/v1/holds/", {"joint": weld_joint.pk, "reason": "creaks"}, format="json")
    assert (placed.status_code, placed.json()["standing"]) == (201, True)
    url = f"/api/v1/holds/{placed.json()['id']}/release/"
    said = {"reason": "looked at", "evidence": "report 7"}
    assert api(technician).post(url, said, format="json").status_code == 403
    assert api(person("engineer", site, authority=True)).post(url, said, format="json").json()["standing"] is False
    assert api(technician).get("/api/v1/holds/?standing=true").json()["results"] == []


# --- pages ------------------------------------------------------------------------------------------------------------


def test_my_next_job_is_the_earliest_of_mine(look_order, repair_order, technician, sign_in):
    WorkOrder.objects.update(assignee=technician)
    page = sign_in(technician).get("/my-work/").content.decode()
    assert page.index("MT of W-001") < page.index("Repair W-001")
    assert f'href="/orders/{look_order.pk}/">Start' in page


def test_what_is_put_off_is_not_my_next_job(look_order, repair_order, technician, manager, sign_in, now):
    from schedules.deferral.actions import sign_deferral

    WorkOrder.objects.update(assignee=technician)
    sign_deferral(
        order_id=look_order.pk,
        expected_version=1,
        ends_on=date(2027, 6, 1),
        reason="crane",
        interim_measure="weekly by eye",
        actor=manager,
        now=now,
    )
    page = sign_in(technician).get("/my-work/").content.decode()
    assert page.index("Repair W-001") < page.index("MT of W-001")
    assert "put off until 1 Jun 2027" in page


def test_a_technician_without_a_job_is_told_what_to_do(technician, sign_in):
    assert "No job is yours now" in sign_in(technician).get("/my-work/").content.decode()


@pytest.mark.parametrize("path", ["/my-work/", "/orders/", "/holds/"])
def test_pages_ask_to_sign_in(path, client, db):
    assert client.get(path).status_code == 302


def test_an_order_of_another_site_is_not_there(look_order, stranger, sign_in):
    assert sign_in(stranger).get(f"/orders/{look_order.pk}/").status_code == 404


def test_a_look_is_finished_on_the_page_and_verified_by_another(look_order, all_steps, inspector, engineer, sign_in):
    order = all_steps(look_order, inspector)
    given = {
        "version": order.version,
        "result": "findings",
        "conditions": "good",
        "minutes_spent": "35",
        "findings-TOTAL_FORMS": "1",
        "findings-INITIAL_FORMS": "0",
        "findings-0-kind": "5011",
        "findings-0-size": "1.2 mm",
        "findings-0-length": "20 mm",
        "findings-0-place": "toe",
    }
    answer = sign_in(inspector).post(f"/orders/{order.pk}/finish/", given)
    assert answer.status_code == 302, answer.content.decode()
    order.refresh_from_db()
    look = Inspection.objects.get()
    assert (order.state, look.result, look.conditions, look.findings.get().kind) == ("done", "findings", "good", "5011")
    page = sign_in(inspector).get(f"/orders/{order.pk}/").content.decode()
    assert "Verify and close" not in page  # never the doer
    sign_in(engineer).post(f"/orders/{order.pk}/do/verify/", {"version": order.version})
    order.refresh_from_db()
    assert (order.state, order.verified_by) == ("closed", engineer)


def test_what_was_typed_stays_when_one_more_finding_is_asked_for(look_order, inspector, sign_in):
    given = {"version": 1, "add": "1", "findings-TOTAL_FORMS": "1", "findings-0-size": "3/8 in", "note": "rusty"}
    page = sign_in(inspector).post(f"/orders/{look_order.pk}/finish/", given).content.decode()
    assert 'value="3/8 in"' in page
    assert "rusty" in page
    assert "findings-1-size" in page
    assert not Inspection.objects.exists()


def test_a_stale_page_says_what_changed_and_can_then_be_sent_again(look_order, planner, technician, sign_in, now):
    from schedules.work import actions

    actions.plan(order_id=look_order.pk, expected_version=1, planned_on=date(2026, 7, 1), actor=planner, now=now)
    client = sign_in(technician)
    answer = client.post(f"/orders/{look_order.pk}/do/part-done/", {"version": 1, "note": "half", "minutes_spent": 5})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert f"planned by {planner.display_name}" in page
    assert "half</textarea>" in page
    answer = client.post(f"/orders/{look_order.pk}/do/part-done/", {"version": 2, "note": "half", "minutes_spent": 5})
    assert answer.status_code == 302


def test_a_step_without_its_value_is_refused_in_words(repair_order, technician, sign_in):
    answer = sign_in(technician).post(f"/orders/{repair_order.pk}/steps/5/", {"version": 1, "value": ""})
    assert answer.status_code == 422
    assert "Write the value that you read." in answer.content.decode()


def test_a_technician_takes_a_free_order_on_the_page(repair_order, technician, sign_in):
    sign_in(technician).post(f"/orders/{repair_order.pk}/take/", {"version": 1})
    repair_order.refresh_from_db()
    assert repair_order.assignee == technician


def test_the_planner_raises_all_that_falls_due_with_one_button(dated, site, planner, sign_in):
    client = sign_in(planner)
    for _ in range(2):
        client.post("/orders/raise-due/", {"site_id": site.pk, "within_days": 30})
    assert WorkOrder.objects.count() == 1


def test_a_held_asset_shows_on_every_order_of_it(look_order, technician, sign_in, now):
    place_hold(asset_id=look_order.asset_id, reason="it creaks", actor=technician, now=now)
    page = sign_in(technician).get(f"/orders/{look_order.pk}/").content.decode()
    assert 'class="held"' in page
    assert "it creaks" in page


def test_a_hold_is_placed_on_the_page_by_the_tag_of_the_joint(weld_joint, technician, sign_in):
    client = sign_in(technician)
    given = {"asset_id": weld_joint.asset_id, "joint_tag": "w-001", "reason": "crack in the paint"}
    assert client.post("/holds/", given | {"joint_tag": "W-999"}).status_code == 422
    assert client.post("/holds/", given).status_code == 302
    assert Hold.objects.get().joint == weld_joint


def test_only_an_authority_is_shown_the_way_to_lift(weld_joint, technician, person, site, sign_in, now):
    place_hold(joint_id=weld_joint.pk, reason="it creaks", actor=technician, now=now)
    assert "I lift this hold" not in sign_in(technician).get("/holds/").content.decode()
    assert "I lift this hold" in sign_in(person("manager", site, authority=True)).get("/holds/").content.decode()


def test_pages_of_orders_go_on_by_key(look_order, repair_order, planner, sign_in, monkeypatch):
    monkeypatch.setattr("schedules.work.pages.ROWS", 1)
    client = sign_in(planner)
    first = client.get("/orders/")
    assert [order.pk for order in first.context["orders"]] == [look_order.pk]
    second = client.get(f"/orders/{first.context['next_url']}")
    assert [order.pk for order in second.context["orders"]] == [repair_order.pk]
    assert second.context["next_url"] == ""
