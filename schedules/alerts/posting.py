"""Signed webhooks: a site's alerts to other programs, each in the order of their intents.

A message is signed by the Standard Webhooks scheme (headers ``webhook-id``, ``webhook-timestamp``,
``webhook-signature``). Its id is the intent's: it is the same at every try, so a receiver drops a repeat by it. A try
counts as taken with any 2xx; everything else, a redirect too, is tried again.

One worker at a time serves an endpoint: it holds the endpoint's claim, which one conditional UPDATE gives, which is
renewed before each post and which outlasts any post; when the worker dies it runs out within half a minute. It posts
the oldest message, writes down that it was taken, and goes on; the next waits until the one before was taken or given
up. A failure makes the whole endpoint wait, longer each time, so a receiver that is down costs one try a pause and
loses nothing. After 2xx a message is never posted again, but for one window: a worker killed between the answer and
writing it down; then it comes once more under the same id.

Two alerts written at the same moment may come in either order.
"""

from __future__ import annotations

import hashlib
import json
import logging
import time
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from standardwebhooks import Webhook

from schedules.alerts import actions, rules
from schedules.alerts.http_post import Answer, Trouble, is_allowed, post
from schedules.alerts.models import Intent, WebhookDelivery, WebhookEndpoint

_log = logging.getLogger(__name__)
MOST_POSTS = 200  # in a row to one endpoint before another gets its turn
LONGEST_TURN = timedelta(seconds=30)  # the same for a slow one
LONGEST_RUN = timedelta(minutes=2)  # far below the time limit of a task
LONGEST_HELD_UP = timedelta(seconds=5)  # from renewing the claim to the post: the post then ends while it holds


def post_owed(*, now: datetime) -> int:
    """Expand new intents and post what is owed to every endpoint whose time has come; returns how many were taken."""
    actions.expand(now=now)
    if _somebody_posts(now):
        return 0
    began = time.monotonic()
    done = 0
    owed = WebhookDelivery.objects.filter(state=WebhookDelivery.State.OWED).values("endpoint")
    free = WebhookEndpoint.objects.filter(_free_at(now), pk__in=owed)
    for pk in list(free.order_by("?").values_list("pk", flat=True)):  # so that none is always the last
        if time.monotonic() - began < LONGEST_RUN.total_seconds():
            done += _serve(pk, now, began)
    return done


def message_id(intent: Intent) -> str:
    """The same for the same intent at every try, and another one after the tables were emptied."""
    what = f"{intent.key}|{intent.created_at.astimezone(UTC).isoformat()}"
    return "alert_" + hashlib.sha256(what.encode()).hexdigest()[:32]


def payload(intent: Intent) -> bytes:
    """The body: only what was written with the intent, so that it is the same at every try."""
    data: dict[str, Any] = {
        "site": intent.site.slug,
        "kind": intent.kind,
        "subject": intent.subject,
        "text": intent.text,
        "link": f"{settings.BASE_URL.rstrip('/')}{intent.link}" if intent.link else None,
        "joint": intent.joint_id,
        "for_day": intent.for_day.isoformat() if intent.for_day else None,
    }
    body = {
        "type": f"alert.{intent.kind.replace(' ', '_')}",
        "timestamp": intent.created_at.astimezone(UTC).isoformat(),
        "data": data,
    }
    return json.dumps(body, sort_keys=True).encode()


def headers(*, secret: str, message: str, body: bytes, at: datetime) -> dict[str, str]:
    at = at.astimezone(UTC)
    return {
        "Content-Type": "application/json",
        "User-Agent": "Soundjoint",
        "webhook-id": message,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": Webhook(secret).sign(message, at, body.decode()),
    }


def _somebody_posts(now: datetime) -> bool:
    """One run at a time: slow receivers hold one of the workers' hands and no more. A claim from a clock that was ahead
    says nothing about that; it holds its own endpoint only."""
    soon = now + rules.POST_CLAIM_HOLDS
    return WebhookEndpoint.objects.filter(claimed_until__gt=now, claimed_until__lte=soon).exists()


# --- the claim --------------------------------------------------------------------------------------------------------


def _free_at(now: datetime) -> Q:
    unclaimed = Q(claimed_until=None) | Q(claimed_until__lte=now)
    return Q(is_on=True, next_try_at__lte=now) & unclaimed


