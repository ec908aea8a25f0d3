"""Webhooks against a real receiver on loopback: down, slow, broken, or killed between the answer and the note of it."""

import base64
import json
import threading
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from django.db import connection
from standardwebhooks import Webhook, WebhookVerificationError

from assets_app.models import RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from running.processes import ROOT
from schedules.alerts import actions, http_post, posting, queries, rules, webhook_actions
from schedules.models import Intent, WebhookDelivery, WebhookEndpoint
from tests.schedules.alerts.receiver import listening, nobody_listens

SLACK = timedelta(seconds=30)  # the worker's own clock runs on while it works


@pytest.fixture
def receiver():
    with listening() as one:
        yield one


@pytest.fixture
def endpoint(site, manager, receiver, now):
    return made(site, manager, receiver.url, now)


def made(site, manager, url, now, kinds=()):
    return webhook_actions.make_endpoint(site_id=site.pk, url=url, kinds=kinds, actor=manager, now=now)


def intents(site, count, now, kind="overdue", start=0):
    return [
        Intent.objects.create(
            site=site, kind=kind, key=f"{kind}:{place}", subject="s", text=f"t{place}", created_at=now
        )
        for place in range(start, start + count)
    ]


def texts(messages):
    return [json.loads(body)["data"]["text"] for _, body in messages]


# --- one message ------------------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_message_is_signed_so_that_the_receiver_can_tell(site, endpoint, receiver):
    at = datetime.now(UTC)  # the receiver's check of a signature reads the true clock
    intents(site, 1, at)
    WebhookEndpoint.objects.update(made_at=at, next_try_at=at)
    assert posting.post_owed(now=at) == 1
    headers, body = receiver.taken[0]
    told = Webhook(endpoint.secret).verify(body, headers)
    _check_as_documented(headers, body, endpoint.secret)
    assert told["type"] == "alert.overdue"
    assert told["data"]["site"] == "larkmoor-pier"
    with pytest.raises(WebhookVerificationError):
        Webhook(endpoint.secret).verify(body.replace(b"t0", b"t1"), headers)


def _check_as_documented(headers, body, secret):
    """The lines that docs/alerts.md gives to whoever keeps a receiver, run as they stand there."""
    lines = (ROOT / "docs" / "alerts.md").read_text().split("```python\n")[1].split("```")[0]
    there = {}
    exec(lines, there)
    is_genuine = there["is_genuine"]
    assert len(lines.strip().splitlines()) <= 11
    assert is_genuine(headers, body, secret)
    other = "whsec_" + base64.b64encode(b"another secret").decode()
    later = str(int(headers["webhook-timestamp"]) + 1)
    assert not is_genuine(headers, body + b" ", secret)
    assert not is_genuine(headers, body, other)
    assert not is_genuine({**headers, "webhook-id": "alert_1"}, body, secret)
    assert not is_genuine({**headers, "webhook-timestamp": later}, body, secret)
    assert not is_genuine({**headers, "webhook-timestamp": "1000000000"}, body, secret)


@pytest.mark.django_db
def test_messages_come_once_and_in_order(site, endpoint, receiver, now):
    intents(site, 12, now)
    assert posting.post_owed(now=now) == 12
    assert posting.post_owed(now=now) == 0
    assert texts(receiver.taken) == [f"t{place}" for place in range(12)]
    assert len(set(receiver.ids())) == 12


@pytest.mark.django_db
def test_a_receiver_is_told_only_the_kinds_it_wants_of_its_site_since_it_was_set_up(
    site, other_site, manager, receiver, now
):
    intents(site, 1, now - timedelta(days=1), kind="hold released")
    made(site, manager, receiver.url, now, kinds=["hold placed", "hold released"])
    intents(site, 1, now, kind="hold placed")
    intents(site, 1, now, kind="overdue")
    Intent.objects.create(
        site=other_site, kind="hold placed", key="there", subject="s", text="not ours", created_at=now
    )
    posting.post_owed(now=now)
    assert [json.loads(body)["type"] for _, body in receiver.taken] == ["alert.hold_placed"]


# --- trouble ----------------------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_receiver_that_is_down_for_a_day_loses_nothing_and_gets_nothing_twice(site, endpoint, receiver, now):
    receiver.status = 500
    at, came = now, 0
    while at < now + timedelta(days=1):  # an alert every two hours while it is down
        if at - now >= came * timedelta(hours=2):
            intents(site, 1, at, start=came)
            came += 1
        posting.post_owed(now=at)
        at += timedelta(minutes=10)
    assert (came, receiver.taken) == (12, [])
    assert len(receiver.seen) < 60  # it waits longer and longer, for all messages together
    receiver.status = 200
    posting.post_owed(now=at + rules.LONGEST_POST_PAUSE)
    assert texts(receiver.taken) == [f"t{place}" for place in range(12)]
    assert set(receiver.ids(of="seen")) == set(receiver.ids())
    assert posting.post_owed(now=at + timedelta(days=1)) == 0
    assert len(receiver.taken) == 12


