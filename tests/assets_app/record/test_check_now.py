"""Have the chain checked now: asked for by who may, walked by a worker, the first broken entry named."""

from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.urls import reverse
from rest_framework.test import APIClient

from assets_app.models import RecordCheck, RecordEntry
from assets_app.record import actions, check_actions, tasks, triggers, verify
from assets_app.refusals import NotAllowed


@pytest.fixture
def chained(site, weld_joint, now):
    with transaction.atomic():
        for _ in range(5):
            actions.append(site_id=site.pk, deed="x", actor=None, subject=weld_joint, content={}, now=now)
    return site


@pytest.fixture
def auditor(person, site):
    return person("auditor", site)


def test_a_worker_walks_the_chain_and_the_page_says_it_is_whole(chained, auditor, client):
    client.force_login(auditor)
    assert "Not checked here yet" in client.get(reverse("record")).content.decode()
    page = client.post(reverse("record-check-now", args=[chained.pk]))["Location"]
    assert "Waiting for its turn" in client.get(page).content.decode()
    tasks.check_chains()
    assert "<strong>Whole.</strong> 5 entries" in client.get(page).content.decode()
    assert client.get(f"{page}progress/").status_code == 286, "nothing more to ask"
    assert "<strong>whole</strong>" in client.get(reverse("record")).content.decode()
    assert RecordEntry.objects.count() == 5, "to look is no deed"


def test_the_first_broken_entry_is_named_by_page_and_api(chained, auditor, client):
    triggers.lift(connection)
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE {RecordEntry._meta.db_table} SET deed = 'y' WHERE sequence >= 3")
    api = APIClient()
    api.force_authenticate(auditor)
    asked = api.post(f"/api/v1/record/sites/{chained.pk}/check/")
    assert (asked.status_code, asked.data["state"]) == (202, "waiting")
    tasks.check_chains()
    told = api.get(f"/api/v1/record/checks/{asked.data['id']}/").data
    assert (told["state"], told["broken_at"]) == ("broken", 3)
    assert "record_no_update" in told["words"], "and that nothing guards it any more"
    client.force_login(auditor)
    assert "Broken at entry 3" in client.get(reverse("record-check", args=[told["id"]])).content.decode()


def test_who_may_not_is_told_who_could_and_who_asks_twice_gets_one(chained, auditor, person, now):
    with pytest.raises(NotAllowed) as refused:
        check_actions.ask_for_check(site_id=chained.pk, actor=person("planner", chained), now=now)
    assert refused.value.data["who_could"] == "manager or auditor"
    first = check_actions.ask_for_check(site_id=chained.pk, actor=auditor, now=now)
    assert check_actions.ask_for_check(site_id=chained.pk, actor=auditor, now=now) == first


def test_progress_is_told_and_a_silent_run_is_taken_over(chained, auditor, now, monkeypatch):
    monkeypatch.setattr(verify, "STEP", 2)
    told = []
    verify.chain(chained, told=lambda done, of: told.append((done, of)))
    assert told == [(2, 5), (4, 5)]
    row = check_actions.ask_for_check(site_id=chained.pk, actor=auditor, now=now)
    RecordCheck.objects.update(state="running", claim="dead", claimed_at=now, attempts=1)
    assert check_actions.run_check(check_id=row.pk, now=now + timedelta(minutes=1)).state == "running"
    assert check_actions.run_check(check_id=row.pk, now=now + timedelta(minutes=3)).state == "whole"
