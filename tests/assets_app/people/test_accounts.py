"""A person is added by a manager and sets the password by a link that works once, for three days, and until a newer."""

import io

import pytest
from django.contrib.auth import authenticate
from django.core import mail
from django.core.management import call_command
from django.utils import timezone as django_timezone
from rest_framework.test import APIClient

from assets_app.models import Person, RecordEntry, Role
from assets_app.people import account_actions, actions, sign_in_links
from assets_app.record.sentences import sentence
from assets_app.refusals import Conflict, NotAllowed, NotFound, Refused

PASSWORD = "tern-over-the-mole"
NEW = {"username": "wick", "first_name": "Wick", "last_name": "Sandrigg", "email": "wick@pier.example"}


@pytest.fixture
def added(manager, site, now):
    def make(**more):
        told = {
            **NEW,
            "role": "technician",
            "site_id": site.pk,
            "actor": manager,
            "now": now,
            "hand_over": "mail",
            **more,
        }
        return account_actions.add_person(**told)

    return make


def path(link):
    return link.address.removeprefix("http://localhost:8000")


def facts_of_all() -> str:
    return "".join(RecordEntry.objects.values_list("content", flat=True))


def test_a_person_is_added_once_with_a_role_and_the_link_sets_the_password_once(
    added, client, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        link = added()
    page = client.get(path(link))
    assert "Wick Sandrigg" in page.content.decode()
    assert page["Cache-Control"] == "no-store"
    for sent in ({"password": "short", "again": "short"}, {"password": PASSWORD, "again": PASSWORD + "s"}):
        assert client.post(path(link), sent).status_code == 422
    answer = client.post(path(link), {"password": PASSWORD, "again": PASSWORD})
    assert (answer.status_code, answer["Location"]) == (302, "/sign-in/")
    assert "_auth_user_id" not in client.session, "nobody is signed in by the link"
    assert authenticate(username="wick", password=PASSWORD) == link.person
    assert client.post(path(link), {"password": PASSWORD, "again": PASSWORD}).status_code == 404
    assert [(message.to, message.subject) for message in mail.outbox] == [(["wick@pier.example"], "Set your password")]
    assert f"/sign-in/set-password/{link.person.pk}/" in mail.outbox[0].body
    assert (link.mail, link.shown) == ("sent", None)
    deeds = list(RecordEntry.objects.order_by("pk").values_list("deed", flat=True))
    assert deeds == ["person.added", "role.granted", "person.password_set"]
    token = path(link).split("/")[-2]
    assert not any(secret in facts_of_all() for secret in (token, "wick@pier.example", PASSWORD))


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"username": "MANAGER1"}, "name_taken"),
        ({"username": "a wick"}, "bad_sign_in_name"),
        ({"first_name": " "}, "name_needed"),
        ({"email": "wick at pier"}, "not_an_address"),
        ({"role": "captain"}, "unknown_role"),
    ],
)
def test_what_cannot_be_is_refused_and_nobody_is_added(added, change, code):
    with pytest.raises(Refused) as refused:
        added(**change)
    assert refused.value.code == code
    assert Person.objects.count() == 1
    assert isinstance(refused.value, Conflict) == (code == "name_taken")


def test_a_newer_link_an_address_a_sign_in_and_three_days_end_one(added, manager, site, now, settings, client):
    first = added()
    second = account_actions.make_link(
        person_id=first.person.pk, actor=manager, now=now.replace(hour=10), hand_over="show"
    )
    assert client.get(path(first)).status_code == 404
    assert client.get(path(second)).status_code == 200
    who = first.person.pk
    for change in ({"email": "other@pier.example"}, {"last_login": now}, {"is_active": False}, {"link_made_at": None}):
        kept = Person.objects.filter(pk=who).values(*change).get()
        Person.objects.filter(pk=who).update(**change)
        assert client.get(path(second)).status_code == 404, change
        Person.objects.filter(pk=who).update(**kept)
    assert client.get(path(second)).status_code == 200
    settings.PASSWORD_RESET_TIMEOUT = -1
    assert client.get(path(second)).status_code == 404
    other = path(second).replace(f"/{who}/", f"/{manager.pk}/")
    assert client.get(other).status_code == 404, "a link is for its person only"


def test_a_role_given_or_taken_anywhere_ends_a_link_for_good_and_its_maker_is_told(
    added, person, manager, site, other_site, now, client
):
    there = person("manager", other_site)
    link = added(hand_over="show")
    who = {"person_id": link.person.pk, "name": "technician", "now": now}
    actions.grant_role(**who, site_id=other_site.pk, actor=there)
    actions.take_role(**who, site_id=other_site.pk, actor=there)
    assert client.get(path(link)).status_code == 404
    client.force_login(manager)
    assert "No link to set one is out" in client.get(f"/people/{link.person.pk}/").content.decode()
    newer = account_actions.make_link(
        person_id=link.person.pk, actor=manager, now=django_timezone.now(), hand_over="show"
    )
    assert client.get(path(newer)).status_code == 200
    assert "made by Manager" in client.get(f"/people/{link.person.pk}/").content.decode()
    role = {"site_id": site.pk, "username": "wick", "name": "planner"}
    assert "make a new one" in client.post("/people/roles/", role, follow=True).content.decode()
    assert client.get(path(newer)).status_code == 404


