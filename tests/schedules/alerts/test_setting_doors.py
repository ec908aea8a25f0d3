"""The pages and the API of rules, webhooks, settings, calendar links and acknowledging."""

import pytest
from django.test import Client
from rest_framework.test import APIClient

from schedules.alerts import actions, rules
from schedules.alerts.setting_actions import set_rule
from schedules.models import AlertRule, AlertSettings, CalendarLink, Delivery, Intent, WebhookEndpoint

pytestmark = pytest.mark.django_db


def page_of(who):
    client = Client()
    client.force_login(who, backend="assets_app.people.signed_in.PersonBackend")
    return client


def api_of(who):
    client = APIClient()
    client.force_authenticate(who)
    return client


RULE = {"kind": "due soon", "role": "technician", "in_app": "on", "reason": "they asked"}


def test_a_manager_sets_a_rule_on_the_page_and_others_only_read(site, manager, planner):
    url = "/sites/larkmoor-pier/alert-rules/"
    assert "Set a rule" not in page_of(planner).get(url).content.decode()
    assert page_of(planner).post(url, RULE).status_code == 403
    assert page_of(manager).post(url, RULE).status_code == 302
    rule = AlertRule.objects.get()
    assert (rule.role, rule.in_app, rule.email, rule.is_on) == ("technician", True, False, True)
    page = page_of(planner).get(url).content.decode()
    assert "they asked" in page


def test_neither_channel_ticked_switches_a_role_off(site, manager):
    page_of(manager).post("/sites/larkmoor-pier/alert-rules/", {"kind": "overdue", "role": "planner", "reason": "x"})
    assert not AlertRule.objects.get().is_on


def test_a_refused_rule_keeps_what_was_typed_and_names_the_field(site, manager):
    answer = page_of(manager).post("/sites/larkmoor-pier/alert-rules/", {**RULE, "days": "5"})
    assert answer.status_code == 422
    assert "they asked" in answer.content.decode()
    assert answer.context["form"].errors["days"]


def test_another_site_s_pages_are_not_there(site, other_site, person):
    stranger = page_of(person("manager", other_site))
    for url in ("/sites/larkmoor-pier/alert-rules/", "/sites/larkmoor-pier/webhooks/"):
        assert stranger.get(url).status_code == 404


def test_the_secret_of_a_receiver_is_shown_once(site, manager, planner):
    url = "/sites/larkmoor-pier/webhooks/"
    assert page_of(planner).get(url).status_code == 403
    answer = page_of(manager).post(url, {"url": "https://receiver.example/", "kinds": ["overdue"]})
    secret = WebhookEndpoint.objects.get().secret
    assert answer.status_code == 201
    assert secret in answer.content.decode()
    assert answer["Cache-Control"] == "no-store"
    again = page_of(manager).get(url).content.decode()
    assert "https://receiver.example/" in again
    assert secret not in again


def test_a_receiver_is_switched_off_on_the_page(site, manager, planner):
    page_of(manager).post("/sites/larkmoor-pier/webhooks/", {"url": "https://receiver.example/"})
    made = WebhookEndpoint.objects.get()
    assert page_of(planner).post(f"/webhooks/{made.pk}/", {"deed": "off"}).status_code == 403
    assert page_of(manager).post(f"/webhooks/{made.pk}/", {"deed": "off"}).status_code == 302
    assert page_of(manager).post(f"/webhooks/{made.pk}/", {"deed": ""}).status_code == 302
    made.refresh_from_db()
    assert not made.is_on


def test_a_receiver_that_moved_is_given_its_new_address_on_the_page_and_keeps_its_secret(site, manager):
    mine, url = page_of(manager), "/sites/larkmoor-pier/webhooks/"
    mine.post(url, {"url": "https://receiver.example/", "kinds": ["overdue"]})
    made = WebhookEndpoint.objects.get()
    assert 'value="https://receiver.example/"' in mine.get(f"{url}?change={made.pk}").content.decode()
    refused = mine.post(f"{url}?change={made.pk}", {"url": "ftp://moved.example/"})
    assert (refused.status_code, "ftp://moved.example/" in refused.content.decode()) == (422, True)
    assert mine.post(f"{url}?change={made.pk}", {"url": "https://moved.example/"}).status_code == 302
    after = WebhookEndpoint.objects.get()
    assert (after.url, after.kinds, after.secret) == ("https://moved.example/", [], made.secret)
    assert mine.get(f"{url}?change=999999").status_code == 404


def test_settings_are_saved_on_the_page_and_a_link_is_shown_once(planner):
    mine = page_of(planner)
    given = {"quiet_from": "22:00", "quiet_until": "07:00", "digest": "daily", "digest_hour": "8", "time_zone": ""}
    assert mine.post("/alerts/settings/", given).status_code == 302
    assert AlertSettings.objects.get(person=planner).digest_hour == 8
    assert mine.post("/alerts/settings/", {**given, "digest_hour": "6"}).status_code == 422
    answer = mine.post("/alerts/settings/", {"make_link": "1"}).content.decode()
    assert "/calendar/" in answer
    assert "/calendar/" not in mine.get("/alerts/settings/").content.decode()
    link = CalendarLink.objects.get()
    assert mine.post(f"/alerts/settings/links/{link.pk}/revoke/").status_code == 302
    link.refresh_from_db()
    assert link.revoked_at


