"""Who am I, colleagues, certificates, and tokens for devices."""

import pytest
from knox.models import AuthToken
from rest_framework.test import APIClient

from assets_app.models import DeviceToken, Qualification, Role
from assets_app.refusals import NotAllowed


def signed_in(who) -> APIClient:
    client = APIClient()
    client.force_authenticate(who)
    return client


def test_i_see_who_i_am_and_my_roles(person, site):
    me = signed_in(person("planner", site)).get("/api/v1/people/me/").data
    assert [dict(role) for role in me["roles"]] == [{"site": site.pk, "name": "planner", "release_authority": False}]


def test_i_see_colleagues_of_my_sites_and_their_roles_there_only(person, site, other_site):
    me, both, stranger = person("planner", site), person("engineer", site), person("manager", other_site)
    Role.objects.create(person=both, site=other_site, name="manager")
    client = signed_in(me)
    rows = {row["id"]: row for row in client.get("/api/v1/people/").data["results"]}
    assert set(rows) == {me.pk, both.pk}
    assert [role["name"] for role in rows[both.pk]["roles"]] == ["engineer"]
    assert client.get(f"/api/v1/people/{stranger.pk}/").status_code == 404
    assert "password" not in str(rows)


def test_a_manager_puts_a_certificate_on_file(person, site):
    manager, fitter = person("manager", site), person("technician", site)
    told = {
        "site": site.pk,
        "person": fitter.pk,
        "kind": "ndt",
        "method": "MT",
        "level": 2,
        "issued_on": "2026-01-01",
        "expires_on": "2031-01-01",
    }
    assert signed_in(manager).post("/api/v1/qualifications/", told).status_code == 201
    assert Qualification.objects.get().person == fitter
    refused = signed_in(fitter).post("/api/v1/qualifications/", told)
    assert (refused.status_code, refused.data["code"]) == (403, "role_lacks_right")


@pytest.fixture
def get_token(person, site):
    who = person("technician", site, username="tern")

    def make(**change):
        told = {"username": "tern", "password": "a-good-password", "name": "red phone", **change}
        return APIClient().post("/api/v1/tokens/", told)

    make.who = who
    return make


def with_token(secret) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {secret}")
    return client


def test_a_device_gets_a_token_by_name_and_password_and_uses_it(get_token):
    made = get_token()
    assert made.status_code == 201
    client = with_token(made.data["secret"])
    assert client.get("/api/v1/people/me/").data["id"] == get_token.who.pk
    listed = client.get("/api/v1/tokens/").data["results"]
    assert [row["name"] for row in listed] == ["red phone"]
    assert made.data["secret"] not in str(listed)


def test_only_a_hash_of_the_token_is_kept(get_token):
    secret = get_token().data["secret"]
    assert secret not in str(AuthToken.objects.values().get())


@pytest.mark.parametrize("change", [{"password": "wrong"}, {"username": "nobody"}])
def test_a_wrong_name_or_password_gets_nothing_and_does_not_say_which(get_token, change):
    answer = get_token(**change)
    assert (answer.status_code, answer.data["code"]) == (NotAllowed.status, "wrong_sign_in")
    assert DeviceToken.objects.count() == 0


def test_a_lost_device_is_locked_out_by_revoking_its_token(get_token):
    lost, kept = with_token(get_token().data["secret"]), with_token(get_token(name="desk").data["secret"])
    row = next(row for row in kept.get("/api/v1/tokens/").data["results"] if row["name"] == "red phone")
    assert kept.delete(f"/api/v1/tokens/{row['id']}/").status_code == 204
    assert lost.get("/api/v1/people/me/").status_code == 401
    assert kept.get("/api/v1/people/me/").status_code == 200


def test_nobody_revokes_the_token_of_another(get_token, person, site):
    get_token()
    other = signed_in(person("manager", site))
    assert other.delete(f"/api/v1/tokens/{DeviceToken.objects.get().pk}/").status_code == 404
    assert DeviceToken.objects.count() == 1


def test_there_is_an_end_to_the_tokens_of_one_person(get_token):
    for _ in range(20):
        assert get_token().status_code == 201
    assert get_token().data["code"] == "too_many_tokens"


def test_somebody_who_left_cannot_use_a_token(get_token):
    client = with_token(get_token().data["secret"])
    get_token.who.is_active = False
    get_token.who.save()
    assert client.get("/api/v1/people/me/").status_code == 401


