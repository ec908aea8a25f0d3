"""An account is shut: no way in is left, and what was done stays. Opened again, nothing from before revives."""

import io

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from rest_framework.test import APIClient

from assets_app.models import Person, RecordEntry, Role
from assets_app.people import account_actions
from assets_app.people.account_actions import open_account, shut_account
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from schedules.alerts.setting_actions import make_calendar_link
from schedules.models import WorkOrder

PASSWORD = "a-good-password"
WHY = {"reason": "left the pier"}


@pytest.fixture
def shut(fitter, manager, now):
    def deed(**more):
        return shut_account(**{"person_id": fitter.pk, "actor": manager, "now": now, **WHY, **more})

    return deed


def sign_in(who: Person) -> Client:
    client = Client()
    client.post("/sign-in/", {"username": who.username, "password": PASSWORD})
    return client


def token(who: Person):
    told = {"username": who.username, "password": PASSWORD, "name": "tablet"}
    return APIClient().post("/api/v1/tokens/", told)


def test_no_way_in_is_left_and_none_from_before_comes_back(fitter, manager, site, weld_joint, now, shut, settings):
    order = WorkOrder.objects.create(
        site=site,
        asset=weld_joint.asset,
        joint=weld_joint,
        number=7,
        kind="repair",
        title="grind",
        due_on=now.date(),
        raised_at=now,
        assignee=fitter,
    )
    desk, tablet = sign_in(fitter), APIClient()
    tablet.credentials(HTTP_AUTHORIZATION="Token " + token(fitter).data["secret"])
    made = account_actions.make_link(person_id=fitter.pk, actor=manager, now=now, hand_over="show")
    link = made.address.removeprefix(settings.BASE_URL)
    calendar = f"/calendar/{make_calendar_link(actor=fitter, now=now)[1]}.ics"

    def ways() -> list[int]:
        asked = [desk.get("/api/v1/people/me/"), tablet.get("/api/v1/people/me/"), Client().get(link)]
        return [answer.status_code for answer in (*asked, Client().get(calendar))]

    assert ways() == [200, 200, 200, 200]
    assert shut() == [7]
    assert ways() == [401, 401, 404, 404]
    assert token(fitter).status_code == 403
    assert sign_in(fitter).get("/api/v1/people/me/").status_code == 401
    order.refresh_from_db()
    assert order.assignee is None
    assert Role.objects.filter(person=fitter, name="technician").exists(), "the history stays"
    assert RecordEntry.objects.get(deed="person.account_shut").facts["reason"] == "left the pier"
    fitter.refresh_from_db()
    with pytest.raises(Conflict) as told:
        account_actions.make_link(person_id=fitter.pk, actor=manager, now=now)
    assert told.value.code == "account_shut"
    open_account(person_id=fitter.pk, actor=manager, now=now)
    assert ways() == [401, 401, 404, 404]
    assert sign_in(fitter).get("/api/v1/people/me/").status_code == 200


def test_of_several_sites_only_a_manager_of_each_and_never_oneself_and_a_refusal_names_who_could(
    person, fitter, manager, site, other_site, shut, now
):
    planner, stranger = person("planner", site), person("manager", other_site)
    for actor, refusal, code in (
        (planner, NotAllowed, "role_lacks_right"),
        (stranger, NotFound, "not_found"),
    ):
        with pytest.raises(refusal) as told:
            shut(actor=actor)
        assert told.value.code == code
    Role.objects.create(person=fitter, site=other_site, name="technician")
    with pytest.raises(NotAllowed) as told:
        shut()
    assert told.value.code == "keeps_not_all_sites"
    assert "Only whoever runs the service could" in told.value.message
    both = person("manager", site, username="both")
    Role.objects.create(person=both, site=other_site, name="manager")
    with pytest.raises(NotAllowed) as told:
        shut()
    assert f"{both.display_name} or whoever runs the service could" in told.value.message
    with pytest.raises(NotAllowed) as told:
        shut(person_id=both.pk, actor=both)
    assert told.value.code == "not_for_oneself"
    with pytest.raises(Unprocessable) as told:
        shut(actor=both, reason=" ")
    assert told.value.code == "reason_needed"
    assert not RecordEntry.objects.exists()
    shut(actor=both)
    assert {entry.site_id for entry in RecordEntry.objects.all()} == {site.pk, other_site.pk}


def test_the_last_manager_of_a_site_is_shut_by_nobody(person, fitter, manager, site, shut):
    deputy = person("manager", site)
    shut(person_id=deputy.pk)
    with pytest.raises(Conflict) as told:
        shut(person_id=manager.pk, actor=None)  # by a command; a manager who is shut keeps nobody
    assert told.value.code == "last_manager"
    with pytest.raises(NotFound):
        shut(actor=deputy)  # signed in before, and looked at anew
    assert Person.objects.get(pk=manager.pk).is_active


def test_page_api_and_command_are_doors_to_the_same(client, fitter, manager, site):
    client.force_login(manager)
    path = f"/people/{fitter.pk}/"
    assert "field-error" in client.post(f"{path}shut/", {"reason": ""}).content.decode()
    client.post(f"{path}shut/", WHY)
    assert "This account is shut" in client.get(path).content.decode()
    given = {"username": fitter.username, "site_id": site.pk, "name": "inspector"}
    assert "This account is shut" in client.post("/people/roles/", given).content.decode()
    assert "Accounts that are shut" in client.get("/people/").content.decode()
    assert client.post(f"{path}open/").status_code == 302
    api = f"/api/v1/people/{fitter.pk}"
    assert client.post(f"{api}/shut-account/", WHY).json() == {"person": fitter.pk, "orders_given_back": []}
    assert client.post(f"{api}/open-account/").json()["is_active"]
    out = io.StringIO()
    call_command("account", "shut", fitter.username, reason="left the pier", stdout=out)
    assert not Person.objects.get(pk=fitter.pk).is_active
    assert "by a command on the machine" in client.get("/record/").content.decode()
    with pytest.raises(CommandError, match="shut already"):
        call_command("account", "shut", fitter.username, manager=manager.username, reason="again")
    call_command("account", "open", fitter.username, stdout=out)
    assert Person.objects.get(pk=fitter.pk).is_active
