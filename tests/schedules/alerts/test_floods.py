"""More looks than anybody reads one by one are told by their count, each once, however they come."""

from datetime import date, timedelta

import pytest
from django.db import transaction

from assets_app.models import Joint
from schedules.alerts import actions
from schedules.due import engine
from schedules.due.store import Scope
from schedules.models import CountedLook, DueDate, Intent, Programme

pytestmark = pytest.mark.django_db
AFTER = timedelta(minutes=10)


@pytest.fixture(autouse=True)
def many(monkeypatch):
    monkeypatch.setattr("schedules.alerts.rules.MANY", 5)


@pytest.fixture
def looks(asset):
    """Twelve joints whose look fell due two years ago."""
    joints = [Joint.objects.create(asset=asset, tag=f"W-{number}", kind="weld") for number in range(12)]
    facts = {"asset": asset, "method": "VT", "calendar_months": 12, "last_look_on": date(2023, 6, 1)}
    return [Programme.objects.create(joint=joint, **facts) for joint in joints]


def recompute(looks, now):
    engine.recompute(Scope(joint_ids=[look.joint_id for look in looks]), now=now)


def subjects(kind="overdue"):
    return list(Intent.objects.filter(kind=kind, programme=None).order_by("pk").values_list("subject", flat=True))


def singles(kind="overdue"):
    return Intent.objects.filter(kind=kind).exclude(programme=None).count()


def test_a_flood_is_one_alert_with_its_count_and_no_news_again(looks, site, now):
    for _ in range(2):
        recompute(looks, now)
        actions.raise_owed(now=now + AFTER)
        DueDate.objects.update(middle_on=None)  # so that the rows change
    assert (subjects(), singles()) == (["12 looks are overdue"], 0)
    assert Intent.objects.get(kind="overdue").key == f"overdue:site {site.pk}:2026-06-15"


def test_a_flood_that_dribbles_in_is_told_singly_up_to_the_limit_and_the_rest_in_one_alert(looks, now):
    for start in range(0, 12, 2):
        recompute(looks[start : start + 2], now + timedelta(seconds=start))
        actions.raise_owed(now=now + timedelta(seconds=start))
    assert (subjects(), singles()) == ([], 4)  # it may go on yet
    actions.raise_owed(now=now + AFTER + timedelta(seconds=10))
    assert (subjects(), singles()) == (["8 looks are overdue"], 4)


def test_what_comes_after_the_alert_of_the_day_is_told_by_another(looks, site, now):
    recompute(looks[:6], now)
    actions.raise_owed(now=now + AFTER)
    recompute(looks[6:], now + AFTER)
    actions.raise_owed(now=now + 2 * AFTER)
    assert subjects() == ["6 looks are overdue", "6 looks more are overdue"]
    assert Intent.objects.filter(key=f"overdue:site {site.pk}:2026-06-15:2").exists()
    assert CountedLook.objects.exclude(intent=None).count() == 12


def test_a_flood_that_does_not_end_is_told_after_an_hour(looks, now):
    recompute(looks, now)
    for minutes in range(0, 66, 6):
        CountedLook.objects.filter(programme=looks[0]).update(counted_at=now + timedelta(minutes=minutes))
        actions.raise_owed(now=now + timedelta(minutes=minutes))
        assert len(subjects()) == (minutes >= 60)


def test_a_few_after_a_flood_are_told_by_themselves(looks, now):
    recompute(looks[:10], now)
    recompute(looks[10:], now)
    assert singles() == 2


def test_a_look_told_by_itself_while_another_worker_counted_it_is_not_told_again(looks, site, now):
    recompute(looks, now)
    told = CountedLook.objects.get(programme=looks[0])
    facts = {"site": site, "kind": "overdue", "for_day": told.for_day, "created_at": now}
    Intent.objects.create(programme=looks[0], key="as the other worker wrote it", **facts)
    assert actions.raise_owed(now=now + AFTER)
    assert subjects() == ["11 looks are overdue"]
    for look in looks[1:]:
        CountedLook.objects.filter(programme=look).update(intent=None)
        Intent.objects.create(programme=look, key=f"of {look.pk}", **facts)
    actions.raise_owed(now=now + 3 * AFTER)
    assert len(subjects()) == 1, "nothing was left to be counted"


def test_a_flood_that_is_rolled_back_is_not_counted(looks, now):
    with transaction.atomic():
        recompute(looks, now)
        assert CountedLook.objects.count() == 12
        transaction.set_rollback(True)  # the deed fails
    assert not CountedLook.objects.exists()


def test_looks_due_soon_are_told_once_by_their_count_and_not_anew_every_day(looks, now):
    recompute(looks, now)
    Intent.objects.all().delete()
    CountedLook.objects.all().delete()
    DueDate.objects.update(due_on=date(2026, 7, 10))
    for days in range(4):
        actions.raise_owed(now=now + timedelta(days=days))
        actions.raise_owed(now=now + timedelta(days=days) + AFTER)
    assert (subjects("due soon"), singles("due soon")) == (["12 looks are due soon"], 0)
    DueDate.objects.filter(programme=looks[0]).update(due_on=date(2026, 7, 24))  # moved by two weeks: news
    actions.raise_owed(now=now + timedelta(days=10))
    assert singles("due soon") == 1
    for days in (26, 27):  # the day passes: overdue is another matter
        actions.raise_owed(now=now + timedelta(days=days))
        actions.raise_owed(now=now + timedelta(days=days) + AFTER)
    assert subjects() == ["11 looks are overdue"]
