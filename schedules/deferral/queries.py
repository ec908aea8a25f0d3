"""The backlog: what is put off by whom until when, what is overdue with nobody's signature, and what it all costs."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from django.conf import settings
from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Sum

from assets_app.people.models import Person
from assets_app.people.queries import sites_of
from assets_app.refusals import NotFound
from assets_app.register.models import Asset, Site
from schedules.deferral import rules
from schedules.deferral.models import Deferral
from schedules.due.models import DueDate
from schedules.work import rules as work
from schedules.work.models import WorkOrder
from schedules.work.raising import due_without_order

SHOWN = 200  # rows of each list on a page; the counts are of all


@dataclass
class Silent:
    """Overdue, and nobody signed for it: an order, or a look that has not even one."""

    title: str
    asset: Asset
    joint_id: int
    due_on: date
    days: int
    why: str
    order: WorkOrder | None = None
    programme_id: int | None = None
    lapsed: Deferral | None = None  # the deferral whose end has passed
    cost: Decimal | None = None
    unprotected: bool = False
    damage: float | None = None


@dataclass
class Changed:
    """What changed since a day."""

    since: date
    newly_put_off: list[Deferral]
    done: list[Deferral]
    lapsed: list[Deferral]
    withdrawn: list[Deferral]
    newly_silent: int


@dataclass
class Backlog:
    """A site's backlog on a day."""

    site: Site
    today: date
    put_off: list[Deferral]
    silent: list[Silent]
    silent_count: int
    bands: list[rules.AgeBand]
    indices: list[rules.ConditionIndex]
    edges: tuple[float, ...]
    changed: Changed
    ending_soon: list[Deferral]

    @property
    def oldest_days(self) -> int:
        """Days since the oldest of all was due; 0 where nothing is overdue or put off."""
        ages = [(self.today - each.was_due_on).days for each in self.put_off] + [each.days for each in self.silent]
        return max(ages, default=0)


def backlog(site: Site, *, today: date) -> Backlog:
    """What is put off at a site, since when, at what risk and cost, and what changed since last month."""
    put_off = list(_standing(site).filter(ends_on__gte=today).order_by("was_due_on", "pk"))
    orders, looks = _silent_orders(site, today), _looks_without_order(site, today)
    silent = sorted(orders + _silent_looks(site, today), key=lambda each: (each.due_on, each.title))
    rows = [((today - each.was_due_on).days, True, cost_of(each)) for each in put_off]
    rows += [(each.days, False, each.cost) for each in orders]
    works = [*((each.order.asset, cost_of(each)) for each in put_off), *_priced(orders)]
    return Backlog(
        site=site,
        today=today,
        put_off=put_off,
        silent=silent[:SHOWN],
        silent_count=len(orders) + sum(each.looks for each in looks),
        bands=rules.age_bands(rows, without_order=[((today - each.due_on).days, each.looks) for each in looks]),
        indices=_indices(site, works, looks),
        edges=fci_edges(),
        changed=_changed(site, today, orders, looks),
        ending_soon=[each for each in put_off if (each.ends_on - today).days <= rules.SOON_DAYS],
    )


def fci_edges() -> tuple[float, ...]:
    """Edges of the condition index's bands, per cent: the setting's, else the shipped ones."""
    return tuple(getattr(settings, "FCI_BAND_EDGES", None) or rules.FCI_EDGES)


def cost_of(deferral: Deferral) -> Decimal | None:
    """As the order says today, else as it was signed; None is not known."""
    today = deferral.order.cost_estimate
    return today if today is not None else deferral.cost_estimate


def deferrals_in_sight(person: Person) -> QuerySet[Deferral]:
    rows = Deferral.objects.filter(site__in=sites_of(person))
    return rows.select_related("order__joint", "order__asset", "site", "signed_by")


def deferral_in_sight(person: Person, deferral_id: int) -> Deferral:
    deferral = deferrals_in_sight(person).filter(pk=deferral_id).first()
    if deferral is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    return deferral


def _standing(site: Site) -> QuerySet[Deferral]:
    rows = Deferral.objects.filter(site=site, state=Deferral.State.STANDING)
    return rows.select_related("order__joint", "order__asset", "signed_by")