def claim(endpoint_id: int, now: datetime) -> str | None:
    """Become the one who serves the endpoint; None where somebody else does, or its time has not come."""
    mine = uuid.uuid4().hex
    free = WebhookEndpoint.objects.filter(_free_at(now), pk=endpoint_id)
    return mine if free.update(claim=mine, claimed_until=now + rules.POST_CLAIM_HOLDS) else None


def _renew(endpoint_id: int, mine: str, now: datetime) -> bool:
    """Hold on to the claim for one more post; False where it ran out and another took it, or it was switched off."""
    held = WebhookEndpoint.objects.filter(pk=endpoint_id, claim=mine, is_on=True)
    return bool(held.update(claimed_until=now + rules.POST_CLAIM_HOLDS))


def _serve(endpoint_id: int, now: datetime, began: float) -> int:
    """Post in order until nothing is owed or one fails."""

    def moment() -> datetime:
        return now + timedelta(seconds=time.monotonic() - began)

    start = moment()
    mine = claim(endpoint_id, start)
    if mine is None:
        return 0
    done = 0
    try:
        while done < MOST_POSTS and (at := moment()) - start < LONGEST_TURN and _renew(endpoint_id, mine, at):
            owed = WebhookDelivery.objects.filter(endpoint=endpoint_id, state=WebhookDelivery.State.OWED)
            row = owed.select_related("intent__site", "endpoint").order_by("intent_id").first()
            if row is None or moment() - at > LONGEST_HELD_UP or not send(row, mine, now=moment()):
                break
            done += 1
    finally:
        WebhookEndpoint.objects.filter(pk=endpoint_id, claim=mine).update(claim="", claimed_until=None)
    return done


# --- one message ------------------------------------------------------------------------------------------------------


def send(row: WebhookDelivery, mine: str, *, now: datetime) -> bool:
    """Post one message and write down how it went."""
    message, body = message_id(row.intent), payload(row.intent)
    signed = headers(secret=row.endpoint.secret, message=message, body=body, at=now)
    answer, error = Answer(0), ""
    if not is_allowed(row.endpoint.url):
        error = "the address is not allowed here: https only"
    else:
        try:
            answer = post(row.endpoint.url, body, signed)
        except Trouble as trouble:
            error = str(trouble)
    if 200 <= answer.status < 300:
        _taken(row, now)
        return True
    _failed(row, mine, error or f"answered {answer.status}", answer, now=now)
    return False


@transaction.atomic
def _taken(row: WebhookDelivery, now: datetime) -> None:
    same = WebhookDelivery.objects.filter(pk=row.pk)
    same.update(state=WebhookDelivery.State.SENT, sent_at=now, attempts=F("attempts") + 1, last_error="")
    WebhookEndpoint.objects.filter(pk=row.endpoint_id).exclude(failures=0).update(failures=0)


@transaction.atomic
def _failed(row: WebhookDelivery, mine: str, error: str, answer: Answer, *, now: datetime) -> None:
    """The endpoint waits, longer where it asked for that. Given up is what was owed for days, and what was refused too
    often."""
    endpoint = WebhookEndpoint.objects.select_for_update().get(pk=row.endpoint_id)
    if endpoint.claim != mine:
        return  # another serves it by now and knows better
    same = WebhookDelivery.objects.filter(pk=row.pk, state=WebhookDelivery.State.OWED)
    same.update(attempts=F("attempts") + 1, last_error=error[:240])
    endpoint.failures += 1
    endpoint.next_try_at = now + rules.post_again_after(endpoint.failures, rules.asked_to_wait(answer.retry_after, now))
    if answer.status in rules.REFUSALS and row.attempts + 1 >= rules.MOST_REFUSALS:
        same.update(state=WebhookDelivery.State.FAILED)
        endpoint.failures, endpoint.next_try_at = 0, now
    endpoint.save(update_fields=["failures", "next_try_at"])
    _log.warning("webhook not taken: endpoint %s, try %s, %s", endpoint.pk, row.attempts + 1, error)
    old = WebhookDelivery.objects.filter(
        endpoint=endpoint, state=WebhookDelivery.State.OWED, owed_since__lte=now - rules.POSTED_FOR
    )
    old.filter(last_error="").update(last_error=error[:240])
    old.update(state=WebhookDelivery.State.FAILED)