def test_a_link_is_made_by_the_manager_of_every_site_of_the_person_never_by_oneself(
    person, manager, site, other_site, now
):
    fitter, planner, stranger = person("technician", site), person("planner", site), person("manager", other_site)
    tries = [(planner, NotAllowed, "role_lacks_right"), (stranger, NotFound, "not_found")]
    for actor, refusal, code in tries:
        with pytest.raises(refusal) as told:
            account_actions.make_link(person_id=fitter.pk, actor=actor, now=now)
        assert told.value.code == code
    with pytest.raises(NotAllowed) as told:
        account_actions.make_link(person_id=manager.pk, actor=manager, now=now)
    assert told.value.code == "not_for_oneself"
    Role.objects.create(person=fitter, site=other_site, name="technician")
    with pytest.raises(NotAllowed) as told:
        account_actions.make_link(person_id=fitter.pk, actor=manager, now=now)
    assert told.value.code == "keeps_not_all_sites"
    assert other_site.name not in told.value.message
    assert not RecordEntry.objects.exists()


def test_page_api_and_command_are_doors_to_the_same_and_a_repeat_tells_no_link(client, person, manager, site, settings):
    api = APIClient()
    api.force_authenticate(manager)
    told = {**NEW, "site": site.pk, "role": "technician", "hand_over": "show"}
    made, again = (api.post("/api/v1/people/", told, headers={"Idempotency-Key": "k1"}) for _ in range(2))
    assert (made.status_code, again.status_code) == (201, 201)
    assert client.get(made.data["link"].removeprefix(settings.BASE_URL)).status_code == 200
    assert (again.data["person"], again.data["link"]) == (made.data["person"], None)
    client.force_login(manager)
    page = client.post("/people/add/", {**told, "site_id": site.pk, "username": "pell", "email": ""})
    pell = Person.objects.get(username="pell")
    assert page.status_code == 201
    assert page["Cache-Control"] == "no-store"
    assert sign_in_links.new_link(pell).address in page.content.decode()
    assert "already" in client.post("/people/add/", {**told, "site_id": site.pk}).content.decode()
    assert "has set no password yet" in client.get(f"/people/{pell.pk}/").content.decode()
    newer = client.post(f"/people/{pell.pk}/link/", {"hand_over": "show"}).content.decode()
    pell.refresh_from_db()
    assert sign_in_links.new_link(pell).address in newer
    out = io.StringIO()
    options = {"manager": manager.username, "site": site.slug, "role": "inspector", "first_name": "Ebb"}
    call_command("add_person", "ebb", stdout=out, stderr=io.StringIO(), **options)
    assert client.get(out.getvalue().strip().removeprefix(settings.BASE_URL)).status_code == 200
    client.force_login(person("planner", site))
    assert "Add a person" not in client.get("/people/").content.decode()


def test_who_is_shown_a_link_cannot_use_it_unseen(
    person, manager, site, now, client, django_capture_on_commit_callbacks
):
    fitter = person("technician", site)
    Person.objects.filter(pk=fitter.pk).update(email="fitter@pier.example")
    with django_capture_on_commit_callbacks(execute=True):
        link = account_actions.make_link(person_id=fitter.pk, actor=manager, now=now, hand_over="show")
        client.post(path(link), {"password": PASSWORD, "again": PASSWORD})
    assert authenticate(username=fitter.username, password=PASSWORD) == fitter
    made, used = mail.outbox
    assert made.to == used.to == ["fitter@pier.example"]
    assert link.shown == link.address
    assert link.address not in made.body
    assert "Manager made a link" in made.body
    assert "by a link, which Manager made" in used.body
    said = {entry.deed: sentence(entry.deed, entry.facts) for entry in RecordEntry.objects.all()}
    assert said == {
        "person.link_made": "made a link by which Technician sets a password, shown to who made it",
        "person.password_set": "saw a password of Technician set by a link that Manager made",
    }


def test_a_link_is_mailed_only_where_mail_reaches_the_person(added, manager, client, settings, now):
    with pytest.raises(Refused) as refused:
        added(email="")
    assert refused.value.code == "no_address"
    who = added(email="", hand_over="show").person
    client.force_login(manager)
    assert "No email address is on file" in client.get(f"/people/{who.pk}/").content.decode()
    assert client.post(f"/people/{who.pk}/link/", {"hand_over": "mail"}).status_code == 422
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    assert "No mail leaves this service" in client.get("/people/").content.decode()
    with pytest.raises(Refused) as refused:
        account_actions.make_link(person_id=who.pk, actor=manager, now=now, hand_over="mail")
    assert refused.value.code == "mail_not_set_up"


def test_a_sole_manager_who_forgot_the_password_gets_in_by_a_command(manager, client, settings):
    out = io.StringIO()
    call_command("account", "link", manager.username, stdout=out, stderr=io.StringIO())
    sent = {"password": PASSWORD, "again": PASSWORD}
    assert client.post(out.getvalue().strip().removeprefix(settings.BASE_URL), sent)["Location"] == "/sign-in/"
    assert client.post("/sign-in/", {"username": manager.username, "password": PASSWORD}).status_code == 302
    made = RecordEntry.objects.get(deed="person.link_made")
    assert (made.actor, made.facts["at_the_machine"]) == (None, True)
    used = RecordEntry.objects.get(deed="person.password_set")
    assert "whoever runs the service made" in sentence(used.deed, used.facts)
