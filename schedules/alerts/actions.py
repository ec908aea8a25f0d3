"""Intents are written, each once by its key, and become deliveries: one a person and channel."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from django.db import connection, transaction
from django.db.models import Max, Q
from numpy.typing import NDArray

from assets_app.people.models import Person, Qualification, Role
from assets_app.people.qualification_rules import continuity_ends, is_carried_on
from assets_app.people.queries import day_at, require, roles_at
from assets_app.record.actions import append
from assets_app.refusals import Conflict, NotFound
from assets_app.register.models import Asset, Site
from schedules.alerts import escalation, flood_actions, queries, rules
from schedules.alerts.hearing import Book
from schedules.alerts.models import CountedLook, Delivery, Intent, Scan, WebhookDelivery, WebhookEndpoint
from schedules.alerts.personal import Clocks
from schedules.alerts.rules import Draft
from schedules.deferral.models import Deferral
from schedules.due.models import DueDate, NotComputed
from schedules.due.store import Columns, lie_close
from schedules.duty import queries as duty_queries
from schedules.duty.models import Counter
from schedules.duty.rules import unread_too_long
from schedules.work.models import Hold

AT_ONCE = 1000  # rows a batch
LOOKS_AT_ONCE = 5000  # asked whether they were told before
LOOK = ("programme_id", "joint_id", "method", "due_on")  # days as ordinals
TOLD = ("programme_id", "kind", "for_day")

Look = tuple[int, int, str, int]
WORKED_OFF_WITHIN = timedelta(minutes=5)  # an intent, while beat and a worker live


# --- written inside the deed that causes them -------------------------------------------------------------------------


def tell_of_hold(*, hold: Hold, now: datetime, released: bool) -> None:
    """A hold was placed or lifted."""
    what = f"{hold.asset.tag} {hold.asset.name}" + (f", {hold.joint.tag}" if hold.joint else "")
    by = hold.released_by if released else hold.placed_by
    said = by.display_name if by else "the rule table"
    facts = {"hold_id": hold.pk, "what": what, "by": said, "joint_id": hold.joint_id}
    if released:
        draft = rules.hold_released(reason=hold.release_reason, **facts)
    else:
        draft = rules.hold_placed(reason=hold.reason, **facts)
    _write(hold.site_id, [draft], now)


def tell_of_dates(*, site: Site, columns: dict[str, Any], today: date, now: datetime) -> None:
    """Of the due rows just written, tell what is overdue or due soon."""
    days = columns["due_on"]
    horizon = today.toordinal() + _soon_days(site.pk)
    rows = np.flatnonzero(days <= horizon)
    if not len(rows):
        return
    _tell_of_due(site, {name: columns[name][rows] for name in LOOK}, today, now)


def tell_of_left_out(*, site_id: int, now: datetime) -> None:
    """The recompute of an asset of the site broke off."""
    site = Site.objects.get(pk=site_id)
    _write(site_id, _left_out(site, day_at(site, now)), now)


# --- found by looking at what the passing of days brings --------------------------------------------------------------


def raise_owed(*, now: datetime) -> int:
    """Once a day of each site's clock, look for what the new day brings, and tell floods that are over; returns how
    many intents are new."""
    return sum(_raise_for_site(site, now) + flood_actions.tell_counted(site, now) for site in Site.objects.all())


@transaction.atomic
def _raise_for_site(site: Site, now: datetime) -> int:
    today = day_at(site, now)
    Scan.objects.get_or_create(site=site)
    scan = Scan.objects.select_for_update().get(site=site)
    through = scan.through
    if through is not None and through > today + timedelta(days=1):
        through = None  # written while the clock was wrong by days: until then nothing more would be looked for
    if through is not None and through >= today:
        return 0
    before = Intent.objects.filter(site=site).aggregate(last=Max("pk"))["last"] or 0
    _look_at_dates(site, through, today, now)
    book = Book([site.pk])
    drafts = [*_deferrals(site, today, book), *_counters(site, today), *_qualifications(site, today, book)]
    drafts += escalation.drafts(site, book.steps(site.pk), today)
    unrated = rules.unrated(site_id=site.pk, count=DueDate.objects.filter(site=site, unrated=True).count(), today=today)
    _write(site.pk, [*drafts, *([unrated] if unrated else []), *_left_out(site, today)], now)
    scan.through = today
    scan.save(update_fields=["through"])
    return Intent.objects.filter(site=site, pk__gt=before).count()


def _look_at_dates(site: Site, through: date | None, today: date, now: datetime) -> None:
    """Rows that became overdue since the last scan, and all that are due soon. A changed row tells of itself, by the
    day it was computed with: one computed before midnight and committed after the last scan is found a day later."""
    soon = today + timedelta(days=_soon_days(site.pk))
    rows = DueDate.objects.filter(site=site, due_on__lte=soon)
    if through is not None:
        rows = rows.filter(due_on__gte=through - timedelta(days=1))
    found = rows.values_list(*LOOK).iterator(chunk_size=AT_ONCE)
    looks = [(*row[:3], row[3].toordinal()) for row in found]
    if looks:
        columns = zip(LOOK, (int, int, object, int), zip(*looks, strict=True), strict=True)
        _tell_of_due(site, {name: np.array(values, dtype=kind) for name, kind, values in columns}, today, now)


def _tell_of_due(site: Site, looks: Columns, today: date, now: datetime) -> None:
    """Each look by itself, up to ``rules.MANY`` a day; more by their count (``flood_actions``)."""
    news = _untold(site, looks, today)
    overdue = [row for row in news if row[3] < today.toordinal()]
    soon = [row for row in news if row[3] >= today.toordinal()]
    for kind, rows in ((rules.OVERDUE, overdue), (rules.DUE_SOON, soon)):
        if rows and rules.is_told_by_count(news=len(rows), told_today=flood_actions.told_singly(site, kind, today)):
            days = ((programme_id, date.fromordinal(ordinal)) for programme_id, _, _, ordinal in rows)
            flood_actions.count(site_id=site.pk, kind=kind, looks=days, now=now)
        else:
            _write(site.pk, _due_drafts(rows, today), now)


def _untold(site: Site, looks: Columns, today: date) -> list[Look]:
    """Those that are news: not told before of nearly the same day, and overdue ones that nobody signed for."""
    order = np.argsort(looks["programme_id"])  # so that a batch of a sweep's part lies close together
    looks = {name: looks[name][order] for name in LOOK}
    told = [
        _is_told(looks["programme_id"][batch], looks["due_on"][batch], today)
        for batch in (slice(start, start + LOOKS_AT_ONCE) for start in range(0, len(order), LOOKS_AT_ONCE))
    ]
    left = np.flatnonzero(~np.concatenate(told))
    news = zip(*(looks[name][left].tolist() for name in LOOK), strict=True)
    signed = escalation.put_off(site, today)
    return [row for row in news if row[3] >= today.toordinal() or row[1:3] not in signed]


def _is_told(programmes: NDArray[np.int64], days: NDArray[np.integer], today: date) -> NDArray[np.bool_]:
    """Of looks in order of their programme, each once: whether its kind was told before of nearly the same day."""
    is_overdue, is_told = days < today.toordinal(), np.zeros(len(days), dtype=bool)
    those = _of_programmes(programmes.tolist())
    for earlier in (Intent.objects.filter(for_day__isnull=False), CountedLook.objects.all()):
        told = earlier.filter(those, kind__in=[rules.OVERDUE, rules.DUE_SOON])
        rows = [(pk, kind == rules.OVERDUE, day.toordinal()) for pk, kind, day in told.values_list(*TOLD)]
        of, was_overdue, day = np.array(rows, dtype=np.int64).reshape(-1, 3).T
        place = np.searchsorted(programmes, of).clip(max=len(programmes) - 1)
        same = (programmes[place] == of) & (is_overdue[place] == was_overdue.astype(bool))
        is_told[place[same & rules.is_near(days[place], day)]] = True
    return is_told


def _of_programmes(ids: list[int]) -> Q:
    """Rows of some programmes: by their range where they lie close together."""
    first, last = min(ids), max(ids)
    return Q(programme__gte=first, programme__lte=last) if lie_close(first, last, len(ids)) else Q(programme__in=ids)


def _due_drafts(news: list[Look], today: date) -> Iterator[Draft]:
    names = dict(escalation.joint_names({joint_id for _, joint_id, _, _ in news}))
    for programme_id, joint_id, method, ordinal in news:
        due_on = date.fromordinal(ordinal)
        what = f"{method} of {names.get(joint_id, 'a joint')}"
        facts = {"programme_id": programme_id, "joint_id": joint_id, "what": what, "due_on": due_on}
        yield rules.overdue(today=today, **facts) if due_on < today else rules.due_soon(**facts)


def _left_out(site: Site, today: date) -> list[Draft]:
    rows = NotComputed.objects.filter(site=site)
    first = rows.select_related("asset").first()
    if first is None:
        return []
    what = f"{first.asset.tag} {first.asset.name}"
    return [rules.not_computed(site_id=site.pk, first=what, count=rows.count(), today=today)]


def _deferrals(site: Site, today: date, book: Book) -> list[Draft]:
    lead = book.lead_days(site.pk, rules.DEFERRAL_ENDING)
    until = today + timedelta(days=lead)
    rows = Deferral.objects.filter(site=site, state=Deferral.State.STANDING, ends_on__lte=until)
    drafts = (
        rules.deferral(
            deferral_id=row.pk,
            order_id=row.order_id,
            what=f"{row.order.title}, {row.order.asset.tag}",
            ends_on=row.ends_on,
            signed_by_id=row.signed_by_id,
            today=today,
            lead_days=lead,
        )
        for row in rows.select_related("order__asset")
    )
    return [draft for draft in drafts if draft]


def _counters(site: Site, today: date) -> list[Draft]:
    rows = Counter.objects.filter(asset__site=site, is_primary=True).exclude(asset__status=Asset.Status.RETIRED)
    rows = list(rows.annotate(last_on=Max("readings__read_on")).select_related("asset"))
    seasons = duty_queries.seasons_of_assets([row.asset for row in rows])
    return [
        rules.counter_silent(
            counter_id=row.pk,
            what=f"{row.name} of {row.asset.tag} {row.asset.name}",
            as_of=row.last_on,
            every_days=row.expected_every_days,
        )
        for row in rows
        if row.last_on is None
        or unread_too_long(seasons[row.asset_id], as_of=row.last_on, today=today, every_days=row.expected_every_days)
    ]


def _qualifications(site: Site, today: date, book: Book) -> list[Draft]:
    lead = book.lead_days(site.pk, rules.QUALIFICATION_ENDING)
    until = today + timedelta(days=lead)
    here = Role.objects.filter(site=site).values("person_id")
    rows = Qualification.objects.filter(person__in=here, person__is_active=True, expires_on__gte=today)
    rows = rows.filter(Q(expires_on__lte=until) | Q(kind=Qualification.Kind.WELDER))  # whose six months end earlier
    drafts = (
        rules.qualification_ending(
            qualification_id=row.pk,
            site_id=site.pk,
            person_id=row.person_id,
            who=row.person.display_name,
            what=" ".join(filter(None, [row.get_kind_display(), row.method, row.process])),
            expires_on=row.expires_on,
            today=today,
            lead_days=lead,
            unused_ends_on=continuity_ends(row) if row.kind == Qualification.Kind.WELDER else None,
        )
        for row in rows.select_related("person").prefetch_related("person__qualifications")
        if not is_carried_on(row, row.person.qualifications.all())
    )
    return [draft for draft in drafts if draft]


def _soon_days(site_id: int) -> int:
    return Book([site_id]).lead_days(site_id, rules.DUE_SOON)


def _write(site_id: int, drafts: Iterable[Draft], now: datetime) -> None:
    if not connection.in_atomic_block:
        raise RuntimeError("an intent belongs in the transaction of what causes it")
    rows = [
        Intent(
            site_id=site_id,
            kind=draft.kind,
            key=draft.key,
            subject=draft.subject[:200],
            text=draft.text,
            link=draft.link,
            joint_id=draft.joint_id,
            programme_id=draft.programme_id,
            for_day=draft.for_day,
            person_id=draft.person_id,
            role=draft.role,
            created_at=now,
        )
        for draft in drafts
    ]
    if rows:
        Intent.objects.bulk_create(rows, batch_size=AT_ONCE, ignore_conflicts=True)


# --- from an intent to its deliveries ---------------------------------------------------------------------------------


def expand(*, now: datetime) -> int:
    """Write the deliveries of new intents, by role; returns how many intents. What is in-app has thereby arrived."""
    done = 0
    while batch := _expand_batch(now):
        done += batch
    return done


@transaction.atomic
def _expand_batch(now: datetime) -> int:
    skip = connection.features.has_select_for_update_skip_locked
    rows = Intent.objects.select_for_update(skip_locked=skip).filter(expanded_at=None).order_by("pk")
    intents = list(rows[:AT_ONCE])
    if not intents:
        return 0
    site_ids = {intent.site_id for intent in intents}
    giver = _Giver(site_ids, now)
    Delivery.objects.bulk_create(
        [row for intent in intents for row in giver.deliveries(intent)], batch_size=AT_ONCE, ignore_conflicts=True
    )
    WebhookDelivery.objects.bulk_create(_posts(intents, now), batch_size=AT_ONCE, ignore_conflicts=True)
    Intent.objects.filter(pk__in=[intent.pk for intent in intents]).update(expanded_at=now)
    return len(intents)


def _hearers(site_ids: set[int]) -> list[tuple[int, int, str]]:
    rows = Role.objects.filter(site_id__in=site_ids, person__is_active=True)
    return list(rows.values_list("person_id", "site_id", "name"))


class _Giver:
    """Who hears of an intent, by which channels, and when at the earliest; read once for a batch."""

    def __init__(self, site_ids: set[int], now: datetime) -> None:
        self.now = now
        self.book = Book(site_ids)
        self.people = {person.pk: person for person in Person.objects.filter(is_active=True)}
        self.clocks = Clocks()
        self.roles: dict[int, list[tuple[int, str]]] = defaultdict(list)
        for person_id, site_id, role in _hearers(site_ids):
            self.roles[site_id].append((person_id, role))
        self.zones = dict(Site.objects.filter(pk__in=site_ids).values_list("pk", "time_zone"))

    def deliveries(self, intent: Intent) -> Iterator[Delivery]:
        """In the app whatever is told at all, by email as the rules say and where an address is on file."""
        by_person: dict[int, set[str]] = defaultdict(set)
        for person_id, role in self.roles[intent.site_id]:
            by_person[person_id] |= set()
            if intent.role and intent.role != role:
                continue
            hears = self.book.hears(intent.site_id, intent.kind, role)
            by_person[person_id] |= {Delivery.Channel.IN_APP} if hears.in_app else set()
            by_person[person_id] |= {Delivery.Channel.EMAIL} if hears.email else set()
        if intent.person_id in by_person:  # only who has a role at the site still
            by_person[intent.person_id] |= {Delivery.Channel.IN_APP, Delivery.Channel.EMAIL}
        for person_id in sorted(by_person.keys() & self.people.keys()):
            channels = by_person[person_id]
            if Delivery.Channel.EMAIL in channels and not self.people[person_id].email:
                channels = {Delivery.Channel.IN_APP}
            yield from (self._delivery(intent, person_id, channel) for channel in sorted(channels))

    def _delivery(self, intent: Intent, person_id: int, channel: str) -> Delivery:
        row = Delivery(intent=intent, person_id=person_id, channel=channel, next_try_at=self.now)
        if channel == Delivery.Channel.IN_APP:
            row.state, row.sent_at = Delivery.State.SENT, self.now
        elif intent.kind not in rules.BREAKS_THROUGH:
            row.next_try_at = self.clocks.next_allowed(person_id, self.zones[intent.site_id], self._since(intent))
        return row

    def _since(self, intent: Intent) -> datetime:
        """From when it is owed. While somebody works that is now: what comes beside a digest waits for the next. Where
        nobody worked over the hour of a digest, that one is owed still."""
        return intent.created_at if self.now - intent.created_at > WORKED_OFF_WITHIN else self.now


def _posts(intents: list[Intent], now: datetime) -> Iterator[WebhookDelivery]:
    """What the sites' endpoints are told, of what happened since they were set up."""
    endpoints = WebhookEndpoint.objects.filter(site__in={intent.site_id for intent in intents}, is_on=True)
    for endpoint in endpoints:
        for intent in intents:
            is_wanted = not endpoint.kinds or intent.kind in endpoint.kinds
            if is_wanted and intent.site_id == endpoint.site_id and intent.created_at >= endpoint.made_at:
                yield WebhookDelivery(endpoint=endpoint, intent=intent, owed_since=now)


