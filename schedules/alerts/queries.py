"""Reads of the alerts: mine, and what could not be delivered."""

from __future__ import annotations

from django.db.models import QuerySet

from assets_app.people.models import Person, Role
from assets_app.people.rules import MAY
from schedules.alerts.models import Delivery


def mine(person: Person) -> QuerySet[Delivery]:
    """What was told to this person in the app, newest first."""
    rows = Delivery.objects.filter(person_id=person.pk, channel=Delivery.Channel.IN_APP)
    return rows.select_related("intent__site").order_by("-pk")


def unseen_count(person: Person) -> int:
    return Delivery.objects.filter(person_id=person.pk, channel=Delivery.Channel.IN_APP, seen_at=None).count()


def given_up(person: Person) -> QuerySet[Delivery]:
    """Emails that could not be delivered, of the sites whose people this person keeps."""
    sites = Role.objects.filter(person_id=person.pk, name__in=MAY["people.change"]).values("site_id")
    rows = Delivery.objects.filter(intent__site__in=sites, state=Delivery.State.FAILED)
    return rows.select_related("intent__site", "person").order_by("-pk")