def _silent_orders(site: Site, today: date) -> list[Silent]:
    put_off = Deferral.objects.filter(order=OuterRef("pk"), state=Deferral.State.STANDING, ends_on__gte=today)
    rows = WorkOrder.objects.filter(~Exists(put_off), site=site, state__in=work.AT_WORK, due_on__lt=today)
    lapsed = {each.order_id: each for each in _standing(site).filter(ends_on__lt=today)}
    rows = rows.select_related("asset", "joint").order_by("due_on", "pk")
    orders = list(rows)
    due = _due_rows(orders)
    return [
        Silent(
            title=order.title,
            asset=order.asset,
            joint_id=order.joint_id,
            due_on=order.due_on,
            days=(today - order.due_on).days,
            why=order.why,
            order=order,
            lapsed=lapsed.get(order.pk),
            cost=_cost_of_silent(order, lapsed.get(order.pk)),
            unprotected=bool(row and row.unprotected),
            damage=row.damage_now if row else None,
        )
        for order in orders
        for row in [due.get((order.joint_id, order.method))]
    ]


def _cost_of_silent(order: WorkOrder, lapsed: Deferral | None) -> Decimal | None:
    return order.cost_estimate if order.cost_estimate is not None or lapsed is None else lapsed.cost_estimate


def _due_rows(orders: list[WorkOrder]) -> dict[tuple[int, str], DueDate]:
    rows = DueDate.objects.filter(programme__joint_id__in={order.joint_id for order in orders})
    return {(row.joint_id, row.method): row for row in rows}


class LooksOfADay(NamedTuple):
    """How many looks fell due on a day, have no order, and hang on assets valued in a currency."""

    due_on: date
    currency: str
    looks: int


def _looks_without_order(site: Site, today: date) -> list[LooksOfADay]:
    """All looks overdue for which nobody has even raised an order, counted in the database."""
    rows = due_without_order(site.pk, today).filter(due_on__lt=today).select_related(None).order_by()
    return [LooksOfADay(*row) for row in rows.values_list("due_on", "asset__currency").annotate(Count("programme"))]


def _silent_looks(site: Site, today: date) -> list[Silent]:
    """The oldest of them, as many as a page shows."""
    rows = due_without_order(site.pk, today).filter(due_on__lt=today)[:SHOWN]
    return [
        Silent(
            title=f"{row.method} of {row.joint.tag} {row.joint.name}".strip(),
            asset=row.joint.asset,
            joint_id=row.joint_id,
            due_on=row.due_on,
            days=(today - row.due_on).days,
            why=f"{row.governing.capitalize()} governs; no order is raised.",
            programme_id=row.programme_id,
            unprotected=row.unprotected,
            damage=row.damage_now,
        )
        for row in rows
    ]


def _priced(silent: list[Silent]) -> list[tuple[Asset, Decimal | None]]:
    return [(each.asset, each.cost) for each in silent]


def _indices(
    site: Site, works: list[tuple[Asset, Decimal | None]], looks: list[LooksOfADay]
) -> list[rules.ConditionIndex]:
    """One condition index a currency: costs are in the currency of the asset."""
    assets = Asset.objects.filter(site=site).exclude(status=Asset.Status.RETIRED)
    values: dict[str, Any] = dict(
        assets.filter(replacement_value__gt=0).values_list("currency").annotate(Sum("replacement_value")).order_by()
    )
    no_value = Counter(
        assets.filter(Q(replacement_value=None) | Q(replacement_value=0)).values_list("currency", flat=True)
    )
    cost: dict[str, Decimal] = {}
    unpriced: Counter[str] = Counter()
    for asset, each in works:
        if each is None:
            unpriced[asset.currency] += 1
        else:
            cost[asset.currency] = cost.get(asset.currency, Decimal(0)) + each
    for day in looks:
        unpriced[day.currency] += day.looks
    return [
        rules.ConditionIndex(
            currency=currency,
            cost=cost.get(currency, Decimal(0)),
            value=values.get(currency, Decimal(0)),
            unpriced=unpriced[currency],
            unvalued=no_value[currency],
        )
        for currency in sorted({*values, *cost, *unpriced, *no_value})
    ]


def _changed(site: Site, today: date, orders: list[Silent], looks: list[LooksOfADay]) -> Changed:
    since = rules.month_before(today)
    rows = Deferral.objects.filter(site=site).select_related("order__joint", "order__asset", "signed_by")
    ended = rows.filter(ended_on__gt=since)
    return Changed(
        since=since,
        newly_put_off=list(rows.filter(signed_at__date__gt=since).exclude(state=Deferral.State.WITHDRAWN)),
        done=list(ended.filter(state=Deferral.State.ENDED)),
        lapsed=list(
            rows.filter(
                Q(state=Deferral.State.STANDING, ends_on__lt=today) | Q(state=Deferral.State.LAPSED), ends_on__gt=since
            )
        ),
        withdrawn=list(ended.filter(state=Deferral.State.WITHDRAWN)),
        newly_silent=sum(each.due_on > since for each in orders)
        + sum(each.looks for each in looks if each.due_on > since),
    )
