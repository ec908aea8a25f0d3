"""Who is signed in is read anew with every request: an ended session or a shut account opens nothing."""

from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session
from django.urls import reverse
from django.utils import timezone

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(client, person, site):
    who = person("planner", site)
    who.set_password("a sound joint")
    who.save()
    assert client.login(username=who.username, password="a sound joint")
    assert status(client) == 200
    return client, who


def status(client):
    return client.get(reverse("api-due-dates")).status_code


def test_a_session_ends_at_its_moment(signed_in):
    client, _ = signed_in
    Session.objects.update(expire_date=timezone.now() - timedelta(seconds=1))
    assert status(client) in (401, 403)


def test_a_session_that_was_taken_away_or_made_up_is_nobodys(signed_in):
    client, _ = signed_in
    Session.objects.all().delete()
    assert status(client) in (401, 403)
    client.cookies["sessionid"] = "x" * 32
    assert status(client) in (401, 403)


def test_a_shut_account_is_nobody_at_once(signed_in):
    client, who = signed_in
    who.is_active = False
    who.save()
    assert status(client) in (401, 403)


def test_an_account_that_is_gone_is_nobody(signed_in):
    client, who = signed_in
    who.roles.all().delete()
    who.delete()
    assert status(client) in (401, 403)


def test_what_a_session_keeps_is_there_at_the_next_request(signed_in):
    client, _ = signed_in
    session = client.session
    session["due-filter"] = "weeks=2"
    session.save()
    assert client.session["due-filter"] == "weeks=2"
    assert client.get(reverse("due")).headers["Location"].endswith("?weeks=2")
