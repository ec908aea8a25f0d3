"""A small ``make faults``, and that its checks can fail: a check that sees nothing would pass everything."""

import os
import smtplib
from datetime import date
from email.message import EmailMessage
from types import SimpleNamespace

import pytest

from running import faults, faults_checks, faults_page, mail_sink, webhook_sink
from running.faults_breaker import plan
from running.processes import ROOT

KILLS, JOINTS = 4, 160


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    """The report of a small run in processes of its own."""
    import json
    import subprocess
    import sys

    out = tmp_path_factory.mktemp("faults") / "faults.json"
    seed = os.environ.get("FAULTS_SEED", "20261025")
    size = ["--kills", str(KILLS), "--joints", str(JOINTS), "--assets", "4", "--seed", seed]
    size += ["--rest", "400", "--pause", "0.3"]
    command = [sys.executable, "-m", "running.faults", *size, "--out", str(out)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert out.exists(), done.stderr[-3000:]
    return json.loads(out.read_text())


@pytest.mark.hostile
@pytest.mark.slow
def test_after_kills_crashes_and_a_jump_of_the_clock_every_date_is_right_and_every_alert_told_once(report):
    assert report["passed"], report
    assert report["done"]["kills"] == KILLS
    assert {"Redis emptied", "Redis stopped", "clock jumps"} <= report["done"].keys()
    assert report["posted meanwhile"]["read"] > 0
    assert report["found"]["due dates"] == JOINTS


@pytest.mark.hostile
@pytest.mark.slow
def test_the_report_can_be_read_by_people(report):
    page = faults_page.page(report)
    assert "Everything held." in page
    assert f"| kills | {KILLS} |" in page


def test_a_plan_holds_every_kill_and_each_other_fault_and_follows_its_seed():
    import random

    deeds = plan(200, random.Random(1))
    assert deeds.count("kill_a_worker") == 200
    assert {"empty_redis", "stop_redis", "restart_database", "jump"} < set(deeds)
    assert deeds == plan(200, random.Random(1)) != plan(200, random.Random(2))


# --- the checks can fail ----------------------------------------------------------------------------------------------


def test_a_row_that_is_missing_or_another_is_seen():
    kept = {1: (1, date(2026, 6, 1)), 2: (2, None), 3: (3, None)}
    fresh = {1: (1, date(2026, 6, 2)), 2: (2, None), 4: (4, None)}
    assert faults_checks.differing(kept, fresh) == [1, 3, 4]


@pytest.mark.parametrize(
    ("where", "wrong"),
    [
        *(("", one) for one in ("due dates that differ", "ratings that differ", "alerts not written")),
        *(("mail", one) for one in ("lost", "doubled", "given_up")),
        *(("webhooks", one) for one in ("not_owed", "lost", "doubled", "wrongly_signed", "given_up")),
    ],
)
def test_one_thing_wrong_is_enough_to_fail(where, wrong):
    found = _all_well()
    assert faults._passed(found)
    (found[where] if where else found)[wrong] = 1
    assert not faults._passed(found)


def test_a_run_that_computed_or_told_nothing_fails():
    assert not faults._passed({**_all_well(), "due dates": 0})
    for way in ("mail", "webhooks"):
        nothing = _all_well()
        nothing[way]["alerts"] = 0
        assert not faults._passed(nothing)


def test_more_repeats_than_kills_can_explain_fail():
    found = _all_well()
    found["webhooks"]["same_message_taken_again"] = 3  # with those of the mail one more than can be explained
    assert not faults._passed(found)


def _all_well():
    mail = {"messages": 3, "alerts": 9, "lost": 0, "doubled": 0, "same_message_taken_again": 4, "given_up": 0}
    hooks = {"alerts": 9, "not_owed": 0, "lost": 0, "doubled": 0, "wrongly_signed": 0, "given_up": 0}
    return {
        "due dates": 400,
        "due dates that differ": 0,
        "ratings that differ": 0,
        "alerts not written": 0,
        "alerts not given to all who hear of them": 0,
        "mail": mail,
        "webhooks": {**hooks, "same_message_taken_again": 2},
        "at most so many messages taken again": 6,
        "examples": [],
    }


@pytest.fixture
def told(site, person, now):
    """One alert, written down as sent by email."""
    from schedules.models import Delivery, Intent

    who = person("planner", site)
    who.email = "planner@larkmoor.example"
    who.save()
    intent = Intent.objects.create(
        site=site, kind="overdue", key="overdue:1", subject="x", text="MT of W-1 was due.", link="/due/", created_at=now
    )
    Delivery.objects.create(intent=intent, person=who, channel="email", state="sent", next_try_at=now)
    return SimpleNamespace(
        to=who.email, text="Larkmoor Pier: MT of W-1 was due.\n  http://localhost:8000/due/\n\nCaution."
    )


def test_an_alert_told_once_is_neither_lost_nor_doubled(told):
    found = faults_checks.mail([mail_sink.Received("<a@x>", told.to, told.text)])
    assert (found["alerts"], found["lost"], found["doubled"], found["same_message_taken_again"]) == (1, 0, 0, 0)


def test_an_alert_that_nobody_received_is_lost(told):
    assert faults_checks.mail([])["lost"] == 1


def test_an_alert_in_two_messages_is_doubled(told):
    both = [mail_sink.Received(name, told.to, told.text) for name in ("<a@x>", "<b@x>")]
    assert faults_checks.mail(both)["doubled"] == 1


def test_the_same_message_twice_is_counted_apart(told):
    found = faults_checks.mail([mail_sink.Received("<a@x>", told.to, told.text)] * 2)
    assert (found["doubled"], found["same_message_taken_again"]) == (0, 1)


@pytest.fixture
def posted(site, person, now):
    """One alert of a site with an endpoint, written down as taken, and the message as it came."""
    from schedules.alerts import posting
    from schedules.models import Intent, WebhookDelivery, WebhookEndpoint

    facts = {"made_by": person("manager", site), "made_at": now, "next_try_at": now, "secret": "whsec_c2VjcmV0"}
    endpoint = WebhookEndpoint.objects.create(site=site, url="http://127.0.0.1:9/pier", **facts)
    told = {"kind": "overdue", "subject": "x", "text": "x", "created_at": now}
    intent = Intent.objects.create(site=site, key="overdue:1", **told)
    WebhookDelivery.objects.create(endpoint=endpoint, intent=intent, state="sent", owed_since=now)
    name, body = posting.message_id(intent), posting.payload(intent)
    sent = posting.headers(secret=endpoint.secret, message=name, body=body, at=now)
    return webhook_sink.Posted("/pier", name, sent["webhook-timestamp"], sent["webhook-signature"], body)


def _wrong(received):
    found = faults_checks.webhooks(received)
    return {name: count for name, count in found.items() if count and name not in ("messages", "alerts")}


def test_a_post_that_came_once_and_rightly_signed_is_well_and_each_wrong_is_seen(posted):
    from dataclasses import replace

    assert _wrong([posted]) == {}
    assert _wrong([]) == {"lost": 1}
    assert _wrong([posted, posted]) == {"same_message_taken_again": 1}
    assert _wrong([posted, replace(posted, timestamp="1")]) == {"same_message_taken_again": 1, "wrongly_signed": 1}
    assert _wrong([posted, replace(posted, message_id="alert_2")]) == {"doubled": 1, "wrongly_signed": 1}
    assert _wrong([replace(posted, body=b"{}")]) == {"lost": 1, "doubled": 1, "wrongly_signed": 1}


def test_an_alert_that_was_never_owed_to_the_webhook_is_seen(posted):
    from schedules.models import WebhookDelivery

    WebhookDelivery.objects.all().delete()
    assert _wrong([posted]) == {"not_owed": 1}


@pytest.fixture
def told_by_own_rule(site, person, now):
    """An overdue look where the site's own rule lets technicians hear of it in the app; its intent and a technician."""
    from schedules.models import AlertRule, Intent

    who = person("technician", site)
    rule = {"kind": "overdue", "role": "technician", "in_app": True, "email": False, "reason": "theirs to do"}
    AlertRule.objects.create(site=site, set_by=who, set_at=now, **rule)
    facts = {"kind": "overdue", "key": "overdue:1", "subject": "x", "text": "x", "created_at": now}
    return Intent.objects.create(site=site, **facts), who


def test_who_hears_by_the_site_s_own_rule_and_was_not_told_is_seen(told_by_own_rule, now):
    from schedules.models import Delivery

    intent, who = told_by_own_rule
    assert faults_checks.not_given_to_people() == 1
    Delivery.objects.create(intent=intent, person=who, channel="in-app", state="sent", next_try_at=now)
    assert faults_checks.not_given_to_people() == 0


def test_an_escalation_is_asked_of_its_own_role_only(told_by_own_rule, person, site, now):
    from schedules.models import Delivery, Intent

    Intent.objects.update(kind="escalated", role="manager")
    assert faults_checks.not_given_to_people() == 0
    chief = person("manager", site)  # no address: told in the app
    assert faults_checks.not_given_to_people() == 1
    Delivery.objects.create(intent=Intent.objects.get(), person=chief, channel="in-app", state="sent", next_try_at=now)
    assert faults_checks.not_given_to_people() == 0


# --- the mail server --------------------------------------------------------------------------------------------------


def _send(port):
    message = EmailMessage()
    message["From"], message["To"], message["Message-ID"] = "a@b.example", "c@d.example", "<one@b.example>"
    message.set_content("First line – with a dash.\n.\nLast line.\n")
    with smtplib.SMTP("127.0.0.1", port, timeout=10) as client:
        client.send_message(message)


def test_the_mail_server_keeps_what_it_is_sent():
    with mail_sink.serving(1, slow_s=0, refuse=0) as sink:
        _send(sink.port)
    (kept,) = sink.received
    assert (kept.message_id, kept.to) == ("<one@b.example>", "c@d.example")
    assert kept.text.splitlines()[:3] == ["First line – with a dash.", ".", "Last line."]


def test_the_mail_server_refuses_what_it_is_told_to():
    with mail_sink.serving(1, slow_s=0, refuse=1) as sink, pytest.raises(smtplib.SMTPDataError):
        _send(sink.port)
    assert (sink.refused, sink.received) == (1, [])


def test_a_closed_mail_server_turns_away_until_it_opens():
    with mail_sink.serving(1, slow_s=0, refuse=0) as sink:

        def knock():
            with pytest.raises(smtplib.SMTPConnectError):
                _send(sink.port)

        sink.close_for(knock)
        _send(sink.port)
    assert len(sink.received) == 1


# --- the webhook receiver ---------------------------------------------------------------------------------------------


def _post(sink):
    import http.client

    link = http.client.HTTPConnection("127.0.0.1", sink.port, timeout=10)
    link.request("POST", "/pier", b"{}", {"webhook-id": "alert_1"})
    status = link.getresponse().status
    link.close()
    return status


def test_the_receiver_keeps_refuses_and_is_down_for_a_while():
    with webhook_sink.serving(1, slow_s=0, refuse=0) as sink:
        assert _post(sink) == 204
        sink.close_for(lambda: _post(sink))
        sink.down()
        with pytest.raises(OSError):
            _post(sink)
        sink.up()
        assert _post(sink) == 204
        sink.refuse = 1
        assert _post(sink) == 503
    assert [(one.path, one.message_id) for one in sink.received] == [("/pier", "alert_1")] * 2
    assert sink.refused == 1
