"""Putting off through the API and on the manager's sheet."""

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from schedules.models import Deferral, WorkOrder

pytestmark = pytest.mark.django_db
FAR = {"ends_on": "2027-06-15", "reason": "crane in July", "interim_measure": "weekly by eye"}


@pytest.fixture(autouse=True)
def on_the_day(monkeypatch, now):
    monkeypatch.setattr(timezone, "now", lambda: now)


def signed_in(client, who):
    client.force_login(who, backend="assets_app.people.signed_in.PersonBackend")
    return client


def test_the_api_signs_and_takes_back(look_order, manager, technician):
    client = APIClient()
    client.force_authenticate(technician)
    given = {"order": look_order.pk, "version": 1, **FAR}
    assert client.post("/api/v1/deferrals/", given, format="json").status_code == 403
    client.force_authenticate(manager)
    made = client.post("/api/v1/deferrals/", given, format="json")
    assert (made.status_code, made.json()["state"]) == (201, "standing")
    url = f"/api/v1/deferrals/{made.json()['id']}/withdraw/"
    assert client.post(url, {"reason": "crane is here"}, format="json").json()["state"] == "withdrawn"
    assert client.get("/api/v1/deferrals/?state=standing").json()["results"] == []


def test_the_sheet_shows_silence_before_signatures(look_order, repair_order, manager, client, now):
    WorkOrder.objects.filter(pk=repair_order.pk).update(due_on="2026-06-01")
    signed_in(client, manager).post(f"/orders/{look_order.pk}/put-off/", {"version": 1, **FAR})
    page = client.get("/put-off/").content.decode()
    assert page.index("nobody signed for it") < page.index("Put off, with a signature")
    assert "1</strong> overdue with no signature, <strong>1</strong> put off with one" in page


def test_a_form_without_interim_measure_keeps_what_was_typed(look_order, manager, client):
    given = {"version": 1, **FAR, "interim_measure": " "}
    answer = signed_in(client, manager).post(f"/orders/{look_order.pk}/put-off/", given)
    assert answer.status_code == 422
    assert "crane in July</textarea>" in answer.content.decode()
    assert not Deferral.objects.exists()


def test_what_cannot_be_put_off_offers_no_form(look_order, finding, manager, client):
    finding("hold now")
    page = signed_in(client, manager).get(f"/orders/{look_order.pk}/put-off/").content.decode()
    assert "It cannot be put off" in page
    assert "I sign for it" not in page


def test_a_technician_signs_nothing_on_the_page(look_order, technician, client):
    assert signed_in(client, technician).get(f"/orders/{look_order.pk}/put-off/").status_code == 403


def test_a_deferral_of_another_site_is_not_there(look_order, stranger, client):
    assert signed_in(client, stranger).get(f"/orders/{look_order.pk}/put-off/").status_code == 404


def test_an_order_is_raised_from_the_sheet_for_a_look_that_has_none(dated, manager, client):
    signed_in(client, manager)
    assert "Raise an order" in client.get("/put-off/").content.decode()
    client.post("/orders/raise/", {"programme": dated.pk})
    assert WorkOrder.objects.get().method == "MT"
