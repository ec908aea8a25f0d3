"""Each alert reaches each person by each channel once, whoever sends and whatever fails."""

import contextlib
import threading
import time
from datetime import timedelta
from smtplib import SMTPServerDisconnected

import pytest
from django.core import mail
from django.db import connection

from assets_app.people.models import Role
from assets_app.refusals import NotAllowed, NotFound
from schedules.alerts import actions, deliver, queries, rules
from schedules.models import Delivery, Intent
from tests.schedules.alerts.mail_server import serving


def intents(site, count, now, kind="overdue", **fields):
    return Intent.objects.bulk_create(
        Intent(site=site, kind=kind, key=f"{kind}:{place}", subject=f"s{place}", text="t", created_at=now, **fields)
        for place in range(count)
    )


def with_email(*people):
    for who in people:
        who.email = f"{who.username}@larkmoor.example"
        who.save()


@pytest.mark.django_db
def test_those_hear_who_should_by_role_and_only_at_their_site(site, other_site, person, planner, technician, now):
    person("planner", other_site)
    intents(site, 1, now)
    deliver.deliver_owed(now=now)
    assert [row.person for row in Delivery.objects.all()] == [planner]
    assert queries.unseen_count(planner) == 1


@pytest.mark.django_db
def test_who_left_hears_nothing(site, planner, now):
    planner.is_active = False
    planner.save()
    intents(site, 1, now)
    deliver.deliver_owed(now=now)
    assert not Delivery.objects.exists()


@pytest.mark.django_db
def test_who_loses_the_role_reads_nothing_of_the_site_any_more(site, other_site, planner, person, now):
    with_email(planner)
    intents(site, 2, now)
    actions.expand(now=now)
    Role.objects.filter(person=planner).update(site=other_site)
    intents(site, 1, now, kind="hold placed", person=planner)  # named, but gone by now
    deliver.deliver_owed(now=now)
    assert mail.outbox == []
    assert list(queries.mine(planner)) == []
    assert queries.unseen_count(planner) == 0
    assert not Delivery.objects.filter(channel="email", state__in=["owed", "claimed"]).exists()


@pytest.mark.django_db
def test_many_alerts_for_one_person_go_out_as_one_mail_and_once(site, planner, manager, now):
    with_email(planner, manager)
    intents(site, 30, now)
    assert deliver.deliver_owed(now=now) == 2
    assert deliver.deliver_owed(now=now) == 0
    assert sorted(message.to[0] for message in mail.outbox) == sorted([planner.email, manager.email])
    assert mail.outbox[0].body.count("Larkmoor Pier: t") == 30
    assert Delivery.objects.filter(channel="email", state="sent").count() == 60


@pytest.mark.django_db
def test_a_mail_that_fails_is_tried_again_later_under_the_same_name_and_content(site, planner, now, monkeypatch):
    with_email(planner)
    intents(site, 2, now)
    names = []

    def fails(self, *_, **__):
        names.append((self.extra_headers["Message-ID"], self.body))
        raise SMTPServerDisconnected("gone")

    with monkeypatch.context() as patched:
        patched.setattr("django.core.mail.EmailMessage.send", fails)
        assert deliver.deliver_owed(now=now) == 0
        assert deliver.deliver_owed(now=now) == 0  # not before its time
    row = Delivery.objects.filter(channel="email").first()
    assert (row.state, row.attempts, row.next_try_at) == ("owed", 1, now + timedelta(minutes=1))
    intents(site, 1, now, kind="due soon")
    assert deliver.deliver_owed(now=now + timedelta(minutes=2)) == 2
    sent = [(message.extra_headers["Message-ID"], message.body) for message in mail.outbox]
    assert names[0] in sent


@pytest.mark.django_db
def test_after_the_last_try_it_is_given_up_and_a_manager_sees_why(site, planner, manager, now, monkeypatch):
    with_email(planner)
    intents(site, 1, now)
    monkeypatch.setattr(
        "django.core.mail.EmailMessage.send", lambda *_, **__: (_ for _ in ()).throw(ConnectionRefusedError("no"))
    )
    actions.expand(now=now)
    Delivery.objects.update(attempts=rules.MOST_ATTEMPTS - 2)
    at = now
    for _ in range(2):
        assert queries.given_up(manager) == []
        deliver.deliver_owed(now=at)
        at += rules.LONGEST_RETRY
    (dead,) = (row.newest for row in queries.given_up(manager))
    assert (dead.state, dead.attempts) == ("failed", rules.MOST_ATTEMPTS)
    assert "ConnectionRefusedError" in dead.last_error
    assert queries.given_up(planner) == []
    monkeypatch.undo()
    with pytest.raises(NotAllowed):
        actions.try_again(actor=planner, now=at, delivery_id=dead.pk)
    actions.try_again(actor=manager, now=at, delivery_id=dead.pk)
    assert deliver.deliver_owed(now=at) == 1


@pytest.fixture
def mail_server(settings):
    assert 0 < 15 * settings.EMAIL_TIMEOUT < rules.CLAIM_HOLDS.total_seconds(), "a mail is about ten answers"
    with serving() as one:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", one.port, 0.2
        yield one


