"""The facts behind life lines and *why then* sentences, for a page of due rows at once: a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from operator import attrgetter

import numpy as np

from assets_app.register.models import Joint
from schedules.due import sentences
from schedules.due.curves import AssetCurve, sources_of_assets
from schedules.due.growth_data import band_over_days
from schedules.due.known import NOTHING_KNOWN, known_of_joints
from schedules.due.life_line import LifeLine, Span, Stake, Window
from schedules.due.list_queries import DueRow
from schedules.due.queries import Explanation
from schedules.due.rules import LIMITS
from schedules.duty.open_days import Span as OpenSpan
from schedules.duty.open_days import open_mask
from schedules.duty.queries import seasons_at, seasons_of_assets

SHORT_REACH_DAYS = 366 * 12  # most windows close sooner; the few others ask for the whole forecast
SHORTEST_CLOSED_DAYS = 14  # shorter gaps are weekdays off, not a closed season


@dataclass(frozen=True)
class RowFacts:
    """One due row with its sentence and its life line."""

    sentence: str
    life: LifeLine
    missing: tuple[str, ...]


def facts_of_rows(rows: Sequence[DueRow], *, today: dict[int, date]) -> dict[int, RowFacts]:
    """Programme id -> sentence and life line; ``today`` gives each site's day."""
    if not rows:
        return {}
    gathered = Gathered(rows, today)
    return {row.programme_id: gathered.facts(row) for row in rows}


class Gathered:
    """Everything a page of rows needs, read once; ``today`` gives each site's day. Curves are drawn when asked for."""

    def __init__(self, rows: Sequence[DueRow], today: Mapping[int, date]) -> None:
        sites = {row.asset_id: row.site_id for row in rows}
        self.days = today
        self.seasons = seasons_at(sites)
        self.sources = sources_of_assets(sites, today=max(today.values()), seasons=self.seasons)
        self.near: dict[int, AssetCurve | None] = {}
        self.far: dict[int, AssetCurve] = {}  # to the horizon, for those whose row needs it
        self.known = known_of_joints([row.joint_id for row in rows])

    def key(self, row: DueRow) -> Hashable:
        """All that ``facts`` of the row are made from: equal only where they are the same."""
        source, known = self.sources.get(row.asset_id), self.known.get(row.joint_id)
        return (
            row._replace(rating_missing=None),
            repr(row.rating_missing),
            self.days[row.site_id],
            source and source.key,
            tuple(self.seasons.get(row.asset_id, ())),
            known and repr(known),
        )

    def facts(self, row: DueRow) -> RowFacts:
        today, curve = self.days[row.site_id], self._near(row.asset_id)
        told = self._told(row, curve, today)
        figures = tuple(dict.fromkeys(item["figure"] for item in row.rating_missing or ()))
        if row.unrated and not figures and curve is None:
            figures = ("counter reading",)
        life = self._life(row, curve, told.count_at_look, figures, today)
        return RowFacts(sentences.why(told), life, figures)

    def _near(self, asset_id: int) -> AssetCurve | None:
        if asset_id in self.sources and asset_id not in self.near:
            self.near[asset_id] = self.sources[asset_id].sound(SHORT_REACH_DAYS)
        return self.near.get(asset_id)

    def _told(self, row: DueRow, curve: AssetCurve | None, today: date) -> sentences.Facts:
        known = self.known.get(row.joint_id, NOTHING_KNOWN)
        return sentences.Facts(
            method=row.method,
            unit=curve.unit if curve else "counts",
            today=today,
            due_on=row.due_on,
            governing=row.governing,
            on=dict(zip(LIMITS, _limit_days(row), strict=True)),
            middle_on=_NO_DAYS | {row.governing: row.middle_on},
            last_look_on=row.last_look_on,
            born_on=row.born_on,
            months=row.calendar_months,
            duty_count=row.duty_count,
            duty_source=row.duty_source,
            count_now=row.count_now,
            count_at_look=_total_at_look(row, curve),
            damage_now=row.damage_now,
            damage_share=row.damage_share or 0.3,
            damage_applies=row.damage_on is not None,
            single_path=row.single_path,
            detectable_mm=row.detectable_mm,
            critical_mm=row.critical_mm,
            window_count=row.window_count,
            looks=3 if row.looks is None else row.looks,
            silent=bool(curve and curve.silent),
            reading_on=row.reading_on,
            unprotected_here=bool(row.unprotected_here),
            missing=missing_of(row.rating_missing or ()),
            finding=sentences.as_list(known.findings),
            owed={limit: words for method, limit, words in known.owed if method in ("", row.method)},
            excused_until=known.excused_until,
        )

    def _life(
        self, row: DueRow, curve: AssetCurve | None, at_look: float | None, figures: tuple[str, ...], today: date
    ) -> LifeLine:
        born, known = row.born_on, self.known.get(row.joint_id, NOTHING_KNOWN)
        first = min([today, *(look.on for look in known.looks), *([born] if born else [])])
        window = self._window(row, curve, at_look)
        ahead = [today, *(day for day in (row.due_on, row.next_on, window and window.closes) if day)]
        return LifeLine(
            today=today,
            commissioned=born,
            method=row.method,
            looks=known.looks,
            sizes=known.sizes,
            window=window,
            due=Stake(row.due_on, row.governing) if row.due_on else None,
            next=Stake(row.next_on, row.next_limit) if row.next_on else None,
            closed=closed_spans(self.seasons.get(row.asset_id, []), first, max(ahead) + timedelta(days=400)),
            missing=_missing_words(figures) if row.unrated else "",
            unprotected=bool(row.unprotected_here),
        )

    def _window(self, row: DueRow, curve: AssetCurve | None, at_look: float | None) -> Window | None:
        """From the last look (else commissioning) to the day the window's counts are used up, by the early forecast."""
        if row.window_count is None or curve is None or row.detectable_mm is None or row.critical_mm is None:
            return None
        opens = row.last_look_on or row.born_on
        if opens is None:
            return None
        total = (curve.total_on(opens) if at_look is None else at_look) + row.window_count
        closes = curve.day_of(total) or self._far_day_of(row.asset_id, total)
        return closes and Window(opens, max(closes, opens), row.detectable_mm, row.critical_mm)

    def _far_day_of(self, asset_id: int, total: float) -> date | None:
        if asset_id not in self.far:
            self.far[asset_id] = self.sources[asset_id].curve()
        return self.far[asset_id].day_of(total)


