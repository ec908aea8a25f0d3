"""My alerts through the API and on their page; the command and the tasks."""

from importlib import import_module

import pytest
from django.conf import settings
from django.core import mail
from django.core.management import call_command
from rest_framework.test import APIClient

from config.celery import ROOMS, app
from running.processes import ROOT
from schedules.alerts import deliver, queries
from schedules.models import Delivery, Intent

pytestmark = pytest.mark.django_db


@pytest.fixture
def told(site, planner, manager, now):
    Intent.objects.create(
        site=site, kind="overdue", key="overdue:1", subject="s", text="MT of W-001 was due", created_at=now
    )
    deliver.deliver_owed(now=now)
    return planner


def test_the_api_gives_mine_and_marks_them_seen(told, manager):
    client = APIClient()
    client.force_authenticate(told)
    rows = client.get("/api/v1/alerts/?unseen=true").json()["results"]
    assert [row["text"] for row in rows] == ["MT of W-001 was due"]
    his = Delivery.objects.get(person=manager).pk
    assert client.post("/api/v1/alerts/seen/", {"ids": [his]}, format="json").status_code == 404
    assert client.post("/api/v1/alerts/seen/", {"ids": [rows[0]["id"]]}, format="json").json() == {"seen": 1}
    assert client.get("/api/v1/alerts/?unseen=true").json()["results"] == []


def test_the_page_shows_them_and_a_manager_what_was_given_up(told, manager, client, now):
    row = Delivery.objects.get(person=told)
    Delivery.objects.create(
        intent=row.intent,
        person=told,
        channel="email",
        state="failed",
        next_try_at=now,
        last_error="SMTPRecipientsRefused: 550",
    )
    for who, sees in ((told, False), (manager, True)):
        client.force_login(who, backend="assets_app.people.signed_in.PersonBackend")
        page = client.get("/alerts/").content.decode()
        assert "MT of W-001 was due" in page
        assert ("could not be delivered" in page) is sees
        page = client.get("/alerts/not-delivered/").content.decode()
        assert ("The mail server refuses the address." in page) is sees
    dead = Delivery.objects.get(channel="email")
    api = APIClient()
    api.force_authenticate(manager)
    (said,) = api.get("/api/v1/alerts/not-delivered/").json()["emails"]
    assert (said["delivery"], said["alerts"], said["why"]) == (dead.pk, 1, "The mail server refuses the address.")
    assert api.post(f"/api/v1/alerts/{dead.pk}/again/").json() == {"alerts": 1}
    Delivery.objects.filter(pk=dead.pk).update(state="failed")
    assert client.post(f"/alerts/{dead.pk}/again/").status_code == 302
    dead.refresh_from_db()
    assert dead.state == "owed"
    Delivery.objects.filter(pk=dead.pk).update(state="failed")
    address = f"/people/{told.pk}/"
    assert address in client.get("/alerts/not-delivered/").content.decode()
    told.roles.all().delete()  # whoever left has no page: said, not linked
    page = client.get("/alerts/not-delivered/").content.decode()
    assert address not in page
    assert "has no role at your sites any more" in page


def test_a_hold_that_was_lifted_since_is_not_marked_as_one_that_stands(site, planner, client, now):
    for key in ("hold placed:7", "hold placed:77", "hold released:77"):
        kind = key.partition(":")[0]
        Intent.objects.create(site=site, kind=kind, key=key, subject="s", text=f"told {key}.", created_at=now)
    deliver.deliver_owed(now=now)
    assert {row.intent.key for row in queries.mine(planner)} == {"hold placed:7", "hold placed:77", "hold released:77"}
    client.force_login(planner, backend="assets_app.people.signed_in.PersonBackend")
    page = client.get("/alerts/").content.decode()
    assert page.count('data-severity="hold now"') == page.count("Lifted since.") == 1
    assert page.index("Lifted since.") < page.index("told hold placed:77.")


def test_a_key_that_is_none_marks_nothing_as_seen_and_breaks_no_page(told, client):
    client.force_login(told, backend="assets_app.people.signed_in.PersonBackend")
    for key in ["\u00b2", "9" * 30, "-1", "x", ""]:
        assert "MT of W-001 was due" in client.get("/alerts/", {"before": key}).content.decode(), key
        assert client.post("/alerts/seen/", {"id": key}).status_code == 404, key
    assert queries.unseen_count(told) == 1


def test_the_command_does_what_the_tasks_do(site, planner, counter, capsys):
    planner.email = "piet@larkmoor.example"
    planner.save()
    call_command("deliver_alerts", "--dry-run")
    assert capsys.readouterr().out == "0 alerts not yet given out, 0 emails and 0 webhook messages owed.\n"
    call_command("deliver_alerts")
    call_command("deliver_alerts")
    assert capsys.readouterr().out == (
        "1 alerts new, 1 emails and 0 webhook messages sent.\n0 alerts new, 0 emails and 0 webhook messages sent.\n"
    )
    assert len(mail.outbox) == 1


def test_every_beat_names_a_task_that_a_worker_knows():
    holds_tasks = {path.parent for floor in ("assets_app", "schedules") for path in (ROOT / floor).rglob("tasks.py")}
    assert {ROOT / room.replace(".", "/") for room in ROOMS} == holds_tasks
    for room in ROOMS:
        import_module(f"{room}.tasks")
    names = {each["task"] for each in settings.CELERY_BEAT_SCHEDULE.values()}
    assert {"alerts.deliver_owed", "record.check_chains"} < names <= set(app.tasks)