@pytest.mark.django_db
def test_a_mail_server_that_hangs_is_left_after_one_try_and_everything_is_owed_still(
    site, planner, manager, now, mail_server
):
    with_email(planner, manager)
    intents(site, 2, now)
    mail_server.hangs = True
    began = time.monotonic()
    assert deliver.deliver_owed(now=now) == 0
    assert time.monotonic() - began < 5
    assert mail_server.greeted == 1, "the second person's mail would hang as well"
    mail_server.hangs = False
    assert deliver.deliver_owed(now=now + timedelta(minutes=2)) == 2
    assert len(mail_server.taken) == 2
    assert not Delivery.objects.exclude(state="sent").exists()


@pytest.mark.django_db
def test_a_mail_that_was_taken_and_whose_answer_was_lost_comes_once_more_under_the_same_name(
    site, planner, now, mail_server
):
    with_email(planner)
    intents(site, 2, now)
    mail_server.lost = 1
    assert deliver.deliver_owed(now=now) == 0
    assert deliver.deliver_owed(now=now + timedelta(minutes=2)) == 1
    assert deliver.deliver_owed(now=now + timedelta(days=1)) == 0
    names = [next(line for line in text.splitlines() if line.startswith("Message-ID")) for text in mail_server.taken]
    assert len(names) == 2
    assert len(set(names)) == 1


@pytest.mark.django_db
def test_where_two_runs_are_at_work_a_third_sends_nothing(site, planner, manager, now):
    with_email(planner, manager)
    intents(site, 1, now)
    actions.expand(now=now)
    assert deliver.claim(now=now)
    assert deliver.claim(now=now)
    intents(site, 1, now, kind="due soon")
    assert deliver.deliver_owed(now=now) == 0
    assert deliver.deliver_owed(now=now + rules.CLAIM_HOLDS) == 3


@pytest.mark.django_db
def test_a_fault_of_our_own_is_not_swallowed(site, planner, now, monkeypatch):
    with_email(planner)
    intents(site, 1, now)
    monkeypatch.setattr("django.core.mail.EmailMessage.send", lambda *_, **__: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        deliver.deliver_owed(now=now)


@pytest.mark.django_db
def test_a_worker_killed_before_sending_loses_nothing(site, planner, now):
    with_email(planner)
    intents(site, 3, now)
    actions.expand(now=now)
    batch = deliver.claim(now=now)  # and the worker dies
    assert deliver.deliver_owed(now=now + timedelta(minutes=4)) == 0  # the claim still holds
    assert deliver.deliver_owed(now=now + timedelta(minutes=6)) == 1
    assert mail.outbox[0].extra_headers["Message-ID"] == f"<{batch}@localhost>"


@pytest.mark.django_db
def test_only_mine_is_marked_as_seen(site, planner, manager, now):
    intents(site, 2, now)
    deliver.deliver_owed(now=now)
    his = Delivery.objects.filter(person=manager).first()
    with pytest.raises(NotFound):
        actions.mark_seen(actor=planner, now=now, delivery_ids=[his.pk])
    assert actions.mark_seen(actor=planner, now=now) == 2
    assert (queries.unseen_count(planner), queries.unseen_count(manager)) == (0, 2)


# --- two deliverers at once -------------------------------------------------------------------------------------------

WORKERS = 2


def _two_at_once(now):
    """Two workers that both look for what is owed before either takes it."""
    meet = threading.Barrier(WORKERS, timeout=10)
    real, faults = deliver.take, []

    def take(rows, batch, at):
        with contextlib.suppress(threading.BrokenBarrierError):
            meet.wait()
        return real(rows, batch, at)

    def run():
        try:
            deliver.deliver_owed(now=now)
        except Exception as error:
            faults.append(error)
        finally:
            meet.abort()
            connection.close()

    deliver.take = take
    try:
        threads = [threading.Thread(target=run) for _ in range(WORKERS)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(30)
    finally:
        deliver.take = real
    assert faults == []


@pytest.fixture
def owed(transactional_db, site, planner, now):
    with_email(planner)
    intents(site, 20, now)
    actions.expand(now=now)


@pytest.mark.postgres
def test_two_deliverers_at_once_send_each_alert_once(owed, now):
    _two_at_once(now)
    assert len(mail.outbox) == 1
    assert mail.outbox[0].body.count("Larkmoor Pier: t") == 20


@pytest.mark.postgres
def test_control_without_the_claim_the_same_two_send_everything_twice(owed, now, monkeypatch):
    """The claim taken away: each worker believes that the rows it saw are its own."""

    def careless(rows, batch, at):
        ids = list(Delivery.objects.filter(channel="email").values_list("pk", flat=True))
        Delivery.objects.filter(pk__in=ids).update(state="claimed", batch=batch, claimed_until=at + rules.CLAIM_HOLDS)
        return len(ids)

    sent = []
    monkeypatch.setattr(deliver, "take", careless)
    monkeypatch.setattr(deliver, "send", lambda batch, now: sent.append(batch) or _settle())
    _two_at_once(now)
    assert len(sent) == 2


def _settle():
    Delivery.objects.filter(channel="email").update(state="sent")
    return True
