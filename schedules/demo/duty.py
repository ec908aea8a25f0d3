"""Counters, seasons and five years of readings: closed seasons, one meter exchanged, one rolled over, one silent."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from assets_app.people.models import Person
from assets_app.register.models import Asset, Site
from schedules.demo.places import SEASONS, ZONE, AssetData, assets_of, chance
from schedules.duty import actions
from schedules.duty.models import Counter, Reading, Season
from schedules.duty.open_days import day_table, open_mask

YEARS = 5
ROLLS_OVER = {"R-06": 10_000.0}
EXCHANGED = {"T-01": 900}  # days before today
SILENT = {"T-02": 52}  # days without a reading
READ_AT = time(17, 40)
WEEKDAY = {"larkmoor-pier": (0.7, 0.7, 0.8, 0.9, 1.1, 1.6, 1.5), "larkmoor-depot": (1.0, 1.1, 1.1, 1.0, 0.8, 1, 1)}
MONTH = {
    "larkmoor-pier": (0.5, 0.5, 0.6, 0.9, 1.0, 1.1, 1.4, 1.6, 0.9, 0.7, 0.5, 0.5),
    "larkmoor-depot": (0.8, 0.9, 1.0, 1.1, 1.1, 1.1, 1.0, 0.9, 1.0, 1.0, 0.9, 0.7),
}


@dataclass
class Duty:
    """One asset's count by the end of each day since it was commissioned, and its counter."""

    data: AssetData
    counter: Counter
    first_day: int
    totals: NDArray[np.float64]
    later: list[Reading] = field(default_factory=list)  # on the meter that came after the exchange

    def total_on(self, day: date) -> float:
        return float(self.totals[min(max(day.toordinal() - self.first_day, 0), len(self.totals) - 1)])

    def day_of(self, total: float) -> date:
        """The first day by whose end ``total`` was reached."""
        place = min(int(np.searchsorted(self.totals, total)), len(self.totals) - 1)
        return date.fromordinal(self.first_day + place)

    @property
    def now(self) -> float:
        return float(self.totals[-1])


def create_seasons(sites: dict[str, Site]) -> None:
    Season.objects.bulk_create(
        Season(site=sites[slug], name=name, **span._asdict()) for slug, spans in SEASONS.items() for name, span in spans
    )


def create(assets: dict[str, Asset], posters: dict[str, Person], *, today: date, small: bool) -> dict[str, Duty]:
    """Counters and their readings; asset's tag -> duty. ``posters``: who reads the counters, by site."""
    duties = {}
    for data in assets_of(small=small):
        asset = assets[data.tag]
        counter = Counter.objects.create(
            asset=asset, name=data.counter, unit=data.unit, rolls_over_at=ROLLS_OVER.get(data.tag)
        )
        assert asset.commissioned_on is not None
        duty = Duty(data, counter, asset.commissioned_on.toordinal(), _totals(data, asset.commissioned_on, today))
        _read(duty, posters[data.site], today)
        duties[data.tag] = duty
    return duties


def exchange(duty: Duty, *, actor: Person, now: datetime) -> None:
    """The meter is exchanged; what was read on the new one follows."""
    closing = duty.total_on(now.date())
    actions.exchange_meter(
        counter_id=duty.counter.pk,
        closing_value=closing,
        opening_value=0.0,
        at=now,
        actor=actor,
        now=now,
        source=Reading.Source.PAGE,
        note="old odometer stuck in the wet",
    )
    for reading in duty.later:
        reading.value = reading.total - closing
    Reading.objects.bulk_create(duty.later)


def _totals(data: AssetData, born: date, today: date) -> NDArray[np.float64]:
    """Whole counts by the end of each day up to yesterday: season, weekday, month, a slow growth, and chance."""
    first, days = born.toordinal(), today.toordinal() - born.toordinal()
    table = day_table(first, days)
    is_open = open_mask([span for _, span in SEASONS[data.site]], first, days)
    noise = np.random.default_rng(chance("duty", data.tag).randrange(2**32))
    trend = 1.0 + 0.02 * (np.arange(days) - days) / 365.25
    rate = data.a_day * np.array(WEEKDAY[data.site])[table.weekday] * np.array(MONTH[data.site])[table.month]
    daily = rate * trend.clip(0.6) * noise.lognormal(-0.03, 0.25, days)
    daily[noise.random(days) < 0.03] *= 0.3  # wind, rain, repairs
    return np.round(np.cumsum(np.where(is_open, daily, 0.0)))


def _read(duty: Duty, poster: Person, today: date) -> None:
    """Weekly readings, each some day early or late; none while closed but for one in mid-winter."""
    dice = chance("readings", duty.data.tag)
    day = max(date.fromordinal(duty.first_day + 7), today - timedelta(days=round(YEARS * 365.25)))
    last = today - timedelta(days=SILENT.get(duty.data.tag, 1))
    exchanged = today - timedelta(days=EXCHANGED[duty.data.tag]) if duty.data.tag in EXCHANGED else None
    rows: list[Reading] = []
    while day <= last:
        total = duty.total_on(day)
        if not rows or total > rows[-1].total or (day - rows[-1].read_on).days >= 60:
            rows.append(_row(duty, day, total, poster))
        day += timedelta(days=7 + dice.choice((-1, 0, 0, 0, 1)))
    if exchanged:
        duty.later = [row for row in rows if row.read_on > exchanged]
    Reading.objects.bulk_create([row for row in rows if exchanged is None or row.read_on < exchanged])


def _row(duty: Duty, day: date, total: float, poster: Person) -> Reading:
    at = datetime.combine(day, READ_AT, tzinfo=ZoneInfo(ZONE))
    rolls = duty.counter.rolls_over_at
    return Reading(
        counter=duty.counter,
        read_at=at,
        read_on=day,
        value=total % rolls if rolls else total,
        total=total,
        source=Reading.Source.PAGE if day.toordinal() % 3 else Reading.Source.API,
        posted_by=poster,
        posted_at=at + timedelta(minutes=4),
    )
