"""Reads of the alerts: mine, what could not be delivered, a site's rules and receivers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Max, Q, QuerySet

from assets_app.people.models import Person, Role, RoleName
from assets_app.people.queries import sites_of
from assets_app.people.rules import MAY
from assets_app.register.models import Site
from schedules.alerts import rules
from schedules.alerts.hearing import Book, Hears
from schedules.alerts.models import (
    AlertRule,
    AlertSettings,
    CalendarLink,
    Delivery,
    Intent,
    WebhookDelivery,
    WebhookEndpoint,
)

MOST_GIVEN_UP = 100  # rows of the page


def mine(person: Person) -> QuerySet[Delivery]:
    """What was told to this person in the app, newest first."""
    return in_sight(person).select_related("intent__site", "intent__acknowledged_by").order_by("-pk")


def in_sight(person: Person) -> QuerySet[Delivery]:
    """Only of the sites where the person has a role today: with the role goes what was told before."""
    mine = Delivery.objects.filter(person_id=person.pk, channel=Delivery.Channel.IN_APP)
    return mine.filter(intent__site__in=sites_of(person))


def of_lifted_holds(rows: Iterable[Delivery]) -> set[int]:
    """Which of these rows tell of a hold that was lifted since; keys of the rows."""
    told = {row.pk: f"{rules.HOLD_RELEASED}:{row.intent.key.rpartition(':')[2]}" for row in rows if _is_hold(row)}
    lifted = set(Intent.objects.filter(key__in=told.values()).values_list("key", flat=True)) if told else set()
    return {pk for pk, key in told.items() if key in lifted}


def _is_hold(row: Delivery) -> bool:
    return row.intent.kind == rules.HOLD_PLACED


def unseen_count(person: Person) -> int:
    return in_sight(person).filter(seen_at=None).count()


@dataclass(frozen=True, kw_only=True)
class GivenUp:
    """Alerts that did not reach somebody for one reason: the newest, how many they are, how often it was tried."""

    newest: Delivery | WebhookDelivery
    alerts: int
    tries: int


def given_up(person: Person) -> list[GivenUp]:
    """Emails that could not be delivered, of the sites whose people this person keeps: by site, person and reason."""
    rows = Delivery.objects.filter(intent__site__in=_kept_sites(person), state=Delivery.State.FAILED)
    return _gathered(rows, ("intent__site", "person", "last_error"), ("intent__site", "person"))


def _gathered(rows: QuerySet[Any], by: tuple[str, ...], related: tuple[str, ...]) -> list[GivenUp]:
    groups = rows.order_by().values(*by).annotate(alerts=Count("pk"), tries=Max("attempts"), newest=Max("pk"))
    found = list(groups.order_by("-newest")[:MOST_GIVEN_UP])
    newest = rows.model._default_manager.select_related(*related).in_bulk([one["newest"] for one in found])
    return [GivenUp(newest=newest[one["newest"]], alerts=one["alerts"], tries=one["tries"]) for one in found]


def _kept_sites(person: Person) -> QuerySet[Role]:
    return Role.objects.filter(person_id=person.pk, name__in=MAY["people.change"]).values("site_id")


def endpoints_of(person: Person) -> QuerySet[WebhookEndpoint]:
    """The webhook endpoints of the sites whose people this person keeps, with how many messages are ``owed`` and
    ``given_up``."""
    rows = WebhookEndpoint.objects.filter(site__in=_kept_sites(person)).select_related("site", "made_by")
    states = WebhookDelivery.State
    return rows.annotate(
        owed=Count("deliveries", filter=Q(deliveries__state=states.OWED)),
        given_up=Count("deliveries", filter=Q(deliveries__state=states.FAILED)),
    )


def posts_given_up(person: Person) -> list[GivenUp]:
    """Webhook messages that could not be delivered, of the same sites: by receiver and reason."""
    rows = WebhookDelivery.objects.filter(endpoint__site__in=_kept_sites(person), state=WebhookDelivery.State.FAILED)
    return _gathered(rows, ("endpoint", "last_error"), ("endpoint__site", "intent"))


def any_given_up(person: Person) -> bool:
    """Whether anything could not be delivered, of the same sites."""
    sites = _kept_sites(person)
    emails = Delivery.objects.filter(intent__site__in=sites, state=Delivery.State.FAILED)
    posts = WebhookDelivery.objects.filter(endpoint__site__in=sites, state=WebhookDelivery.State.FAILED)
    return emails.exists() or posts.exists()


@dataclass(frozen=True)
class KindRow:
    """One kind of alert at a site: who hears of it, and its lead time where it has one."""

    kind: str
    label: str
    lead_days: int | None
    hears: list[tuple[str, Hears]]


def rules_of(site: Site) -> list[KindRow]:
    """Every kind with the roles that hear of it, as it stands now."""
    book = Book([site.pk])
    return [
        KindRow(
            kind=kind.value,
            label=kind.label,
            lead_days=book.lead_days(site.pk, kind.value) if kind.value in rules.LEADS else None,
            hears=sorted(
                ((role, book.hears(site.pk, kind.value, role)) for role in RoleName.values),
                key=lambda one: one[1].days or 0,
            ),
        )
        for kind in Intent.Kind
    ]


def rule_history(person: Person) -> QuerySet[AlertRule]:
    """Every rule that was ever set at the person's sites, the newest first."""
    return AlertRule.objects.filter(site__in=sites_of(person)).select_related("set_by")


def settings_of(person: Person) -> AlertSettings | None:
    return AlertSettings.objects.filter(person_id=person.pk).first()


def links_of(person: Person) -> QuerySet[CalendarLink]:
    """The person's calendar links that still lead somewhere."""
    return CalendarLink.objects.filter(person_id=person.pk, revoked_at=None)


def open_by_channel() -> dict[str, int]:
    """How many messages are owed and given up, by channel: ``email owed``, ``webhook given up``. Sent ones only grow
    and are not counted."""
    states = {Delivery.State.OWED: "owed", Delivery.State.CLAIMED: "owed", Delivery.State.FAILED: "given up"}
    found = {f"{channel} {words}": 0 for channel in ("email", "webhook") for words in ("owed", "given up")}
    emails, posts = Delivery.objects.filter(channel=Delivery.Channel.EMAIL), WebhookDelivery.objects.all()
    asked = [  # owed and given up apart: each has its own index, and none holds both
        ("email", emails.filter(state__in=[Delivery.State.OWED, Delivery.State.CLAIMED])),
        ("email", emails.filter(state=Delivery.State.FAILED)),
        ("webhook", posts.filter(state=WebhookDelivery.State.OWED)),
        ("webhook", posts.filter(state=WebhookDelivery.State.FAILED)),
    ]
    for channel, rows in asked:
        for state, count in rows.order_by().values_list("state").annotate(Count("pk")):
            found[f"{channel} {states[state]}"] += count
    return found