@pytest.mark.django_db
@pytest.mark.parametrize("status", [301, 307, 404, 429, 500, 503])
def test_what_is_not_taken_is_tried_again_with_the_same_id_and_body(site, endpoint, receiver, now, status):
    receiver.answers = [status, status]
    intents(site, 2, now)
    for minutes in (0, 2, 6):
        posting.post_owed(now=now + timedelta(minutes=minutes))
    assert len(receiver.seen) == 4  # the second waits for the first; a redirect is not followed
    first = receiver.ids(of="seen")[0]
    assert receiver.ids(of="seen")[:3] == [first] * 3
    assert len({body for headers, body in receiver.seen if headers["webhook-id"] == first}) == 1
    assert texts(receiver.taken) == ["t0", "t1"]


@pytest.mark.django_db
def test_a_receiver_that_asks_for_a_longer_pause_gets_it(site, endpoint, receiver, now):
    receiver.answers, receiver.retry_after = [429], "7200"
    intents(site, 1, now)
    posting.post_owed(now=now)
    assert posting.post_owed(now=now + timedelta(minutes=119)) == 0
    assert len(receiver.seen) == 1
    assert posting.post_owed(now=now + timedelta(minutes=121)) == 1


@pytest.mark.django_db
def test_one_run_posts_at_a_time_so_that_slow_receivers_hold_one_worker(site, endpoint, receiver, manager, now):
    slow = made(site, manager, nobody_listens(), now)
    intents(site, 1, now)
    assert posting.claim(slow.pk, now)
    assert posting.post_owed(now=now + timedelta(seconds=20)) == 0
    assert posting.post_owed(now=now + rules.POST_CLAIM_HOLDS) == 1
    assert posting.claim(slow.pk, now + timedelta(days=60))  # killed while the clock was ahead
    intents(site, 1, now, start=1)
    assert posting.post_owed(now=now + rules.POST_CLAIM_HOLDS) == 1


@pytest.mark.django_db
def test_where_nobody_listens_it_waits_and_says_why(site, manager, now):
    endpoint = made(site, manager, nobody_listens(), now)
    intents(site, 2, now)
    for _ in range(2):
        assert posting.post_owed(now=now) == 0
    endpoint.refresh_from_db()
    assert endpoint.failures == 1  # not before its time
    assert now + timedelta(minutes=1) <= endpoint.next_try_at < now + timedelta(minutes=1) + SLACK
    assert "refused" in WebhookDelivery.objects.order_by("pk").first().last_error
    assert queries.open_by_channel()["webhook owed"] == 2


@pytest.mark.django_db
def test_a_worker_that_dies_after_the_answer_sends_the_same_message_once_more_under_the_same_id(
    site, endpoint, receiver, now, monkeypatch
):
    intents(site, 2, now)

    class Killed(BaseException):
        pass

    def dies(*_):
        raise Killed

    with monkeypatch.context() as patched:
        patched.setattr(posting, "_taken", dies)
        with pytest.raises(Killed):
            posting.post_owed(now=now)
    assert posting.post_owed(now=now + rules.POST_CLAIM_HOLDS + SLACK) == 2
    first, again, second = receiver.ids()
    assert first == again != second
    assert receiver.taken[0][1] == receiver.taken[1][1]


@pytest.mark.django_db
def test_while_the_claim_of_a_killed_worker_holds_nobody_else_posts(site, endpoint, receiver, now):
    intents(site, 1, now)
    assert posting.claim(endpoint.pk, now)  # and the worker dies
    assert posting.post_owed(now=now + timedelta(seconds=29)) == 0
    assert posting.post_owed(now=now + timedelta(seconds=31)) == 1
    assert len(receiver.seen) == 1


@pytest.fixture
def clock(monkeypatch):
    """The seconds that a run counts, set by the test."""
    shown = SimpleNamespace(at=0.0)
    monkeypatch.setattr(posting, "time", SimpleNamespace(monotonic=lambda: shown.at))
    return shown


