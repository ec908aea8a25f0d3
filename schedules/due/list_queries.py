"""Which looks are due, in order, by key pages; and why each of a page of them is, in bulk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Count, Q, QuerySet

from assets_app.register.models import Asset, Site
from schedules.due.models import DueDate

PAGE = 50


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


@dataclass(frozen=True)
class DuePage:
    """One page of rows and the key of the next one, empty at the end."""

    rows: list[DueDate]
    after: str


def due_page(asked: DueFilter, *, after: str = "", size: int = PAGE) -> DuePage:
    """Rows by due date (or by asset, then due date), undated ones last. A key that makes no sense starts afresh."""
    phase, key = _read_key(after, by_asset=asked.by_asset)
    rows: list[DueDate] = []
    if phase == "dated":
        rows = list(_dated(asked, key)[: size + 1])
    if len(rows) <= size and _wants_undated(asked):
        start = key[0] if phase == "undated" and key else 0
        undated = _matching(asked).filter(due_on=None, programme_id__gt=start).order_by("programme_id")
        rows += list(undated[: size + 1 - len(rows)])
    more = len(rows) > size
    rows = rows[:size]
    return DuePage(rows, _write_key(rows[-1], by_asset=asked.by_asset) if more else "")


def _wants_undated(asked: DueFilter) -> bool:
    return not asked.weeks and not asked.overdue and not asked.governing


def _matching(asked: DueFilter) -> QuerySet[DueDate]:
    sites = [pk for pk in asked.site_ids if asked.site_id in (None, pk)]
    rows = DueDate.objects.filter(site_id__in=sites)
    if asked.asset:
        assets = Asset.objects.filter(site_id__in=sites, tag__istartswith=asked.asset)
        rows = rows.filter(asset_id__in=list(assets.values_list("pk", flat=True)[:500]))
    for name in ("governing", "method"):
        if getattr(asked, name):
            rows = rows.filter(**{name: getattr(asked, name)})
    for name in ("unrated", "unprotected"):
        if getattr(asked, name):
            rows = rows.filter(**{name: True})
    if asked.overdue:
        rows = rows.filter(due_on__lt=asked.today)
    elif asked.weeks:
        rows = rows.filter(due_on__lte=asked.today + timedelta(weeks=asked.weeks))
    return rows.select_related("joint", "asset", "site", "programme", "programme__rating")


def _dated(asked: DueFilter, key: list[int]) -> QuerySet[DueDate]:
    """Rows with a date after the key: ``a >= x AND (a > x OR ...)``, so that the index is walked from there."""
    rows = _matching(asked).exclude(due_on=None)
    if not asked.by_asset:
        if key:
            day, pk = date.fromordinal(key[0]), key[1]
            rows = rows.filter(due_on__gte=day).filter(Q(due_on__gt=day) | Q(programme_id__gt=pk))
        return rows.order_by("due_on", "programme_id")
    if key:
        asset, day, pk = key[0], date.fromordinal(key[1]), key[2]
        later = Q(due_on__gt=day) | Q(due_on=day, programme_id__gt=pk)
        rows = rows.filter(asset_id__gte=asset).filter(Q(asset_id__gt=asset) | later)
    return rows.order_by("asset_id", "due_on", "programme_id")


def _write_key(row: DueDate, *, by_asset: bool) -> str:
    if row.due_on is None:
        return f"u{row.programme_id}"
    numbers = [row.due_on.toordinal(), row.programme_id]
    return ".".join(str(n) for n in ([row.asset_id, *numbers] if by_asset else numbers))


def _read_key(after: str, *, by_asset: bool) -> tuple[str, list[int]]:
    wanted = 3 if by_asset else 2
    try:
        if after.startswith("u"):
            return "undated", [int(after[1:])]
        numbers = [int(part) for part in after.split(".")] if after else []
        if len(numbers) == wanted:
            date.fromordinal(numbers[-2])
            return "dated", numbers
    except (ValueError, OverflowError):
        pass
    return "dated", []


@dataclass(frozen=True)
class DueCounts:
    """How many looks are overdue, due in the coming weeks, unrated and unprotected."""

    overdue: int
    soon: int
    unrated: int
    unprotected: int
    unrated_undated: int


def due_counts(site_ids: Sequence[int], *, today: date, weeks: int) -> DueCounts:
    """Stated above the list; each count walks one index."""
    rows = DueDate.objects.filter(site_id__in=site_ids)
    return DueCounts(
        overdue=rows.filter(due_on__lt=today).count(),
        soon=rows.filter(due_on__gte=today, due_on__lte=today + timedelta(weeks=weeks)).count(),
        unrated=rows.filter(unrated=True).count(),
        unprotected=rows.filter(unprotected=True).count(),
        unrated_undated=rows.filter(unrated=True, due_on=None).count(),
    )


def looks_by_day(site_ids: Sequence[int], *, first: date, last: date) -> dict[date, int]:
    """How many looks fall due on each day between ``first`` and ``last``, both included."""
    rows = DueDate.objects.filter(site_id__in=site_ids, due_on__gte=first, due_on__lte=last)
    return dict(rows.values_list("due_on").annotate(Count("programme_id")).order_by("due_on"))


def site_today(site: Site, now: datetime) -> date:
    """The day on the site's clock."""
    return now.astimezone(ZoneInfo(site.time_zone)).date()
