"""Reads of duty: totals, open days, forecasts."""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, NamedTuple, Protocol
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Q, QuerySet

from assets_app.people.models import Person
from assets_app.people.queries import sites_of
from assets_app.refusals import NotFound
from assets_app.register.models import Asset
from assets_app.statements import Given, Statement
from schedules.duty import rules
from schedules.duty.models import Counter, CounterForecast, Reading, Season, StressSpectrum
from schedules.duty.open_days import Span, open_mask

_SAME_MOMENT = 1e-6  # days; keeps moments rising through the hour that a clock goes back


class Curves(NamedTuple):
    """A counter's forecast for the engine. ``middle`` and ``early`` are None where there is no rate."""

    as_of: int
    total: float
    middle: rules.Floats | None
    early: rules.Floats | None
    silent: bool
    version: int


_OF_THESE = Q(asset=None) | Q(asset_id__one_of=Given("assets"))
_SEASONS = Statement(
    lambda: (
        Season.objects.filter(_OF_THESE, site_id__one_of=Given("sites"))
        .order_by("opens_month", "opens_day", "pk")
        .values_list("site_id", "asset_id", "opens_month", "opens_day", "closes_month", "closes_day", "weekdays")
    )
)


def counters_in_sight(person: Person) -> QuerySet[Counter]:
    return Counter.objects.filter(asset__site__in=sites_of(person)).select_related("asset__site")


def readings_in_sight(person: Person) -> QuerySet[Reading]:
    return Reading.objects.filter(counter__asset__site__in=sites_of(person)).select_related("counter", "posted_by")


def seasons_in_sight(person: Person) -> QuerySet[Season]:
    return Season.objects.filter(site__in=sites_of(person))


def spectra_in_sight(person: Person) -> QuerySet[StressSpectrum]:
    return StressSpectrum.objects.filter(joint__asset__site__in=sites_of(person))


def counter_in_sight(person: Person, counter_id: int) -> Counter:
    """The counter, or ``NotFound`` where the person has no role."""
    counter = counters_in_sight(person).filter(pk=counter_id).first()
    if counter is None:
        raise NotFound("not_found", "There is no counter here that you can see.")
    return counter


def seasons_of(asset: Asset) -> list[Span]:
    """The asset's own seasons, else the site's; empty means open every day."""
    return seasons_of_assets([asset])[asset.pk]


def seasons_of_assets(assets: Sequence[Asset]) -> dict[int, list[Span]]:
    """Seasons by asset, in one query."""
    return seasons_at({asset.pk: asset.site_id for asset in assets})


def seasons_at(sites: Mapping[int, int]) -> dict[int, list[Span]]:
    """The same for assets given as asset id -> site id."""
    own: dict[int, list[Span]] = {}
    whole_site: dict[int, list[Span]] = {}
    for site_id, asset_id, *days in _SEASONS.rows(assets=list(sites), sites=list(set(sites.values()))):
        place, key = (whole_site, site_id) if asset_id is None else (own, asset_id)
        place.setdefault(key, []).append(Span(*days))
    return {asset_id: own.get(asset_id) or whole_site.get(site_id, []) for asset_id, site_id in sites.items()}


def seasons_of_sites(site_ids: Iterable[int]) -> dict[int, list[Span]]:
    """The seasons of whole sites, by site; empty means open every day."""
    found: dict[int, list[Span]] = {site_id: [] for site_id in site_ids}
    for site_id, _, *days in _SEASONS.rows(assets=[], sites=list(found)):
        found[site_id].append(Span(*days))
    return found


def moment_of(at: datetime, zone: ZoneInfo) -> float:
    """Ordinal of the day on the site's clock plus the share of that day gone."""
    local = at.astimezone(zone)
    return local.toordinal() + (local.hour * 3600 + local.minute * 60 + local.second) / 86400


def points_of(shown: Iterable[tuple[datetime, float]], zone: ZoneInfo) -> list[rules.Point]:
    """(moment, total) on the site's clock from (time, total) in order of time; moments rise."""
    points: list[rules.Point] = []
    for at, total in shown:
        moment = moment_of(at, zone)
        if points and moment <= points[-1][0]:
            moment = points[-1][0] + _SAME_MOMENT
        points.append((moment, total))
    return points


def history_of(counter: Counter) -> list[rules.Point]:
    """(moment, total) of each reading of the counter."""
    shown = counter.readings.order_by("read_at").values_list("read_at", "total")
    return points_of(shown, ZoneInfo(counter.asset.site.time_zone))


def latest(counter_id: int) -> Reading | None:
    """The last reading, or None."""
    return Reading.objects.filter(counter_id=counter_id).order_by("-read_at").first()


