"""A site's webhook endpoints: made, changed, and told again what was given up."""

from __future__ import annotations

import base64
import hashlib
import secrets
from collections.abc import Sequence
from datetime import datetime
from urllib.parse import urlsplit

from django.conf import settings
from django.db import transaction

from assets_app.people.models import Person
from assets_app.people.queries import require
from assets_app.record.actions import append
from assets_app.refusals import Conflict, NotFound, Unprocessable
from schedules.alerts.http_post import NotThere, is_allowed, look_up
from schedules.alerts.models import Intent, WebhookDelivery, WebhookEndpoint

MOST_ENDPOINTS = 10  # a site
SECRET_BYTES = 32
LONGEST_URL = 500


@transaction.atomic
def make_endpoint(*, site_id: int, url: str, kinds: Sequence[str], actor: Person, now: datetime) -> WebhookEndpoint:
    """A receiver of what happens from now on. Its ``secret`` is for the one who made it, once. The doors ask
    ``check_address`` before.

    Refusals: ``not_found``, ``role_lacks_right``, ``url_not_allowed``, ``unknown_kind``, ``too_many_endpoints``,
    ``already_a_receiver``.
    """
    require(actor, "people.change", site_id)
    _check_kinds(kinds)
    _check_shape(url)
    if WebhookEndpoint.objects.filter(site_id=site_id).count() >= MOST_ENDPOINTS:
        raise Conflict("too_many_endpoints", f"A site has {MOST_ENDPOINTS} at the most; change one of them.")
    _check_only_one(site_id, url)
    endpoint = WebhookEndpoint.objects.create(
        site_id=site_id,
        url=url,
        kinds=sorted(set(kinds)),
        secret="whsec_" + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode(),
        made_by=actor,
        made_at=now,
        next_try_at=now,
    )
    _record(endpoint, "webhook.made", actor, now)
    return endpoint


@transaction.atomic
def change_endpoint(
    *,
    endpoint_id: int,
    actor: Person,
    now: datetime,
    url: str | None = None,
    kinds: Sequence[str] | None = None,
    is_on: bool | None = None,
) -> WebhookEndpoint:
    """Change where it goes, what it is told, or switch it; what is owed is then tried at once.

    While it is off nothing new is owed to it; what was owed before waits until it is on again. One whose address would
    not be taken any more can still be switched off.
    """
    endpoint = _locked(endpoint_id, actor)
    if kinds is not None:
        _check_kinds(kinds)
        endpoint.kinds = sorted(set(kinds))
    if url is not None:
        _check_shape(url)
        endpoint.url = url
    endpoint.is_on = endpoint.is_on if is_on is None else is_on
    if endpoint.is_on:
        _check_only_one(endpoint.site_id, endpoint.url, but=endpoint.pk)
    endpoint.failures, endpoint.next_try_at = 0, now
    endpoint.save(update_fields=["url", "kinds", "is_on", "failures", "next_try_at"])
    _record(endpoint, "webhook.changed", actor, now)
    return endpoint


@transaction.atomic
def post_again(*, endpoint_id: int, actor: Person, now: datetime) -> int:
    """Owe the endpoint once more what was given up, under the same ids; returns how many messages."""
    endpoint = _locked(endpoint_id, actor)
    given_up = WebhookDelivery.objects.filter(endpoint=endpoint, state=WebhookDelivery.State.FAILED)
    count = given_up.update(state=WebhookDelivery.State.OWED, attempts=0, owed_since=now)
    endpoint.failures, endpoint.next_try_at = 0, now
    endpoint.save(update_fields=["failures", "next_try_at"])
    return count


def _check_kinds(kinds: Sequence[str]) -> None:
    for kind in kinds:
        if kind not in Intent.Kind.values:
            raise Unprocessable("unknown_kind", f"There is no alert {kind!r}.", field="kinds")


def _check_only_one(site_id: int, url: str, *, but: int | None = None) -> None:
    """Two that are on with one address would bring each message there twice under one id, signed by two secrets."""
    if WebhookEndpoint.objects.filter(site_id=site_id, url=url, is_on=True).exclude(pk=but).exists():
        raise Conflict(
            "already_a_receiver", "This address is told already: change or switch off that one.", field="url"
        )


def check_address(*, url: str, site_id: int, actor: Person) -> None:
    """Whether it could be posted to now. A name is looked up, for seconds where nobody answers, so this is asked before
    the transaction that keeps the address. It is a help to who types it: what is posted to is looked at at each post.

    Refusals: ``not_found``, ``role_lacks_right``, ``url_not_allowed``, ``url_inside_network``, ``host_not_known``,
    ``host_not_looked_up``.
    """
    require(actor, "people.change", site_id)
    _check_shape(url)
    try:
        look_up(url)
    except NotThere as trouble:
        raise Unprocessable(trouble.code, str(trouble), field="url") from trouble


def _check_shape(url: str) -> None:
    if not is_allowed(url) or len(url) > LONGEST_URL:
        secure = settings.WEBHOOKS_HTTPS_ONLY
        wanted = "https://" if secure else "https:// or http://"
        raise Unprocessable("url_not_allowed", f"Give an address that begins with {wanted}", field="url")


def _locked(endpoint_id: int, actor: Person) -> WebhookEndpoint:
    known = WebhookEndpoint.objects.filter(pk=endpoint_id).first()
    if known is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    require(actor, "people.change", known.site_id)
    return WebhookEndpoint.objects.select_for_update().get(pk=endpoint_id)


def _record(endpoint: WebhookEndpoint, deed: str, actor: Person, now: datetime) -> None:
    """The entry names the receiver's host and a hash of its address: the rest of an address is often its only secret,
    and more people read the record than may see it."""
    digest = hashlib.sha256(endpoint.url.encode()).hexdigest()
    address = {"host": urlsplit(endpoint.url).hostname, "address_sha256": digest}
    content = {**address, "kinds": endpoint.kinds, "is_on": endpoint.is_on}
    append(site_id=endpoint.site_id, deed=deed, actor=actor, subject=endpoint, content=content, now=now)
