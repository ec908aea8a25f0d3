"""What must hold after ``make faults`` has done its worst: every figure as computed afresh, every alert told once."""

from __future__ import annotations

import re
from collections import Counter as Tally
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, cast

import psycopg
from django.db import connection
from django.db.models import Max

from assets_app.models import Person, Site
from running.mail_sink import Received
from running.webhook_sink import Posted
from schedules.alerts import actions, posting, rules, webhook_actions
from schedules.alerts.hearing import Book, Hears
from schedules.alerts.models import CountedLook, Delivery, Intent, Scan, WebhookDelivery, WebhookEndpoint
from schedules.due import engine, store
from schedules.due.models import DueDate, NotComputed, Rating, StaleMark, Sweep, SweepPart
from schedules.due.store import Scope
from schedules.duty.models import Counter, CounterForecast
from schedules.models import Hold

EVERYTHING = Scope(asset_range=(0, 2**40))
DUE_COLUMNS = ["programme_id", "joint_id", "asset_id", "site_id", "method", *store.DAY_COLUMNS, *store.CODE_COLUMNS]
DUE_COLUMNS += store.FLAG_COLUMNS
RATING_COLUMNS = ["programme_id", "damage_per_count", "damage_share", "detectable_mm", "critical_mm", "window_count"]
RATING_COLUMNS += ["looks", "unprotected", "incomplete"]
OPEN = [Delivery.State.OWED, Delivery.State.CLAIMED]
SHOWN = 5  # examples of what is wrong in the report


def owed(now: datetime) -> dict[str, int]:
    """What the service still has to do; all zero is quiet. A site owes the sweep and the scan of its own day."""
    sites = {site.pk: engine.site_day(site, now) for site in Site.objects.all()}
    swept = set(Sweep.objects.filter(nightly=True, state=Sweep.State.DONE).values_list("site_id", "for_day"))
    scanned = dict(Scan.objects.values_list("site_id", "through"))
    return {
        "stale_marks": StaleMark.objects.count(),
        "assets_not_computed": NotComputed.objects.count(),
        "sweep_parts": SweepPart.objects.filter(done_at=None).count(),
        "sweeps": sum((pk, day) not in swept for pk, day in sites.items()),
        "scans": sum(scanned.get(pk) != day for pk, day in sites.items()),
        "counted_looks": CountedLook.objects.filter(intent=None).count(),
        "intents": Intent.objects.filter(expanded_at=None).count(),
        "deliveries": Delivery.objects.filter(state__in=OPEN).count(),
        "webhook_posts": WebhookDelivery.objects.filter(state=WebhookDelivery.State.OWED).count(),
    }


def owe_again(now: datetime) -> int:
    """Owe the webhooks once more what was given up; returns how many messages."""
    given_up = WebhookEndpoint.objects.filter(deliveries__state=WebhookDelivery.State.FAILED).distinct()
    return sum(webhook_actions.post_again(endpoint_id=one.pk, actor=one.made_by, now=now) for one in given_up)


# --- due dates --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Tables:
    """What the engine wrote, one tuple a programme."""

    due: dict[int, tuple[Any, ...]]
    ratings: dict[int, tuple[Any, ...]]
    forecasts: dict[int, tuple[Any, ...]]


def tables() -> Tables:
    return Tables(
        due={row[0]: row for row in DueDate.objects.values_list(*DUE_COLUMNS)},
        ratings={row[0]: row for row in Rating.objects.values_list(*RATING_COLUMNS)},
        forecasts={row[0]: row for row in CounterForecast.objects.values_list("counter_id", "as_of", "total")},
    )


def computed_afresh(url: str, *, now: datetime) -> Tables:
    """The same from a copy of the database, from which all that the engine had written was taken out before.

    Nobody else may be connected. The connection is back on the database itself afterwards.
    """
    name = str(connection.settings_dict["NAME"])
    connection.close()
    with psycopg.connect(url.rpartition("/")[0] + "/postgres", autocommit=True) as server:
        server.execute(f'CREATE DATABASE afresh TEMPLATE "{name}"')
    connection.settings_dict["NAME"] = "afresh"
    try:
        for model in (DueDate, Rating, StaleMark):
            model.objects.all().delete()
        engine.recompute(EVERYTHING, now=now)
        return tables()
    finally:
        connection.close()
        connection.settings_dict["NAME"] = name


def differing(kept: dict[int, tuple[Any, ...]], fresh: dict[int, tuple[Any, ...]]) -> list[int]:
    """Keys of rows that are not the same in both, or are missing in one."""
    return sorted(pk for pk in kept.keys() | fresh.keys() if kept.get(pk) != fresh.get(pk))


# --- alerts -----------------------------------------------------------------------------------------------------------


def alerts_lost(now: datetime) -> list[str]:
    """What the state says must have been told and no intent tells."""
    keys = set(Intent.objects.values_list("key", flat=True))
    lost = [f"hold placed:{pk}" for pk in Hold.objects.values_list("pk", flat=True)]
    lost = [key for key in lost if key not in keys]
    for site in Site.objects.all():
        today = engine.site_day(site, now)
        lost += [*_dates_untold(site, today), *(key for key in _silent_counters(site, today) if key not in keys)]
    return lost


