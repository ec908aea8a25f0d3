"""The steps after overdue: who is told when a look stays overdue and nobody has said that they see to it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from itertools import islice

from assets_app.register.models import Joint, Site
from schedules.alerts import rules
from schedules.alerts.models import Intent
from schedules.alerts.rules import Draft
from schedules.deferral.models import Deferral
from schedules.due.models import DueDate

AT_ONCE = 1000

Look = tuple[int, int, str, date]  # programme, joint, method, due on


def drafts(site: Site, steps: Iterable[tuple[str, int]], today: date) -> Iterator[Draft]:
    """One for each look and step that is reached; for more than ``rules.MANY`` at once one with the count."""
    signed = put_off(site, today)
    for role, days in steps:
        news = list(_untold(site, role, today - timedelta(days=days), signed))
        if len(news) > rules.MANY:
            yield rules.many_escalated(site_id=site.pk, count=len(news), days=days, role=role, today=today)
            continue
        names = dict(joint_names({joint_id for _, joint_id, _, _ in news}))
        for programme_id, joint_id, method, due_on in news:
            what = f"{method} of {names.get(joint_id, 'a joint')}"
            facts = {"programme_id": programme_id, "joint_id": joint_id, "what": what, "due_on": due_on}
            yield rules.escalated(**facts, role=role, today=today)


def _untold(site: Site, role: str, latest: date, signed: set[tuple[int, str]]) -> Iterator[Look]:
    """Due by ``latest``, neither signed for nor acknowledged, and not told to the role of nearly the same day."""
    rows = DueDate.objects.filter(site=site, due_on__lte=latest).order_by("due_on", "programme_id")
    looks = rows.values_list("programme_id", "joint_id", "method", "due_on").iterator(chunk_size=AT_ONCE)
    while batch := list(islice(looks, AT_ONCE)):
        over: dict[int, list[int]] = defaultdict(list)
        stops = Intent.objects.filter(programme__in=[look[0] for look in batch], for_day__isnull=False)
        told = stops.filter(kind=rules.ESCALATED, role=role)
        answered = stops.filter(kind__in=rules.ACKNOWLEDGED_STOPS, acknowledged_at__isnull=False)
        for programme_id, day in [
            *told.values_list("programme", "for_day"),
            *answered.values_list("programme", "for_day"),
        ]:
            over[programme_id].append(day.toordinal())
        for look in batch:
            if look[1:3] not in signed and not rules.is_told_already(look[3].toordinal(), over[look[0]]):
                yield look


def put_off(site: Site, today: date) -> set[tuple[int, str]]:
    """Joint and method of the looks that somebody signed for: they are told when that ends, not as overdue."""
    rows = Deferral.objects.filter(site=site, state=Deferral.State.STANDING, ends_on__gte=today)
    return set(rows.exclude(order__method="").values_list("order__joint_id", "order__method"))


def joint_names(joint_ids: set[int]) -> Iterable[tuple[int, str]]:
    rows = Joint.objects.filter(pk__in=joint_ids).values_list("pk", "tag", "name", "asset__tag", "asset__name")
    for pk, tag, name, asset_tag, asset_name in rows:
        yield pk, f"{tag} {name}".strip() + f", {asset_tag} {asset_name}"