# --- what a person does with them -------------------------------------------------------------------------------------


def mark_seen(*, actor: Person, now: datetime, delivery_ids: Iterable[int] | None = None) -> int:
    """Mark my alerts as seen: some, or all (None). Somebody else's are not found (``not_found``)."""
    mine = queries.in_sight(actor)
    if delivery_ids is not None:
        wanted = set(delivery_ids)
        mine = mine.filter(pk__in=wanted)
        if mine.count() != len(wanted):
            raise NotFound("not_found", "There is no such alert of yours.")
    return mine.filter(seen_at=None).update(seen_at=now)


@transaction.atomic
def acknowledge(*, actor: Person, now: datetime, delivery_id: int) -> Intent:
    """Say that I see to it. Everybody who was told sees who and when; an overdue look is escalated no further.

    Refusals: ``not_found``, ``already_acknowledged`` (with ``by``).
    """
    mine = Delivery.objects.filter(pk=delivery_id, person_id=actor.pk).select_related("intent").first()
    if mine is None or not roles_at(actor, mine.intent.site_id):
        raise NotFound("not_found", "There is no such alert of yours.")
    intent = Intent.objects.select_for_update(of=("self",)).get(pk=mine.intent_id)
    if intent.acknowledged_at is not None:
        by = intent.acknowledged_by.display_name if intent.acknowledged_by else ""
        raise Conflict("already_acknowledged", f"{by} has acknowledged this already.", by=by)
    intent.acknowledged_by, intent.acknowledged_at = actor, now
    intent.save(update_fields=["acknowledged_by", "acknowledged_at"])
    Delivery.objects.filter(intent=intent, person_id=actor.pk, seen_at=None).update(seen_at=now)
    append(
        site_id=intent.site_id,
        deed="alert.acknowledged",
        actor=actor,
        subject=intent,
        content={"kind": intent.kind, "text": intent.text},
        now=now,
        joint_id=intent.joint_id,
    )
    return intent


@transaction.atomic
def try_again(*, actor: Person, now: datetime, delivery_id: int) -> int:
    """Send once more what was given up, with all that the person was not told of the site for the same reason; returns
    how many alerts. A manager of the site may (``people.change``)."""
    known = Delivery.objects.filter(pk=delivery_id).select_related("intent").first()
    if known is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    require(actor, "people.change", known.intent.site_id)
    dead = Delivery.objects.filter(state=Delivery.State.FAILED, person_id=known.person_id)
    alike = dead.filter(intent__site=known.intent.site_id, last_error=known.last_error)
    batches = set(alike.values_list("batch", flat=True)) - {""}  # a message stays whole: it goes out under its name
    ids = list(dead.filter(Q(pk__in=alike.values("pk")) | Q(batch__in=batches)).values_list("pk", flat=True))
    fresh = {"state": Delivery.State.OWED, "attempts": 0, "next_try_at": now, "claimed_until": None}
    return Delivery.objects.filter(pk__in=ids, state=Delivery.State.FAILED).update(**fresh)