@pytest.mark.django_db
def test_a_worker_that_lives_keeps_its_claim_however_slow_the_receiver(
    site, endpoint, receiver, now, clock, monkeypatch
):
    intents(site, 3, now)
    real, beside = posting.send, []

    def slow(row, mine, *, now):
        clock.at += http_post.DEADLINE_S
        beside.append((posting.post_owed(now=(at := now + timedelta(seconds=20))), posting.claim(endpoint.pk, at)))
        return real(row, mine, now=now)

    monkeypatch.setattr(posting, "send", slow)
    assert posting.post_owed(now=now) == 2  # the third comes at this endpoint's next turn
    assert beside == [(0, None)] * 2
    assert texts(receiver.seen) == ["t0", "t1"]


@pytest.mark.django_db
def test_a_worker_that_was_held_up_too_long_to_end_a_post_within_its_claim_posts_nothing(
    site, endpoint, receiver, now, clock, monkeypatch
):
    longest_post = timedelta(seconds=http_post.DEADLINE_S)
    assert posting.LONGEST_HELD_UP + longest_post < rules.POST_CLAIM_HOLDS
    intents(site, 1, now)
    real = posting._renew

    def held_up(*given):
        clock.at += 6
        return real(*given)

    with monkeypatch.context() as patched:
        patched.setattr(posting, "_renew", held_up)
        assert posting.post_owed(now=now) == 0
    assert receiver.seen == []
    assert posting.post_owed(now=now) == 1


@pytest.mark.django_db
def test_a_worker_whose_claim_ran_out_stops_before_the_next_message(site, endpoint, receiver, now, monkeypatch):
    intents(site, 3, now)
    real = posting.send

    def slow(row, mine, *, now):
        answer = real(row, mine, now=now)
        assert posting.claim(endpoint.pk, now + rules.POST_CLAIM_HOLDS + SLACK)  # another takes over meanwhile
        return answer

    monkeypatch.setattr(posting, "send", slow)
    assert posting.post_owed(now=now) == 1
    assert len(receiver.seen) == 1
    endpoint.refresh_from_db()
    assert endpoint.claim  # the other's claim was left alone


@pytest.mark.django_db
def test_a_message_the_receiver_refuses_time_and_again_makes_way_for_the_next(site, endpoint, receiver, now):
    receiver.answers = [422] * rules.MOST_REFUSALS
    intents(site, 2, now)
    at = now
    for _ in range(rules.MOST_REFUSALS + 1):
        posting.post_owed(now=at)
        at += rules.LONGEST_POST_PAUSE + SLACK
    assert texts(receiver.taken) == ["t1"]
    assert WebhookDelivery.objects.get(state="failed").intent.text == "t0"


@pytest.mark.django_db
def test_after_five_days_it_is_given_up_and_a_manager_posts_it_again_under_the_same_ids(
    site, endpoint, receiver, manager, planner, now
):
    receiver.status = 500
    intents(site, 3, now)
    at = now
    while at <= now + rules.POSTED_FOR:
        posting.post_owed(now=at)
        at += timedelta(hours=6)
    at += timedelta(hours=6)
    posting.post_owed(now=at)
    assert queries.open_by_channel() == {
        "email owed": 0,
        "email given up": 0,
        "webhook owed": 0,
        "webhook given up": 3,
    }
    assert [row.alerts for row in queries.posts_given_up(manager)] == [3]
    assert queries.posts_given_up(planner) == []
    with pytest.raises(NotAllowed):
        webhook_actions.post_again(endpoint_id=endpoint.pk, actor=planner, now=at)
    receiver.status = 200
    assert webhook_actions.post_again(endpoint_id=endpoint.pk, actor=manager, now=at) == 3
    assert posting.post_owed(now=at) == 3
    assert texts(receiver.taken) == ["t0", "t1", "t2"]
    assert set(receiver.ids()) <= set(receiver.ids(of="seen"))


@pytest.mark.django_db
def test_a_clock_that_is_set_back_posts_nothing_twice_and_loses_nothing(site, endpoint, receiver, now):
    intents(site, 1, now)
    posting.post_owed(now=now)
    earlier = now - timedelta(hours=1)
    intents(site, 1, now, start=1)
    posting.post_owed(now=earlier)
    posting.post_owed(now=now + timedelta(minutes=1))
    assert texts(receiver.taken) == ["t0", "t1"]


# --- setting up -------------------------------------------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize(
    "url",
    ["ftp://a.example/", "file:///etc/hosts", "//a.example", "https://", "http://me:pw@a.example/", "http://a b/", ""],
)
def test_an_address_that_is_not_plain_http_is_refused(site, manager, now, url):
    with pytest.raises(Unprocessable) as refused:
        made(site, manager, url, now)
    assert refused.value.code == "url_not_allowed"