_limit_days = attrgetter(*(limit.replace(" ", "_") + "_on" for limit in LIMITS))
_NO_DAYS: dict[str, date | None] = dict.fromkeys(LIMITS)


def life_of(told: Explanation, joint: Joint) -> LifeLine:
    """The life line of one programme just explained."""
    today, joint_id = told.worked.today, joint.pk
    born = joint.installed_on or joint.asset.commissioned_on
    known = known_of_joints([joint_id]).get(joint_id, NOTHING_KNOWN)
    window = None
    if told.window and told.window_opens_on and told.window_closes_on:
        window = Window(told.window_opens_on, told.window_closes_on, *told.window)
    first = min([today, *(look.on for look in known.looks), *([born] if born else [])])
    ahead = [today, *(day for day in (told.due_on, told.next_on, told.window_closes_on) if day)]
    seasons = seasons_of_assets([joint.asset]).get(joint.asset_id, [])
    return LifeLine(
        today=today,
        commissioned=born,
        method=told.method,
        looks=known.looks,
        sizes=known.sizes,
        band=band_over_days(joint_id, told.worked.curve),
        window=window,
        due=Stake(told.due_on, told.governing) if told.due_on else None,
        next=Stake(told.next_on, told.next_limit) if told.next_on else None,
        closed=closed_spans(seasons, first, max(ahead) + timedelta(days=400)),
        missing=_missing_words([item.split(" (")[0] for item in told.missing]) if told.unrated else "",
        unprotected=told.unprotected_here,
    )


def missing_of(items: Iterable[Mapping[str, str]]) -> dict[str, list[str]]:
    """Limit -> what is missing and what to do, as the sentences take it, from what a rating keeps."""
    found: dict[str, list[str]] = defaultdict(list)
    for item in items:
        found[item["limit"]].append(f"{item['figure']} ({item['to_do']})")
    return dict(found)


def _missing_words(figures: Sequence[str]) -> str:
    return sentences.as_list(figures) + " not known" if figures else "a figure is missing"


def _total_at_look(row: DueRow, curve: AssetCurve | None) -> float | None:
    if row.last_look_on is None or curve is None:
        return row.last_look_total
    return curve.total_noted(row.last_look_total, row.last_look_on)


def closed_spans(seasons: Sequence[OpenSpan], first: date, last: date) -> list[Span]:
    """Closed seasons between two days; weekdays off within a season do not count."""
    if not seasons or last <= first:
        return []
    whole_weeks = [span._replace(weekdays="1111111") for span in seasons]
    start = first.toordinal()
    shut = ~open_mask(whole_weeks, start, (last - first).days + 1)
    edges = np.flatnonzero(np.diff(np.r_[False, shut, False].astype(np.int8)))
    runs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [
        (date.fromordinal(start + a), date.fromordinal(start + b - 1)) for a, b in runs if b - a >= SHORTEST_CLOSED_DAYS
    ]