def _dates_untold(site: Site, today: date) -> list[str]:
    """Every date that is over or near must have been told, by itself or in a count, of that kind, for a day that is
    not much apart."""
    told: dict[tuple[int, str], list[int]] = defaultdict(list)
    singly = Intent.objects.filter(site=site, for_day__isnull=False)
    for rows in (singly, CountedLook.objects.filter(site=site, intent__isnull=False)):
        for programme_id, kind, day in rows.values_list("programme_id", "kind", "for_day"):
            told[(programme_id, kind)].append(cast(date, day).toordinal())
    soon = today + timedelta(days=actions._soon_days(site.pk))
    lost = []
    for programme_id, due_on in DueDate.objects.filter(site=site, due_on__lte=soon).values_list(
        "programme_id", "due_on"
    ):
        assert due_on is not None
        kind = rules.OVERDUE if due_on < today else rules.DUE_SOON
        if not rules.is_told_already(due_on.toordinal(), told[(programme_id, kind)]):
            lost.append(f"{kind}:{programme_id}:{due_on}")
    return lost


def _silent_counters(site: Site, today: date) -> list[str]:
    rows = Counter.objects.filter(asset__site=site, is_primary=True).annotate(last_on=Max("readings__read_on"))
    return [
        f"counter silent:{pk}:{last_on.isoformat()}"
        for pk, last_on, every in rows.values_list("pk", "last_on", "expected_every_days")
        if (today - last_on).days > every
    ]


def not_given_to_people() -> int:
    """Intents whose hearers, by their site's own rules, did not all get one delivery each a channel."""
    site_ids = set(Site.objects.values_list("pk", flat=True))
    hearers, book = actions._hearers(site_ids), Book(site_ids)
    given: dict[int, set[tuple[int, str]]] = defaultdict(set)
    for intent_id, person_id, channel in Delivery.objects.values_list("intent_id", "person_id", "channel"):
        given[intent_id].add((person_id, channel))
    reached = dict(Person.objects.filter(is_active=True).values_list("pk", "email"))
    missing = 0
    for pk, site_id, kind, only, named in Intent.objects.values_list("pk", "site_id", "kind", "role", "person_id"):
        told = [
            (person, book.hears(site_id, kind, role))
            for person, where, role in hearers
            if where == site_id and only in ("", role)
        ]
        told += [(named, Hears(in_app=True, email=True))] if named in reached else []
        wanted = {(person, "email") for person, hears in told if hears.email and reached[person]}
        wanted |= {
            (person, "in-app") for person, hears in told if hears.in_app or (hears.email and not reached[person])
        }
        missing += not wanted <= given[pk]
    return missing


def mail(received: list[Received]) -> dict[str, Any]:
    """Emails taken, against the deliveries written down as sent.

    ``lost`` and ``doubled`` count alerts over messages of different Message-IDs; the same message taken twice under one
    Message-ID (its sender was killed before it could write down that it was sent) is counted apart.
    """
    distinct = {one.message_id: one for one in received}
    lines: Tally[tuple[str, str]] = Tally()
    for one in distinct.values():
        paragraphs = one.text.replace("\r\n", "\n").strip().split("\n\n")[:-1]  # the last is the caution
        lines.update((one.to, _squeezed(paragraph)) for paragraph in paragraphs)
    sent: Tally[tuple[str, str]] = Tally()
    rows = Delivery.objects.filter(channel=Delivery.Channel.EMAIL, state=Delivery.State.SENT)
    for to, site, text, link in rows.values_list("person__email", "intent__site__name", "intent__text", "intent__link"):
        sent[(to, _squeezed(f"{site}: {text} {_address(link)}"))] += 1
    return {
        "messages": len(distinct),
        "alerts": sum(lines.values()),
        "lost": sum((sent - lines).values()),
        "doubled": sum((lines - sent).values()),
        "same_message_taken_again": len(received) - len(distinct),
        "given_up": Delivery.objects.filter(state=Delivery.State.FAILED).count(),
    }


def webhooks(received: list[Posted]) -> dict[str, Any]:
    """Posts taken, against the alerts that the endpoints must be told and what was written down as taken.

    ``doubled`` is an alert under two ids, or an id with two alerts; the same message under its one id (its sender was
    killed before it could write down that it was taken) is counted apart.
    """
    endpoints = {f"/{one.url.rpartition('/')[2]}": one for one in WebhookEndpoint.objects.all()}
    must: dict[tuple[str, str], bytes] = {}
    not_owed = intents = 0
    for path, endpoint in endpoints.items():
        told = set(endpoint.deliveries.filter(state=WebhookDelivery.State.SENT).values_list("intent", flat=True))
        for intent in Intent.objects.filter(site=endpoint.site_id).select_related("site"):
            must[(path, posting.message_id(intent))] = posting.payload(intent)
            not_owed += intent.pk not in told
            intents += 1
    taken: dict[tuple[str, str], set[bytes]] = defaultdict(set)
    for one in received:
        taken[(one.path, one.message_id)].add(one.body)
    return {
        "messages": len(taken),
        "alerts": intents,
        "not_owed": not_owed,
        "lost": sum(body not in taken[key] for key, body in must.items()),
        "doubled": intents - len(must) + sum(bodies != {must.get(key)} for key, bodies in taken.items() if bodies),
        "wrongly_signed": sum(not one.is_signed_with(endpoints[one.path].secret) for one in received),
        "same_message_taken_again": len(received) - sum(bool(bodies) for bodies in taken.values()),
        "given_up": WebhookDelivery.objects.filter(state=WebhookDelivery.State.FAILED).count(),
    }


def _address(link: str) -> str:
    from django.conf import settings

    return f"{settings.BASE_URL.rstrip('/')}{link}" if link else ""


def _squeezed(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip()
