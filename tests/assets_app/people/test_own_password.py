"""Whoever knows their password changes it themselves: their other sessions and tokens end, and they are told."""

import pytest
from django.contrib.auth import authenticate
from django.core import mail
from django.test import Client
from rest_framework.test import APIClient

from assets_app.models import Person, RecordEntry
from assets_app.people import account_actions
from assets_app.people.sign_in_links import leads, token_of

OLD, NEW = "gull-on-the-groyne", "tern-over-the-mole"
SENT = {"current": OLD, "password": NEW, "again": NEW}


@pytest.fixture
def fitter(person, site):
    who = person("technician", site)
    who.email = "fitter@pier.example"
    who.set_password(OLD)
    who.save()
    return who


def signed_in(who: Person) -> Client:
    client = Client()
    client.force_login(who)
    return client


def with_token(who: Person) -> APIClient:
    api = APIClient()
    told = {"username": who.username, "password": OLD, "name": "tablet"}
    api.credentials(HTTP_AUTHORIZATION="Token " + api.post("/api/v1/tokens/", told).data["secret"])
    return api


def status(client: Client) -> int:
    return client.get("/api/v1/people/me/").status_code


def test_the_own_session_goes_on_and_all_else_ends(fitter, site, person, now, django_capture_on_commit_callbacks):
    here, elsewhere, tablet = signed_in(fitter), signed_in(fitter), with_token(fitter)
    account_actions.make_link(person_id=fitter.pk, actor=person("manager", site), now=now, hand_over="show")
    assert OLD not in here.get("/account/").content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        assert here.post("/account/", SENT)["Location"] == "/account/"
    assert [status(each) for each in (here, elsewhere, tablet)] == [200, 401, 401]
    knows = [authenticate(username=fitter.username, password=word) for word in (OLD, NEW)]
    assert knows == [None, fitter]
    fitter.refresh_from_db()
    assert not leads(fitter, token_of(fitter)), "a link from before ends"
    entry = RecordEntry.objects.get(deed="person.password_changed")
    assert entry.actor == fitter
    assert not any(secret in entry.content for secret in (OLD, NEW))
    assert [(each.to, each.subject) for each in mail.outbox] == [([fitter.email], "Your password was changed")]


def test_by_a_token_that_token_goes_on_and_sessions_end(fitter):
    tablet, phone, desk = with_token(fitter), with_token(fitter), signed_in(fitter)
    assert tablet.post("/api/v1/people/me/password/", SENT).status_code == 204
    assert [status(each) for each in (tablet, phone, desk)] == [200, 401, 401]


@pytest.mark.parametrize(
    ("change", "code", "field"),
    [
        ({"current": NEW}, "wrong_password", "current"),
        ({"password": OLD}, "same_password", "password"),
        ({"password": "short"}, "weak_password", "password"),
    ],
)
def test_what_is_refused_changes_nothing_and_says_why(fitter, change, code, field):
    desk, sent = signed_in(fitter), {**SENT, **change}
    answer = desk.post("/api/v1/people/me/password/", sent)
    assert (answer.status_code, answer.json()["code"], answer.json()["field"]) == (422, code, field)
    page = desk.post("/account/", {**sent, "again": sent["password"]})
    assert page.status_code == 422
    assert "field-error" in page.content.decode()
    assert authenticate(username=fitter.username, password=OLD) == fitter
    assert not RecordEntry.objects.exists()


def test_guesses_at_the_password_from_a_session_left_open_lock_as_at_sign_in(fitter, settings):
    settings.AXES_ENABLED, settings.AXES_FAILURE_LIMIT = True, 2
    desk = signed_in(fitter)
    tries = [desk.post("/account/", {**SENT, "current": f"guess-{each}"}).status_code for each in range(2)]
    assert tries == [422, 429]
    assert desk.post("/account/", SENT).status_code != 302, "not even by the right one"
