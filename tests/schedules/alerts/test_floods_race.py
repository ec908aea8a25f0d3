"""Two workers that meet one flood: each look is told once, by itself or in the count, whichever of them came to it."""

from __future__ import annotations

import threading
from datetime import date, timedelta

import pytest
from django.db import connection

from assets_app.models import Asset, Joint
from schedules.alerts import actions, rules
from schedules.due import engine
from schedules.due.store import Scope
from schedules.models import CountedLook, Intent, Programme

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]


def test_two_workers_at_one_flood_tell_each_look_once(monkeypatch, site, now):
    monkeypatch.setattr(rules, "MANY", 5)
    facts = {"method": "VT", "calendar_months": 12, "last_look_on": date(2023, 6, 1)}
    parts = []
    for name in "AB":
        asset = Asset.objects.create(site=site, tag=name, name=name, kind="ride")
        joints = [Joint.objects.create(asset=asset, tag=f"W-{number}", kind="weld") for number in range(12)]
        for joint in joints:
            Programme.objects.create(joint=joint, asset=asset, **facts)
        parts.append([[joint.pk for joint in joints[start : start + 3]] for start in range(0, 12, 3)])
    start_together = threading.Barrier(2)

    def work(part):
        try:
            for joints in part:
                start_together.wait(20)
                engine.recompute(Scope(joint_ids=joints), now=now)
        finally:
            connection.close()

    workers = [threading.Thread(target=work, args=(part,)) for part in parts]
    for each in workers:
        each.start()
    for each in workers:
        each.join()
    actions.raise_owed(now=now + timedelta(minutes=10))
    singly = list(Intent.objects.filter(kind="overdue").exclude(programme=None).values_list("programme_id", flat=True))
    counted = list(CountedLook.objects.exclude(intent=None).values_list("programme_id", flat=True))
    assert sorted([*singly, *counted]) == sorted(Programme.objects.values_list("pk", flat=True))
    assert len(singly) <= 2 * rules.MANY
    (told,) = Intent.objects.filter(kind="overdue", programme=None)
    assert told.subject == f"{len(counted)} looks are overdue"
