"""What is owed on a joint, as a page."""

from __future__ import annotations

import pytest

from schedules.models import OwedLook, Programme

pytestmark = pytest.mark.django_db


@pytest.fixture
def address(weld_joint):
    return f"/joints/{weld_joint.pk}/programme/"


def test_a_planner_sets_a_method_and_fixes_a_day(client, person, site, address):
    client.force_login(person("planner", site))
    sent = {"deed": "programme", "method": "MT", "calendar_months": 24, "conditions": "good", "active": "on"}
    assert client.post(address, sent | {"source": "maker's manual"}).status_code == 302
    fixed = {"deed": "fixed", "limit": "fixed", "due_on": "2026-07-15", "why": "insurer asks before the season"}
    assert client.post(address, fixed).status_code == 302
    made = Programme.objects.get()
    assert (made.method, made.calendar_months, made.conditions) == ("MT", 24, "good")
    assert OwedLook.objects.get().limit == "fixed"
    assert "insurer asks" in client.get(address).content.decode()


def test_a_figure_that_cannot_be_is_refused_beside_its_field(client, person, site, address):
    client.force_login(person("planner", site))
    answer = client.post(address, {"deed": "programme", "method": "MT", "calendar_months": 0, "conditions": "good"})
    assert answer.status_code == 422
    assert "field-error" in answer.content.decode()
    assert not Programme.objects.exists()


def test_a_technician_reads_and_does_not_set(client, person, site, address, programme):
    programme("MT", calendar_months=12)
    client.force_login(person("technician", site))
    assert "12 months" in client.get(address).content.decode()
    sent = {"deed": "programme", "method": "MT", "conditions": "good"}
    assert client.post(address, sent).status_code == 403


def test_another_site_has_no_such_page(client, person, other_site, address):
    client.force_login(person("planner", other_site))
    assert client.get(address).status_code == 404
