"""An email address: corrected by the person, or a manager of all their sites; recorded without the address itself."""

import pytest
from django.core import mail
from rest_framework.test import APIClient

from assets_app.models import RecordEntry, Role
from assets_app.people.actions import correct_email
from assets_app.refusals import NotAllowed, NotFound, Unprocessable

NEW = "kez.new@pier.example"


def test_a_person_and_a_manager_correct_it_and_the_record_does_not_keep_it(
    person, site, now, django_capture_on_commit_callbacks
):
    fitter, manager = person("technician", site), person("manager", site)
    with django_capture_on_commit_callbacks(execute=True):
        correct_email(person_id=fitter.pk, email="own@pier.example", actor=fitter, now=now)
        correct_email(person_id=fitter.pk, email=NEW, actor=manager, now=now)
    (told,) = mail.outbox
    assert told.to == ["own@pier.example"], "links to the password go to another address now: the old one is told"
    assert "Manager changed the address" in told.body
    fitter.refresh_from_db()
    assert fitter.email == NEW
    entries = RecordEntry.objects.filter(deed="person.email_corrected").order_by("pk")
    assert [entry.actor_id for entry in entries] == [fitter.pk, manager.pk]
    assert not any("@" in str(entry.facts) for entry in entries)


def test_who_may_not_is_told_who_could(person, site, other_site, now):
    fitter, planner, manager = person("technician", site), person("planner", site), person("manager", site)
    stranger = person("manager", other_site)
    for actor, refusal, code in ((planner, NotAllowed, "role_lacks_right"), (stranger, NotFound, "not_found")):
        with pytest.raises(refusal) as told:
            correct_email(person_id=fitter.pk, email=NEW, actor=actor, now=now)
        assert told.value.code == code
    Role.objects.create(person=fitter, site=other_site, name="technician")
    with pytest.raises(NotAllowed) as told:
        correct_email(person_id=fitter.pk, email=NEW, actor=manager, now=now)
    assert told.value.code == "keeps_not_all_sites"


@pytest.mark.parametrize(("email", "code"), [("kez at pier", "not_an_address"), (NEW, "same_address")])
def test_what_is_no_news_or_no_address_is_refused(person, site, now, email, code):
    fitter = person("technician", site)
    correct_email(person_id=fitter.pk, email=NEW, actor=fitter, now=now)
    with pytest.raises(Unprocessable) as told:
        correct_email(person_id=fitter.pk, email=email, actor=fitter, now=now)
    assert told.value.code == code


def test_page_and_api_correct_it_and_only_who_may_sees_it(client, person, site):
    fitter, planner = person("technician", site), person("planner", site)
    api = APIClient()
    api.force_authenticate(fitter)
    assert api.post(f"/api/v1/people/{fitter.pk}/email/", {"email": NEW}, format="json").status_code == 200
    client.force_login(planner)
    assert NEW not in client.get(f"/people/{fitter.pk}/").content.decode()
    client.force_login(fitter)
    assert NEW in client.get(f"/people/{fitter.pk}/").content.decode()
    assert client.post(f"/people/{fitter.pk}/email/", {"email": "nothing"}).status_code == 422
    assert client.post(f"/people/{fitter.pk}/email/", {"email": "again@pier.example"}).status_code == 302
    fitter.refresh_from_db()
    assert fitter.email == "again@pier.example"