def test_a_manager_gives_and_takes_roles_by_api_and_page_and_the_last_one_takes_all_sight(
    client, person, site, other_site, asset
):
    manager, fitter = person("manager", site), person("technician", site)
    api, theirs, give = signed_in(manager), signed_in(fitter), "/api/v1/people/give-role/"
    told = {"site": site.pk, "username": fitter.username, "name": "inspector"}
    assert sorted(role["name"] for role in api.post(give, told).data["roles"]) == ["inspector", "technician"]
    assert api.post(give, {**told, "site": other_site.pk}).status_code == 404
    assert api.post(give, {**told, "username": manager.username}).data["code"] == "not_for_oneself"
    assert api.post(give, {**told, "username": "nobody"}).data["code"] == "no_such_name"
    gone = {"site": site.pk, "name": "inspector"}
    taken = api.post(f"/api/v1/people/{fitter.pk}/take-role/", gone).data
    assert taken == {**gone, "orders_given_back": []}
    assert theirs.get(f"/api/v1/assets/{asset.pk}/").status_code == 200
    client.force_login(manager)
    assert f"Take the role of technician at {site.name}" in client.get(f"/people/{fitter.pk}/").content.decode()
    sent = {"site_id": site.pk, "name": "technician"}
    assert client.post(f"/people/{fitter.pk}/roles/take/", {**sent, "site_id": "one"}).status_code == 404
    assert client.post(f"/people/{fitter.pk}/roles/take/", sent)["Location"] == "/people/"
    assert theirs.get(f"/api/v1/assets/{asset.pk}/").status_code == 404
    assert theirs.get("/api/v1/steel/bundle/").json()["sites"] == {}
    assert client.post("/people/roles/", {**sent, "username": fitter.username})["Location"] == "/people/"
    assert theirs.get(f"/api/v1/assets/{asset.pk}/").status_code == 200


def test_wrong_tries_lock_for_a_while(get_token, settings, client):
    settings.AXES_ENABLED = True
    settings.AXES_FAILURE_LIMIT = 3
    for _ in range(3):
        get_token(password="wrong")
    refused = get_token()
    assert refused.status_code == 429, "even with the right password"
    assert (refused.json()["code"], refused["Retry-After"]) == ("too_many_tries", "900")
    page = client.post("/sign-in/", {"username": get_token.who.username, "password": "wrong"})
    assert page.status_code == 429
    assert "Wait 15 minutes and try again" in page.content.decode()


def test_the_page_of_a_colleague_says_what_the_certificates_are_worth(client, person, site, other_site):
    who = person("inspector", site)
    Qualification.objects.create(
        person=who, kind="welder", process="135", issued_on="2019-01-01", expires_on="2099-01-01"
    )
    client.force_login(person("planner", site))
    page = client.get(f"/people/{who.pk}/").content.decode()
    assert "continuity lapsed" in page
    assert "no use recorded" in page
    client.force_login(person("planner", other_site))
    assert client.get(f"/people/{who.pk}/").status_code == 404


def test_a_manager_puts_a_welders_certificate_on_file_on_the_page_and_a_wrong_position_loses_nothing(
    client, person, site
):
    manager, fitter = person("manager", site), person("technician", site)
    client.force_login(manager)
    page = f"/people/{fitter.pk}/certificates/"
    told = {"site_id": site.pk, "kind": "welder", "process": "135", "certificate": "W-7"}
    told |= {"issued_on": "2026-01-10", "expires_on": "2028-01-09"}
    refused = client.post(page, told | {"welding_position": "PA 6G"})
    assert refused.status_code == 422
    assert "6G is no welding position" in refused.content.decode()
    assert 'value="W-7"' in refused.content.decode()
    assert client.post(page, told | {"welding_position": "pa, PB pf"}).status_code == 302
    assert Qualification.objects.get().welding_position == "PA PB PF"
    assert "process 135 in PA PB PF" in client.get(f"/people/{fitter.pk}/").content.decode()
    row = Qualification.objects.get()
    early = client.post(f"{page}{row.pk}/used/", {"used_on": "2025-12-01"})
    assert (early.status_code, "before the certificate" in early.content.decode()) == (422, True)
    assert client.post(f"{page}{row.pk}/used/", {"used_on": "2026-05-01"}).status_code == 302
    assert client.post(f"{page}{row.pk}/end/", {"ends_on": "2026-06-01", "reason": "left"}).status_code == 302
    row.refresh_from_db()
    assert (str(row.last_used_on), str(row.expires_on)) == ("2026-05-01", "2026-06-01")
    assert "Put a certificate on file" not in client.get(f"/people/{manager.pk}/").content.decode()
