"""One POST to a receiver: where it may go, how long it may take, and what is kept of the answer."""

import socket
import threading
import time

import pytest
from django.db import connections
from rest_framework.test import APIClient

from assets_app.refusals import Unprocessable
from schedules.alerts import http_post, webhook_actions
from schedules.models import WebhookEndpoint
from tests.schedules.alerts.receiver import listening


@pytest.fixture
def receiver():
    with listening() as one:
        yield one


# --- what is answered -------------------------------------------------------------------------------------------------


def test_once_the_status_is_there_a_slow_rest_of_the_answer_changes_nothing(receiver):
    receiver.drips = b"HTTP/1.1 200 OK\r\nX-Slow: " + b"x" * 100
    assert http_post.post(receiver.url, b"{}", {}, deadline_s=0.8).status == 200


def test_what_a_receiver_answers_instead_of_a_status_can_be_kept_as_text(receiver):
    receiver.drips = b"\0\x1b[m\r\n"
    with pytest.raises(http_post.Trouble) as trouble:
        http_post.post(receiver.url, b"{}", {})
    assert str(trouble.value).isprintable(), "PostgreSQL keeps no NUL: the run would end here each time"


@pytest.mark.parametrize("how", ["silent", "dripping"])
def test_a_receiver_that_is_too_slow_is_left(receiver, how, monkeypatch):
    monkeypatch.setattr(http_post, "TIMEOUT_S", 0.3)
    receiver.wait_s = 1.5 if how == "silent" else 0
    receiver.drips = b"HTTP/1.1 " + b" " * 200 if how == "dripping" else b""
    began = time.monotonic()
    with pytest.raises(http_post.Trouble, match="timed out" if how == "silent" else "no answer within"):
        http_post.post(receiver.url, b"{}", {}, deadline_s=0.5)
    assert time.monotonic() - began < 5


def test_a_receiver_that_never_ends_its_handshake_is_left_at_the_deadline():
    with socket.create_server(("127.0.0.1", 0)) as silent:  # takes the connection and says nothing
        began = time.monotonic()
        with pytest.raises(http_post.Trouble, match=r"no answer within 0\.3 s"):
            http_post.post(f"https://127.0.0.1:{silent.getsockname()[1]}/", b"{}", {}, deadline_s=0.3)
    assert time.monotonic() - began < http_post.TIMEOUT_S / 2


# --- where nothing is posted ------------------------------------------------------------------------------------------

OUTSIDE = "1.2.3.4"  # only ever looked at here
INSIDE = """127.0.0.1 2130706433 localhost 0.0.0.0 10.0.0.7 172.16.0.1 192.168.1.2 169.254.169.254 100.64.0.1 224.0.0.1
255.255.255.255 [::1] [::] [fe80::1] [fd00::1] [fec0::1] [ff02::1] [::ffff:127.0.0.1] [64:ff9b::7f00:1]
[2002:7f00:1::1]""".split()


@pytest.fixture
def outside_only(settings):
    settings.WEBHOOKS_INSIDE = False


def names(monkeypatch, *answers):
    """Each look-up of a name, and every one after the last of ``answers``, gives these addresses."""
    left = list(answers)

    def look_up(host, port, **_):
        found = left.pop(0) if len(left) > 1 else left[0]
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, port)) for address in found]

    monkeypatch.setattr(http_post.socket, "getaddrinfo", look_up)
    return left


@pytest.mark.django_db
@pytest.mark.usefixtures("outside_only")
def test_an_address_inside_a_network_is_refused_when_it_is_put_in(site, manager, now, monkeypatch):
    given = {"site_id": site.pk, "actor": manager}
    for host in INSIDE:
        with pytest.raises(Unprocessable) as refused:
            webhook_actions.check_address(url=f"https://{host}/", **given)
        assert refused.value.code == "url_inside_network", host
    assert "whoever runs the service can allow it (WEBHOOKS_INSIDE)" in refused.value.message
    names(monkeypatch, [OUTSIDE, "10.0.0.7"])
    with pytest.raises(Unprocessable, match="inside a network"):
        webhook_actions.check_address(url="https://receiver.example/", **given)
    names(monkeypatch, [OUTSIDE])
    webhook_actions.check_address(url="https://receiver.example/", **given)


@pytest.mark.django_db
@pytest.mark.usefixtures("outside_only")
def test_a_name_is_looked_up_before_the_transaction_and_not_for_long(site, manager, monkeypatch):
    held, answer = [], threading.Event()

    def look_up(host, port, **_):
        held.append(len(in_test.savepoint_ids))
        answer.wait(5 if host == "silent.example" else 0)
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (OUTSIDE, port))]

    in_test = connections["default"]  # this thread's; the look-up runs in another
    monkeypatch.setattr(http_post.socket, "getaddrinfo", look_up)
    monkeypatch.setattr(http_post, "LOOK_UP_S", 0.1)
    api = APIClient()
    api.force_authenticate(manager)
    posted = {"site": site.pk, "url": "https://receiver.example/"}
    assert api.post("/api/v1/webhooks/", posted, format="json", headers={"Idempotency-Key": "k"}).status_code == 201
    moved = {"url": "https://other.example/"}
    made_there = WebhookEndpoint.objects.get()
    assert api.patch(f"/api/v1/webhooks/{made_there.pk}/", moved, format="json").status_code == 200
    assert held == [0, 0], "no transaction of ours was open"
    posted["url"] = "https://silent.example/"
    refused = api.post("/api/v1/webhooks/", posted, format="json")
    answer.set()
    assert (refused.status_code, refused.json()["code"]) == (422, "host_not_looked_up")


@pytest.mark.usefixtures("outside_only")
def test_what_is_connected_to_is_the_address_that_was_checked(receiver, monkeypatch):
    port = int(receiver.url.split(":")[2].split("/")[0])
    names(monkeypatch, [OUTSIDE], ["127.0.0.1"])  # it changes between check and connect
    reached = []

    def connect(address, *_):
        reached.append(address)
        raise ConnectionRefusedError("nobody there")

    monkeypatch.setattr(http_post.socket, "create_connection", connect)
    with pytest.raises(http_post.Trouble, match="nobody there"):
        http_post.post(f"http://receiver.example:{port}/", b"{}", {})
    assert reached == [(OUTSIDE, port)]
