"""Which looks are due, in order, by key pages; and why each of a page of them is, in bulk."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from django.contrib.postgres.expressions import ArraySubquery
from django.db import connection
from django.db.models import Func, OuterRef, Q, QuerySet

from assets_app.doors.kept import Kept
from assets_app.register.models import Asset, Joint, Site
from assets_app.statements import Given, Statement
from schedules.due.models import DueDate

PAGE = 50
FEW_ASSETS = 200  # so many are named by their keys, so that the database knows how many rows they have


@dataclass(frozen=True)
class DueFilter:
    """What is asked for. Empty means any; ``weeks`` 0 means any day, and shows undated rows after the dated ones."""

    site_ids: Sequence[int]
    today: date
    site_id: int | None = None
    asset: str = ""
    governing: str = ""
    method: str = ""
    unrated: bool = False
    unprotected: bool = False
    overdue: bool = False
    weeks: int = 0
    by_asset: bool = False


class DueRow(NamedTuple):
    """A due date with what its row says of programme, rating, joint and asset: plain values, one query for a page."""

    programme_id: int
    joint_id: int
    asset_id: int
    site_id: int
    method: str
    due_on: date | None
    middle_on: date | None
    governing: str
    next_limit: str
    next_on: date | None
    calendar_on: date | None
    duty_on: date | None
    damage_on: date | None
    growth_window_on: date | None
    measured_growth_on: date | None
    finding_on: date | None
    sweep_on: date | None
    after_work_on: date | None
    load_change_on: date | None
    fixed_on: date | None
    unrated: bool
    unprotected: bool
    damage_now: float | None
    count_now: float | None
    reading_on: date | None
    joint_tag: str
    joint_name: str
    load_path: str
    installed_on: date | None
    asset_tag: str
    asset_name: str
    commissioned_on: date | None
    calendar_months: int | None
    duty_count: float | None
    duty_source: str
    last_look_on: date | None
    last_look_total: float | None
    rating_missing: list[dict[str, str]] | None  # None: not rated yet
    damage_share: float | None
    detectable_mm: float | None
    critical_mm: float | None
    window_count: float | None
    looks: int | None
    unprotected_here: bool | None

    @property
    def born_on(self) -> date | None:
        """The joint's own day, else its asset's."""
        return self.installed_on or self.commissioned_on

    @property
    def single_path(self) -> bool:
        """Unknown counts as single: the safe side."""
        return self.load_path != Joint.LoadPath.MULTIPLE


_ELSEWHERE = {
    "joint_tag": "joint__tag",
    "joint_name": "joint__name",
    "load_path": "joint__load_path",
    "installed_on": "joint__installed_on",
    "asset_tag": "asset__tag",
    "asset_name": "asset__name",
    "commissioned_on": "asset__commissioned_on",
    "calendar_months": "programme__calendar_months",
    "duty_count": "programme__duty_count",
    "duty_source": "programme__source",
    "last_look_on": "programme__last_look_on",
    "last_look_total": "programme__last_look_total",
    "rating_missing": "programme__rating__missing",
    "damage_share": "programme__rating__damage_share",
    "detectable_mm": "programme__rating__detectable_mm",
    "critical_mm": "programme__rating__critical_mm",
    "window_count": "programme__rating__window_count",
    "looks": "programme__rating__looks",
    "unprotected_here": "programme__rating__unprotected",
}
_COLUMNS = [_ELSEWHERE.get(name, name) for name in DueRow._fields]


@dataclass(frozen=True)
class DuePage:
    """One page of rows and the key of the next one, empty at the end."""

    rows: list[DueRow]
    after: str


def due_page(asked: DueFilter, *, after: str = "", size: int = PAGE) -> DuePage:
    """Rows by due date (or by asset, then due date), undated ones last. A key that makes no sense starts afresh."""
    phase, key = _read_key(after, by_asset=asked.by_asset)
    conditions, sites = _conditions(asked)
    rows: list[DueRow] = []
    if phase == "dated":
        if _walks_assets(asked):
            dated = _by_asset(DueDate.objects.filter(**conditions), key)
            rows = _fetched(_first_by_asset(dated, sites, size + 1, start=key[0] if key else 0))
        else:
            rows = _first(_by_asset if asked.by_asset else _by_day, conditions, sites, key, size + 1)
    if len(rows) <= size and _wants_undated(asked):
        start = key if phase == "undated" else []
        rows += _first(_undated, conditions, sites, start, size + 1 - len(rows))
    more = len(rows) > size
    rows = rows[:size]
    return DuePage(rows, _write_key(rows[-1], by_asset=asked.by_asset) if more else "")


Order = Callable[[QuerySet[DueDate], Sequence[Any]], QuerySet[DueDate]]  # of some rows those beyond a key, in order

_statements: Kept[Statement] = Kept(64)  # of one site: by order, names of conditions and size


def _first(
    order: Order, conditions: Mapping[str, Any], sites: Sequence[int], key: Sequence[Any], size: int
) -> list[DueRow]:
    """The first rows beyond a key. At one site the statement for the conditions' names is made once."""
    if len(sites) != 1:
        return _fetched(first_of_sites(order(DueDate.objects.filter(**conditions), key), sites, size))

    def make() -> Statement:
        given = DueDate.objects.filter(**{name: Given(name) for name in conditions})
        rows = order(given, [Given(f"key{place}") for place in range(len(key))])
        return Statement(lambda: first_of_sites(rows, [Given("site")], size).values_list(*_COLUMNS))

    statement = _statements.of((order, tuple(conditions), len(key), size), make)
    keys = {f"key{place}": value for place, value in enumerate(key)}
    return [DueRow._make(row) for row in statement.rows(site=sites[0], **conditions, **keys)]