def total_on(counter_id: int, day: date) -> float | None:
    """Count since commissioning on ``day``, as a look on that day counts from it.

    A reading on the day itself is used as it stands (the first, if several). Otherwise the total at the start of the
    day, between the readings around it, shared out over open days. After the last reading: that reading's total, the
    low side, so that what is counted since a look is never too little. Before the first one: from 0 at commissioning;
    None where that day is not known or lies later.
    """
    counter = Counter.objects.select_related("asset__site").get(pk=counter_id)
    readings = Reading.objects.filter(counter_id=counter_id)
    same_day = readings.filter(read_on=day).order_by("read_at").first()
    if same_day is not None:
        return same_day.total
    zone = ZoneInfo(counter.asset.site.time_zone)
    before = readings.filter(read_on__lt=day).order_by("-read_at").first()
    after = readings.filter(read_on__gt=day).order_by("read_at").first()
    commissioned = counter.asset.commissioned_on
    if before is not None:
        start = (moment_of(before.read_at, zone), before.total)
    elif commissioned is not None and commissioned <= day:
        start = (float(commissioned.toordinal()), 0.0)
    else:
        return None
    if after is None:
        return start[1]
    end = (moment_of(after.read_at, zone), after.total)
    return _between(start, end, float(day.toordinal()), seasons_of(counter.asset))


def _between(start: rules.Point, end: rules.Point, moment: float, spans: Sequence[Span]) -> float:
    """Total at ``moment``, the count shared out over the open days between; over all days where none is open."""
    if moment <= start[0]:
        return start[1]
    first, last = int(start[0]), int(end[0])
    is_open = open_mask(spans, first, last - first + 1).astype(np.float64)
    run = np.concatenate([[0.0], np.cumsum(is_open)])
    low, here, high = np.interp([start[0], moment, end[0]], np.arange(first, last + 2, dtype=np.float64), run)
    if high <= low:
        low, here, high = start[0], moment, end[0]
    return float(start[1] + (end[1] - start[1]) * (here - low) / (high - low))


def forecast_curves(counter_ids: Iterable[int], today: date, days: int) -> dict[int, Curves]:
    """Forecast of each counter over ``days`` days after its last reading, in one query.

    A counter without a rate (no usable reading) has None for both curves: what hangs on it is unrated.
    """
    wanted = list(counter_ids)
    none_yet = Curves(today.toordinal(), 0.0, None, None, True, 0)
    curves = dict.fromkeys(wanted, none_yet)
    for row in CounterForecast.objects.filter(counter_id__in=wanted):
        curves[row.counter_id] = _curves(row, today, days)
    return curves


def _curves(row: CounterForecast, today: date, days: int) -> Curves:
    if not rules.can_forecast(row.parameters):
        return Curves(row.as_of.toordinal(), row.total, None, None, True, row.version)
    middle, early = rules.curve(row.parameters, as_of=row.as_of, today=today, days=days)
    silent = rules.is_silent(row.parameters, as_of=row.as_of, today=today)
    return Curves(row.as_of.toordinal(), row.total, middle, early, silent, row.version)


class _Told(Protocol):
    """What of a forecast its basis is told from."""

    @property
    def parameters(self) -> dict[str, Any]: ...
    @property
    def as_of(self) -> date: ...
    @property
    def basis(self) -> str: ...


def basis_of(forecast: _Told, today: date) -> str:
    """The basis in words, with the silence of the counter as it stands today."""
    if not rules.can_forecast(forecast.parameters):
        return forecast.basis
    if rules.is_silent(forecast.parameters, as_of=forecast.as_of, today=today):
        return (
            f"Not read since {forecast.as_of:%-d %B %Y}, longer than the {forecast.parameters['read_every_days']} days "
            f"allowed: forecast at its busiest rate until read. {forecast.basis}"
        )
    return forecast.basis


def back_test_summary(counter_ids: Sequence[int]) -> list[str]:
    """How past forecasts of some counters did together, a line a horizon; forecasts weigh alike."""
    results = CounterForecast.objects.filter(counter_id__in=counter_ids).values_list("back_test", flat=True)
    rows = [row for result in results for row in result.get("horizons", []) if row["forecasts"]]
    lines = []
    for days in rules.HORIZONS:
        these = [row for row in rows if row["days"] == days]
        judged = sum(row["forecasts"] for row in these)
        if judged:
            below = sum(row["below_early_pct"] * row["forecasts"] for row in these) / judged
            miss = float(np.median([row["median_error_pct"] for row in these]))
            lines.append(
                f"{days} days ahead: {judged} forecasts of {len(these)} counters, median miss {miss:.1f} %, "
                f"{below:.1f} % below the early curve"
            )
    return lines


def seasons_in_words(asset: Asset) -> list[str]:
    """Each season as people say it: ``summer: 1 Apr to 31 Oct, Mon Tue``; weekdays only where some are closed."""
    own = Season.objects.filter(asset=asset)
    rows = own if own.exists() else Season.objects.filter(site_id=asset.site_id, asset=None)
    return [_season_in_words(season) for season in rows]


def _season_in_words(season: Season) -> str:
    opens, closes = (
        f"{day} {calendar.month_abbr[month]}"
        for month, day in ((season.opens_month, season.opens_day), (season.closes_month, season.closes_day))
    )
    days = (
        ""
        if "0" not in season.weekdays
        else ", " + " ".join(name for name, mark in zip(calendar.day_abbr, season.weekdays, strict=True) if mark == "1")
    )
    return f"{season.name}: {opens} to {closes}{days}"
