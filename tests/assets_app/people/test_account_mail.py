"""Mails about accounts while the mail server is down: none is lost, no link is kept, and who answers for it sees it."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail as sent_mail
from django.core.mail.backends.locmem import EmailBackend
from rest_framework.test import APIClient

from assets_app.models import AccountMail, Person
from assets_app.people import account_actions, actions, mail, mail_actions

DOWN = f"{__name__}.Down"


class Down(EmailBackend):
    def send_messages(self, messages):
        raise ConnectionRefusedError("nobody there")


@pytest.fixture
def link(fitter, manager, settings, django_capture_on_commit_callbacks):
    """Made and to be mailed while the mail server is down."""
    Person.objects.filter(pk=fitter.pk).update(email="fitter@pier.example")
    working, settings.EMAIL_BACKEND = settings.EMAIL_BACKEND, DOWN
    with django_capture_on_commit_callbacks(execute=True):
        made = account_actions.make_link(person_id=fitter.pk, actor=manager, now=datetime.now(UTC), hand_over="mail")
    assert made.mail == "not sent"
    settings.EMAIL_BACKEND = working
    return made


def test_a_link_is_mailed_once_the_server_is_back_and_stands_nowhere_meanwhile(link, client, manager):
    token = link.address.split("/")[-2]
    row = AccountMail.objects.values().get()
    assert not any(token in str(value) for value in row.values())
    client.force_login(manager)
    page = client.get(f"/people/{link.person.pk}/").content.decode()
    assert "did not get this mail yet" in page
    assert "did not reach" in client.get("/people/").content.decode()
    at = row["written_at"]
    assert mail_actions.send_owed(now=at) == 0, "not before its time"
    assert mail_actions.send_owed(now=at + timedelta(hours=1)) == 1
    assert mail_actions.send_owed(now=at + timedelta(hours=2)) == 0
    (message,) = sent_mail.outbox
    assert message.to == ["fitter@pier.example"]
    (mailed,) = [line.strip() for line in message.body.splitlines() if "/set-password/" in line]
    assert client.get(mailed.removeprefix("http://localhost:8000")).status_code == 200
    assert not AccountMail.objects.exists()
    assert "did not reach" not in client.get("/people/").content.decode()


def test_a_link_that_ended_meanwhile_is_not_mailed(link):
    Person.objects.filter(pk=link.person.pk).update(link_made_at=None)
    mail_actions.send_owed(now=AccountMail.objects.get().next_try_at)
    assert (sent_mail.outbox, AccountMail.objects.count()) == ([], 0)


def test_nor_one_so_old_that_nobody_expects_it(link):
    mail_actions.send_owed(now=AccountMail.objects.get().written_at + mail.OWED_FOR + timedelta(minutes=1))
    assert (sent_mail.outbox, AccountMail.objects.count()) == ([], 0)


def test_a_warning_goes_to_the_address_it_was_written_for_and_is_given_up_after_a_day(
    fitter, site, manager, now, settings, django_capture_on_commit_callbacks
):
    Person.objects.filter(pk=fitter.pk).update(email="before@pier.example")
    working, settings.EMAIL_BACKEND = settings.EMAIL_BACKEND, DOWN
    with django_capture_on_commit_callbacks(execute=True):
        actions.correct_email(person_id=fitter.pk, email="after@pier.example", actor=manager, now=now)
    tries, at = 0, now
    while AccountMail.objects.filter(next_try_at__isnull=False).exists():
        at += timedelta(hours=1)
        tries += 1
        mail_actions.send_owed(now=at)
    assert tries == 25, "an hour apart at most, until the day is over"
    settings.EMAIL_BACKEND = working
    assert mail_actions.send_owed(now=at + timedelta(days=9)) == 0
    api = APIClient()
    api.force_authenticate(manager)
    assert api.post(f"/api/v1/people/{fitter.pk}/mails-again/").data == {"sent": 1, "not_sent": 0}
    assert sent_mail.outbox[0].to == ["before@pier.example"]


def test_a_worker_killed_in_a_try_leaves_it_owed_and_two_at_once_send_one(link, monkeypatch):
    class Killed(BaseException):
        pass

    def dies(*_, **__):
        raise Killed

    at = AccountMail.objects.get().written_at + timedelta(hours=1)
    with monkeypatch.context() as patched:
        patched.setattr(mail_actions.mail, "post", dies)
        with pytest.raises(Killed):
            mail_actions.send_owed(now=at)
    assert mail_actions.send_owed(now=at + timedelta(minutes=1)) == 0
    seen_by_both = AccountMail.objects.get()
    at += mail_actions.A_TRY_TAKES
    assert [mail_actions._try(seen_by_both, at) for _ in range(2)] == ["sent", "not sent"]
    assert len(sent_mail.outbox) == 1