def first_of_sites(rows: QuerySet[DueDate], sites: Sequence[Any], size: int) -> QuerySet[DueDate]:
    """The first ``size`` of ordered rows at some sites, by walking an index from its beginning.

    Every index begins with the site. PostgreSQL would sort all rows of several sites to find the first ones; so the
    first ones of each site are found on their own and only those are sorted. SQLite carries small fleets and may sort.
    """
    if not sites:
        return rows.none()
    if len(sites) == 1:
        return rows.filter(site_id=sites[0])[:size]
    if connection.vendor != "postgresql":
        return rows.filter(site_id__in=sites)[:size]
    of_one_site = ArraySubquery(rows.filter(site_id=OuterRef("pk")).values("programme_id")[:size])
    keys = Site.objects.filter(pk__in=sites).order_by().values(key=Func(of_one_site, function="unnest"))
    return DueDate.objects.filter(programme_id__in=keys).order_by(*rows.query.order_by)[:size]


def _walks_assets(asked: DueFilter) -> bool:
    """Whether rows in order of assets are found asset by asset: not where few assets may have any."""
    rare = asked.overdue or asked.unrated or asked.unprotected or asked.governing or asked.method
    return asked.by_asset and not rare and connection.vendor == "postgresql"


def _first_by_asset(rows: QuerySet[DueDate], sites: Sequence[int], size: int, *, start: int) -> QuerySet[DueDate]:
    """The first ``size`` rows in order of assets: the first ones of one asset after the other, until there are enough.

    The index by asset holds those of all sites; walked from its beginning, it passes over every row of others.
    """
    of_one_asset = rows.filter(site_id__in=sites, asset_id=OuterRef("pk")).order_by("due_on", "programme_id")
    first_ones = ArraySubquery(of_one_asset.values("programme_id")[:size])
    assets = Asset.objects.filter(site_id__in=sites, pk__gte=start).order_by("pk")
    keys = assets.values(key=Func(first_ones, function="unnest"))[:size]
    return DueDate.objects.filter(programme_id__in=keys).order_by(*rows.query.order_by)


def due_row(programme_id: int) -> DueRow:
    """The row of one programme."""
    return _fetched(DueDate.objects.filter(programme_id=programme_id))[0]


def _fetched(rows: QuerySet[DueDate]) -> list[DueRow]:
    return [DueRow._make(row) for row in rows.values_list(*_COLUMNS)]


def _wants_undated(asked: DueFilter) -> bool:
    return not asked.weeks and not asked.overdue and not asked.governing


def _conditions(asked: DueFilter) -> tuple[dict[str, Any], list[int]]:
    """What the rows asked for fulfil, and the sites at which to look for them."""
    sites = [pk for pk in asked.site_ids if asked.site_id in (None, pk)]
    exact = ("governing", "method", "unrated", "unprotected")
    conditions: dict[str, Any] = {name: getattr(asked, name) for name in exact if getattr(asked, name)}
    if asked.overdue:
        conditions["due_on__lt"] = asked.today
    elif asked.weeks:
        conditions["due_on__lte"] = asked.today + timedelta(weeks=asked.weeks)
    if asked.asset:
        assets = Asset.objects.filter(site_id__in=sites, tag__istartswith=asked.asset).order_by()
        found = dict(assets.values_list("pk", "site_id")[: FEW_ASSETS + 1])
        if len(found) <= FEW_ASSETS:
            conditions["asset_id__one_of"], sites = list(found), sorted(set(found.values()))
        else:
            conditions["asset__tag__istartswith"] = asked.asset
    return conditions, sites


# Beyond a key: ``a >= x AND (a > x OR ...)``, so that the index is walked from there.


def _by_day(rows: QuerySet[DueDate], key: Sequence[Any]) -> QuerySet[DueDate]:
    if key:
        day, pk = key
        rows = rows.filter(Q(due_on__gt=day) | Q(programme_id__gt=pk), due_on__gte=day)
    return rows.filter(due_on__isnull=False).order_by("due_on", "programme_id")


def _by_asset(rows: QuerySet[DueDate], key: Sequence[Any]) -> QuerySet[DueDate]:
    if key:
        asset, day, pk = key
        later = Q(due_on__gt=day) | Q(due_on=day, programme_id__gt=pk)
        rows = rows.filter(Q(asset_id__gt=asset) | later, asset_id__gte=asset)
    return rows.filter(due_on__isnull=False).order_by("asset_id", "due_on", "programme_id")


def _undated(rows: QuerySet[DueDate], key: Sequence[Any]) -> QuerySet[DueDate]:
    if key:
        rows = rows.filter(programme_id__gt=key[0])
    return rows.filter(due_on=None).order_by("programme_id")


def _write_key(row: DueRow, *, by_asset: bool) -> str:
    if row.due_on is None:
        return f"u{row.programme_id}"
    numbers = [row.due_on.toordinal(), row.programme_id]
    return ".".join(str(n) for n in ([row.asset_id, *numbers] if by_asset else numbers))


def _read_key(after: str, *, by_asset: bool) -> tuple[str, list[Any]]:
    wanted = 3 if by_asset else 2
    try:
        if after.startswith("u"):
            return "undated", [int(after[1:])]
        numbers = [int(part) for part in after.split(".")] if after else []
        if len(numbers) == wanted:
            return "dated", [*numbers[:-2], date.fromordinal(numbers[-2]), numbers[-1]]
    except (ValueError, OverflowError):
        pass
    return "dated", []


def site_today(site: Site, now: datetime) -> date:
    """The day on the site's clock."""
    return now.astimezone(ZoneInfo(site.time_zone)).date()
