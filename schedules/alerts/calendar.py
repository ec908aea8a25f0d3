"""The calendar feed of one person: due dates, planned orders and ends of deferrals, as all-day events (RFC 5545).

An event keeps its UID as long as what it speaks of exists, so a date that moves moves the event: its SEQUENCE grows and
its DTSTAMP is the last change. The feed names no person. A technician sees their own orders, the others see the site.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

from django.conf import settings
from django.db.models import DateTimeField, F, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from icalendar import Calendar, Event, Timezone, TimezoneStandard

from assets_app.people.models import Person, Role
from assets_app.people.queries import day_at
from assets_app.record.models import RecordEntry
from assets_app.register.models import Site
from schedules.alerts.models import CalendarLink
from schedules.alerts.setting_actions import token_hash
from schedules.deferral.models import Deferral
from schedules.due.models import DueDate
from schedules.work.models import WorkOrder

DAYS_AHEAD = 365
MOST_EVENTS = 1000  # of each sort a site, the soonest; an event says so where there are more
OPEN_STATES = (WorkOrder.State.OPEN, WorkOrder.State.WAITING, WorkOrder.State.PART_DONE)
BEGAN = datetime(2020, 1, 1, tzinfo=UTC)  # revisions that have no number of their own are counted in seconds since then
SEES_SITE = frozenset({"planner", "inspector", "engineer", "manager", "auditor"})


def person_of(token: str) -> Person | None:
    """Whose link it is; None for one that is unknown, revoked, or of somebody who left."""
    links = CalendarLink.objects.filter(token_hash=token_hash(token), revoked_at=None, person__is_active=True)
    link = links.select_related("person").first()
    return link.person if link else None


def feed(person: Person, *, now: datetime) -> bytes:
    """The calendar as it stands; the same bytes while nothing in it changed."""
    calendar = Calendar()
    calendar.add("prodid", "-//Soundjoint//Due dates//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", "Soundjoint")
    calendar.add("refresh-interval;value=duration", "PT1H")
    roles: dict[Site, set[str]] = {}
    for role in Role.objects.filter(person=person).select_related("site").order_by("site_id"):
        roles.setdefault(role.site, set()).add(role.name)
    for site, names in roles.items():
        for event in _events(site, person, sees_site=bool(names & SEES_SITE), today=day_at(site, now)):
            calendar.add_component(event)
    if not calendar.subcomponents:
        calendar.add_component(_a_clock())
    return calendar.to_ical()


def _a_clock() -> Timezone:
    """A calendar holds one component at the least (RFC 5545, 3.6): where there is no event, the definition of UTC."""
    standard = TimezoneStandard()
    standard.add("dtstart", datetime(1970, 1, 1))  # noqa: DTZ001 (local by definition)
    standard.add("tzoffsetfrom", timedelta())
    standard.add("tzoffsetto", timedelta())
    clock = Timezone()
    clock.add("tzid", "UTC")
    clock.add_component(standard)
    return clock


def _events(site: Site, person: Person, *, sees_site: bool, today: date) -> Iterator[Event]:
    until = today + timedelta(days=DAYS_AHEAD)
    mine = Q() if sees_site else Q(assignee=person)
    sorts = [_orders(site, mine, until)]
    if sees_site:
        sorts += [_due(site, until), _deferrals(site, until)]
    for events in sorts:
        shown = []
        for event in events:
            if len(shown) == MOST_EVENTS:
                yield _more(site, shown[-1], today)
                break
            shown.append(event)
        yield from shown


def _due(site: Site, until: date) -> Iterator[Event]:
    rows = DueDate.objects.filter(site=site, due_on__lte=until).select_related("joint__asset")
    for row in rows.order_by("due_on", "programme_id")[: MOST_EVENTS + 1]:
        what = f"{row.method} due: {row.joint.tag}, {row.joint.asset}"
        why = f"{row.get_governing_display()} governs" if row.governing else ""
        link = f"/joints/{row.joint_id}/"
        yield _event(site, f"due-{row.programme_id}", what, row.due_on, row.changed_at, link, why)


def _orders(site: Site, mine: Q, until: date) -> Iterator[Event]:
    rows = WorkOrder.objects.filter(mine, site=site, state__in=OPEN_STATES, planned_on__lte=until)
    story = RecordEntry.objects.filter(subject_kind="workorder", subject_id=OuterRef("pk")).order_by("-sequence")
    changed_at = Coalesce(Subquery(story.values("at")[:1]), F("raised_at"), output_field=DateTimeField())
    rows = rows.annotate(changed_at=changed_at).select_related("asset")
    for row in rows.order_by("planned_on", "pk")[: MOST_EVENTS + 1]:
        what = f"Order {row.number}: {row.title}, {row.asset}"
        event = _event(site, f"order-{row.pk}", what, row.planned_on, row.changed_at, f"/orders/{row.pk}/", "Planned.")
        event["sequence"] = row.version
        yield event


def _deferrals(site: Site, until: date) -> Iterator[Event]:
    rows = Deferral.objects.filter(site=site, state=Deferral.State.STANDING, ends_on__lte=until)
    for row in rows.select_related("order__asset").order_by("ends_on", "pk")[: MOST_EVENTS + 1]:
        what = f"Deferral ends: {row.order.title}, {row.order.asset}"
        link = f"/orders/{row.order_id}/"
        yield _event(site, f"deferral-{row.pk}", what, row.ends_on, row.signed_at, link, "Do the work, or sign anew.")


def _more(site: Site, last: Event, today: date) -> Event:
    """Says that the feed ends early: what is not shown is not thereby free."""
    name = f"more-{str(last['uid']).split('-')[0]}"
    on = last["dtstart"].dt
    stamp = datetime(today.year, today.month, today.day, tzinfo=UTC)
    words = f"More than {MOST_EVENTS} entries at {site.name}: later ones are not in this calendar. See the due list."
    return _event(site, name, words, on, stamp, "/due/", "")


def _event(site: Site, name: str, what: str, on: date, changed_at: datetime, link: str, note: str) -> Event:
    event = Event()
    event.add("uid", f"{name}@{site.slug}.soundjoint")
    event.add("dtstamp", changed_at.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", int((changed_at - BEGAN).total_seconds()))
    event.add("summary", "".join(letter if letter.isprintable() else " " for letter in what))  # no control characters
    event.add("dtstart", on)
    event.add("dtend", on + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    event.add("location", site.name)
    if note:
        event.add("description", note)
    event.add("url", f"{settings.BASE_URL.rstrip('/')}{link}")
    return event
