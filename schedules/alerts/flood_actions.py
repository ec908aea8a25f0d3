"""Floods: more looks overdue, or due soon, than anybody reads one by one are told by their count.

A site is told ``rules.MANY`` looks of a kind singly a day. What goes beyond is written down look by look, each once, in
the transaction that causes it, however many parts a recompute works in; when nothing more has come for a while one
alert tells the count. Two workers at once may each go up to the limit; none loses a look, and none counts one twice. A
look that another worker told by itself while it was counted is taken out before the count is told.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from django.db import connection, transaction
from django.db.models import Exists, Max, Min, OuterRef

from assets_app.people.queries import day_at
from assets_app.register.models import Site
from schedules.alerts import rules
from schedules.alerts.models import CountedLook, Intent, Scan

AT_ONCE = 1000  # rows a batch


def told_singly(site: Site, kind: str, today: date) -> int:
    """How many looks of a kind were told by themselves on the site's day; more than ``rules.MANY`` are not counted."""
    began = datetime.combine(today, time.min, ZoneInfo(site.time_zone))
    told = Intent.objects.filter(site=site, kind=kind, programme__isnull=False, created_at__gte=began)
    return told[: rules.MANY + 1].count()


def count(*, site_id: int, kind: str, looks: Iterable[tuple[int, date]], now: datetime) -> None:
    """Programmes and the days they are due, to be told by their count."""
    if not connection.in_atomic_block:
        raise RuntimeError("a counted look belongs in the transaction of what causes it")
    rows = [
        CountedLook(site_id=site_id, kind=kind, programme_id=programme_id, for_day=due_on, counted_at=now)
        for programme_id, due_on in looks
    ]
    CountedLook.objects.bulk_create(rows, batch_size=AT_ONCE, ignore_conflicts=True)


def tell_counted(site: Site, now: datetime) -> int:
    """Tell the floods of the site that are over; returns how many alerts."""
    untold = CountedLook.objects.filter(site=site, intent=None)
    if not untold.exists():
        return 0
    with transaction.atomic():
        Scan.objects.get_or_create(site=site)
        Scan.objects.select_for_update().get(site=site)  # one at a time: a look is in one alert
        spans = untold.order_by("kind").values("kind").annotate(first=Min("counted_at"), last=Max("counted_at"))
        over = [one["kind"] for one in spans if rules.flood_is_over(first=one["first"], last=one["last"], now=now)]
        return sum(_tell(site, kind, now) for kind in over)


def _tell(site: Site, kind: str, now: datetime) -> bool:
    """One alert; how many looks it took tells its count, so that one that is counted this moment waits for the next.

    Whether there was anything left to tell.
    """
    waiting = CountedLook.objects.filter(site=site, kind=kind, intent=None)
    alone = Intent.objects.filter(programme=OuterRef("programme"), kind=kind, for_day=OuterRef("for_day"))
    waiting.filter(Exists(alone)).delete()
    if not waiting.exists():
        return False
    today = day_at(site, now)
    key = rules.many(kind=kind, site_id=site.pk, count=0, today=today).key
    number = 1 + Intent.objects.filter(site=site, kind=kind, for_day=today, key__startswith=key).count()
    intent = Intent.objects.create(
        site=site,
        kind=kind,
        key=rules.many(kind=kind, site_id=site.pk, count=0, today=today, number=number).key,
        for_day=today,
        created_at=now,
    )
    taken = waiting.update(intent=intent)
    draft = rules.many(kind=kind, site_id=site.pk, count=taken, today=today, number=number)
    intent.subject, intent.text, intent.link = draft.subject, draft.text, draft.link
    intent.save(update_fields=["subject", "text", "link"])
    return True