def test_the_alert_page_says_who_sees_to_it(site, planner, manager, now):
    Intent.objects.create(site=site, kind="overdue", key="overdue:1", subject="s", text="t", created_at=now)
    actions.expand(now=now)
    mine = Delivery.objects.get(person=planner)
    assert page_of(planner).post(f"/alerts/{mine.pk}/acknowledge/").status_code == 302
    assert "Planner sees to it since" in page_of(manager).get("/alerts/").content.decode()


def test_the_api_acknowledges_once(site, planner, manager, now):
    Intent.objects.create(site=site, kind="overdue", key="overdue:1", subject="s", text="t", created_at=now)
    actions.expand(now=now)
    mine, his = (Delivery.objects.get(person=who).pk for who in (planner, manager))
    answer = api_of(planner).post(f"/api/v1/alerts/{mine}/acknowledge/")
    assert answer.json()["acknowledged_by"] == "Planner"
    assert api_of(planner).post(f"/api/v1/alerts/{his}/acknowledge/").status_code == 404
    late = api_of(manager).post(f"/api/v1/alerts/{his}/acknowledge/")
    assert (late.status_code, late.json()["code"], late.json()["by"]) == (409, "already_acknowledged", "Planner")


def test_the_api_sets_and_lists_rules(site, manager, planner):
    given = {"site": site.pk, "kind": "due soon", "days": 45, "reason": "crane is booked early"}
    assert api_of(planner).post("/api/v1/alert-rules/", given).status_code == 403
    assert api_of(manager).post("/api/v1/alert-rules/", given).status_code == 201
    rows = api_of(planner).get(f"/api/v1/alert-rules/?site={site.pk}&kind=due soon").json()["results"]
    assert [(row["days"], row["role"]) for row in rows] == [(45, "")]


def test_the_api_tells_who_hears_of_what_where_no_rule_was_set_too(site, other_site, manager, planner, now):
    def standing():
        rows = api_of(planner).get("/api/v1/alert-rules/standing/").json()
        assert {row["site"] for row in rows} == {site.pk}
        return {(row["kind"], row["role"]): row for row in rows}

    assert (standing()["overdue", "planner"]["email"], standing()["overdue", "technician"]["email"]) == (True, False)
    assert standing()["escalated", "manager"]["days"] == rules.STEPS["manager"]
    rule = {"site_id": site.pk, "kind": "overdue", "reason": "they mend it", "actor": manager, "now": now}
    set_rule(**rule, role="technician", email=False)
    told = standing()["overdue", "technician"]
    assert (told["in_app"], told["email"], told["is_own"]) == (True, False, True)


def test_the_api_tells_secrets_once_even_when_asked_twice_under_one_key(site, manager):
    headers = {"Idempotency-Key": "k1"}
    given = {"site": site.pk, "url": "https://receiver.example/", "kinds": []}
    first = api_of(manager).post("/api/v1/webhooks/", given, headers=headers)
    again = api_of(manager).post("/api/v1/webhooks/", given, headers=headers)
    assert first.json()["secret"] == WebhookEndpoint.objects.get().secret
    assert (again.status_code, "secret" in again.json()) == (201, False)
    listed = api_of(manager).get("/api/v1/webhooks/")
    assert first.json()["secret"] not in listed.content.decode()
    assert listed.json()["results"][0]["owed"] == 0
    pk = first.json()["id"]
    assert api_of(manager).patch(f"/api/v1/webhooks/{pk}/", {"is_on": False}).json()["is_on"] is False
    assert api_of(manager).post(f"/api/v1/webhooks/{pk}/again/").json() == {"owed": 0}


def test_the_api_of_my_settings_and_links(planner, manager):
    mine = api_of(planner)
    assert mine.get("/api/v1/alert-settings/").json()["digest"] == "at once"
    given = {"quiet_from": "22:00:00", "quiet_until": "07:00:00", "time_zone": "Europe/London"}
    assert mine.put("/api/v1/alert-settings/", given).json()["quiet_from"] == "22:00:00"
    assert mine.put("/api/v1/alert-settings/", {"quiet_from": "22:00"}).json()["code"] == "quiet_half_given"
    made = mine.post("/api/v1/calendar-links/").json()
    assert Client().get(made["url"].removeprefix("http://testserver")).status_code == 200
    assert api_of(manager).delete(f"/api/v1/calendar-links/{made['id']}/").status_code == 404
    assert mine.delete(f"/api/v1/calendar-links/{made['id']}/").status_code == 204
    assert mine.get("/api/v1/calendar-links/").json()["results"] == []