@pytest.mark.django_db
def test_where_the_settings_say_https_only_http_is_neither_taken_nor_posted_to(
    site, manager, endpoint, receiver, now, settings
):
    settings.WEBHOOKS_HTTPS_ONLY = True
    with pytest.raises(Unprocessable):
        made(site, manager, receiver.url, now)
    made(site, manager, "https://receiver.example/", now)
    WebhookEndpoint.objects.exclude(pk=endpoint.pk).update(is_on=False)
    intents(site, 1, now)
    assert posting.post_owed(now=now) == 0
    assert receiver.seen == []
    assert "https only" in WebhookDelivery.objects.get(endpoint=endpoint).last_error


@pytest.mark.django_db
def test_what_is_owed_waits_while_a_receiver_is_switched_off(site, endpoint, receiver, manager, now):
    receiver.answers = [500]
    intents(site, 1, now)
    posting.post_owed(now=now)
    webhook_actions.change_endpoint(endpoint_id=endpoint.pk, is_on=False, actor=manager, now=now)
    intents(site, 1, now, start=1)
    assert posting.post_owed(now=now + timedelta(hours=1)) == 0
    webhook_actions.change_endpoint(endpoint_id=endpoint.pk, is_on=True, actor=manager, now=now)
    posting.post_owed(now=now)
    assert texts(receiver.taken) == ["t0"]


@pytest.mark.django_db
def test_one_address_is_told_once_a_site(site, other_site, person, endpoint, receiver, manager, now):
    with pytest.raises(Conflict) as refused:
        made(site, manager, receiver.url, now)
    assert refused.value.code == "already_a_receiver"
    webhook_actions.change_endpoint(endpoint_id=endpoint.pk, is_on=False, actor=manager, now=now)
    made(site, manager, receiver.url, now)  # as one does for another secret
    with pytest.raises(Conflict):
        webhook_actions.change_endpoint(endpoint_id=endpoint.pk, is_on=True, actor=manager, now=now)
    webhook_actions.change_endpoint(endpoint_id=endpoint.pk, url="https://other.example/", actor=manager, now=now)
    made(other_site, person("manager", other_site), receiver.url, now)


@pytest.mark.django_db
def test_only_a_manager_of_the_site_sets_up_receivers_and_the_record_holds_no_secret(
    site, other_site, person, planner, endpoint, now
):
    for who, refusal in ((planner, NotAllowed), (person("manager", other_site), NotFound)):
        with pytest.raises(refusal):
            made(site, who, "https://receiver.example/", now)
        with pytest.raises(refusal):
            webhook_actions.change_endpoint(endpoint_id=endpoint.pk, is_on=False, actor=who, now=now)
    entry = RecordEntry.objects.get(deed="webhook.made")
    assert '"host":"127.0.0.1"' in entry.content.replace(" ", "")
    assert endpoint.url not in entry.content, "its path may be its secret"
    assert endpoint.secret not in entry.content


@pytest.mark.django_db
def test_a_name_that_leads_inside_by_the_time_of_the_post_gets_nothing(
    site, endpoint, receiver, manager, now, settings
):
    intents(site, 1, now)
    settings.WEBHOOKS_INSIDE = False
    assert posting.post_owed(now=now) == 0
    assert receiver.seen == []
    assert WebhookDelivery.objects.get().last_error == http_post.INSIDE
    webhook_actions.change_endpoint(endpoint_id=endpoint.pk, is_on=False, actor=manager, now=now)
    with pytest.raises(Unprocessable):
        webhook_actions.check_address(url=receiver.url, site_id=site.pk, actor=manager)


# --- two workers at once ----------------------------------------------------------------------------------------------


def _two_at_once(now):
    """Two workers that both see the endpoint free before either claims it."""
    actions.expand(now=now)
    meet, real, faults = threading.Barrier(2, timeout=10), posting.claim, []

    def claim(endpoint_id, at):
        meet.wait()
        return real(endpoint_id, at)

    def run():
        try:
            posting.post_owed(now=now)
        except Exception as error:
            faults.append(error)
        finally:
            connection.close()

    posting.claim = claim
    try:
        threads = [threading.Thread(target=run) for _ in range(2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
    finally:
        posting.claim = real
    assert faults == []


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_two_workers_at_once_post_each_message_once_and_in_order(site, endpoint, receiver, now):
    receiver.wait_s = 0.02
    intents(site, 15, now)
    _two_at_once(now)
    assert texts(receiver.seen) == [f"t{place}" for place in range(15)]


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_control_without_the_claim_the_same_two_post_messages_twice(site, endpoint, receiver, now, monkeypatch):
    receiver.wait_s = 0.02
    intents(site, 15, now)
    monkeypatch.setattr(posting, "claim", lambda *_: "nobody's")
    monkeypatch.setattr(posting, "_renew", lambda *_: True)
    _two_at_once(now)
    assert len(receiver.seen) > 15
