"""A person's quiet hours and digest, as emails meet them; a hold that is placed waits for neither."""

from datetime import UTC, datetime, time, timedelta

import pytest
from django.core import mail

from assets_app.refusals import Unprocessable
from schedules.alerts import actions, deliver
from schedules.alerts.setting_actions import set_settings
from schedules.models import AlertSettings, Delivery, Intent

pytestmark = pytest.mark.django_db

EVENING = datetime(2026, 6, 15, 21, 30, tzinfo=UTC)  # 22:30 on the pier
MORNING = datetime(2026, 6, 16, 6, 0, tzinfo=UTC)  # 07:00
SECOND = timedelta(seconds=1)


@pytest.fixture(autouse=True)
def email(planner):
    planner.email = "piet@larkmoor.example"
    planner.save()


@pytest.fixture
def sleeps(planner, now):
    return set_settings(actor=planner, now=now, quiet_from=time(22), quiet_until=time(7))


def told(site, at, kind="overdue", number=1):
    key = f"{kind}:{number}"
    return Intent.objects.create(site=site, kind=kind, key=key, subject=key, text=key, created_at=at)


def test_what_happens_in_quiet_hours_is_in_the_app_at_once_and_mailed_in_the_morning(site, planner, sleeps):
    told(site, EVENING)
    assert deliver.deliver_owed(now=EVENING) == 0
    assert Delivery.objects.get(channel="in-app").sent_at == EVENING
    assert deliver.deliver_owed(now=MORNING - SECOND) == 0
    assert deliver.deliver_owed(now=MORNING) == 1
    assert len(mail.outbox) == 1


def test_a_hold_that_is_placed_breaks_through_and_takes_nothing_along(site, planner, sleeps):
    told(site, EVENING)
    told(site, EVENING, kind="hold placed")
    assert deliver.deliver_owed(now=EVENING) == 1
    assert [message.subject for message in mail.outbox] == ["hold placed:1"]
    assert deliver.deliver_owed(now=MORNING) == 1


def test_the_time_zone_is_the_person_s_where_one_is_given(site, planner, now):
    set_settings(actor=planner, now=now, quiet_from=time(22), quiet_until=time(7), time_zone="America/New_York")
    told(site, EVENING)
    assert deliver.deliver_owed(now=EVENING) == 1  # 17:30 over there


def test_what_a_worker_that_slept_finds_in_quiet_hours_waits_for_their_end(site, planner, sleeps):
    told(site, EVENING - timedelta(hours=2))
    actions.expand(now=EVENING - timedelta(hours=2))  # owed at once; then nobody works for two hours
    assert deliver.deliver_owed(now=EVENING) == 0
    assert deliver.deliver_owed(now=MORNING) == 1


def test_a_mail_that_failed_in_the_evening_is_not_tried_again_in_quiet_hours(site, planner, sleeps, monkeypatch):
    before = EVENING - timedelta(minutes=31)
    told(site, before)
    with monkeypatch.context() as patched:
        patched.setattr(
            "django.core.mail.EmailMessage.send", lambda *_, **__: (_ for _ in ()).throw(ConnectionRefusedError("no"))
        )
        deliver.deliver_owed(now=before)
    assert Delivery.objects.get(channel="email").attempts == 1
    assert deliver.deliver_owed(now=EVENING) == 0
    assert deliver.deliver_owed(now=MORNING) == 1


def test_a_digest_is_one_mail_a_day_with_all_that_came_meanwhile(site, planner, now):
    set_settings(actor=planner, now=now, digest="daily", digest_hour=7)
    for number in range(5):
        told(site, now, number=number)
        assert deliver.deliver_owed(now=now + timedelta(hours=number)) == 0
    assert deliver.deliver_owed(now=MORNING) == 1
    assert mail.outbox[0].body.count("Larkmoor Pier: overdue") == 5
    told(site, MORNING, number=9)
    assert deliver.deliver_owed(now=MORNING + SECOND) == 0
    assert deliver.deliver_owed(now=MORNING + timedelta(days=1)) == 1


def test_a_digest_whose_hour_passed_while_nobody_worked_comes_then_and_once(site, planner, now):
    set_settings(actor=planner, now=now, digest="daily", digest_hour=7)
    told(site, EVENING, number=1)
    actions.expand(now=EVENING)
    told(site, MORNING - timedelta(minutes=5), number=2)  # beat is down from here
    back = MORNING + timedelta(hours=3)
    assert deliver.deliver_owed(now=back) == 1
    assert mail.outbox[0].body.count("Larkmoor Pier: overdue") == 2
    assert deliver.deliver_owed(now=back + timedelta(hours=20)) == 0


def test_a_hold_does_not_wait_for_the_digest(site, planner, now):
    set_settings(actor=planner, now=now, digest="daily", digest_hour=7)
    told(site, now, kind="hold placed")
    assert deliver.deliver_owed(now=now) == 1


def test_what_waits_follows_when_the_settings_change(site, planner, now):
    set_settings(actor=planner, now=now, digest="daily", digest_hour=7)
    told(site, now)
    assert deliver.deliver_owed(now=now) == 0
    set_settings(actor=planner, now=now, digest="at once")
    assert deliver.deliver_owed(now=now) == 1


def test_a_clock_that_jumps_tells_nothing_twice_and_loses_nothing(dated, site, planner, now):
    moments = [0, 26, -3, 1, 26, 50]  # hours: ahead over a day, back before the start, and on
    for hours in moments:
        at = now + timedelta(hours=hours)
        actions.raise_owed(now=at)
        deliver.deliver_owed(now=at)
    keys = list(Intent.objects.values_list("key", flat=True))
    assert len(keys) == len(set(keys)) > 0
    lines = sum(message.body.count("Larkmoor Pier: ") for message in mail.outbox)
    assert lines == Delivery.objects.filter(channel="email", state="sent").count() > 0
    assert not Delivery.objects.exclude(state="sent").exists()


@pytest.mark.parametrize("hours", [0, 1, 2, 3])
def test_the_night_the_clock_is_set_back_mails_once_and_after_its_end(site, planner, sleeps, hours):
    night = datetime(2026, 10, 24, 23, 30, tzinfo=UTC) + timedelta(hours=hours)  # from 00:30 on the pier
    told(site, night)
    for minutes in range(0, 12 * 60, 30):
        at = night + timedelta(minutes=minutes)
        sent = deliver.deliver_owed(now=at)
        assert not sent or at >= datetime(2026, 10, 25, 7, tzinfo=UTC)
    assert len(mail.outbox) == 1


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"time_zone": "Larkmoor/Pier"}, "unknown_time_zone"),
        ({"quiet_from": time(22)}, "quiet_half_given"),
        ({"quiet_until": time(7)}, "quiet_half_given"),
        ({"quiet_from": time(7), "quiet_until": time(7)}, "quiet_all_day"),
        ({"digest": "never"}, "unknown_digest"),
        ({"digest": "daily", "digest_hour": 24}, "hour_out_of_range"),
        (
            {"digest": "daily", "digest_hour": 6, "quiet_from": time(22), "quiet_until": time(7)},
            "digest_in_quiet_hours",
        ),
    ],
)
def test_settings_by_which_no_mail_would_come_or_nobody_knows_when_are_refused(planner, now, given, code):
    with pytest.raises(Unprocessable) as refused:
        set_settings(actor=planner, now=now, **given)
    assert refused.value.code == code
    assert not AlertSettings.objects.exists()
