"""The facts behind life lines and *why then* sentences, for a page of due rows at once: a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db.models import Max

from assets_app.inspections.kinds import KINDS
from assets_app.inspections.models import Assessment, Finding, FindingSize, Inspection
from assets_app.register.models import Joint
from schedules.due import sentences
from schedules.due.curves import AssetCurve, curves_of_assets
from schedules.due.growth_data import band_over_days
from schedules.due.life_line import LifeLine, Look, Size, Span, Stake, Window
from schedules.due.models import DueDate, OwedLook, Rating
from schedules.due.queries import Explanation
from schedules.due.rules import LIMITS
from schedules.duty.open_days import Span as OpenSpan
from schedules.duty.open_days import open_mask
from schedules.duty.queries import seasons_of_assets

SHORTEST_CLOSED_DAYS = 14  # shorter gaps are weekdays off, not a closed season


@dataclass(frozen=True)
class RowFacts:
    """One due row with its sentence and its life line."""

    sentence: str
    life: LifeLine
    missing: tuple[str, ...]


def facts_of_rows(rows: Sequence[DueDate], *, today: dict[int, date]) -> dict[int, RowFacts]:
    """Programme id -> sentence and life line; ``today`` gives each site's day."""
    if not rows:
        return {}
    context = _Context(rows, max(today.values()))
    return {row.programme_id: context.facts(row, today[row.site_id]) for row in rows}


class _Context:
    """Everything a page of rows needs, read once."""

    def __init__(self, rows: Sequence[DueDate], today: date) -> None:
        joints = [row.joint_id for row in rows]
        assets = {row.asset_id: row.asset for row in rows}
        self.curves = curves_of_assets(assets, today=today)
        self.seasons = seasons_of_assets(list(assets.values()))
        self.looks = _looks(joints)
        self.sizes = _sizes(joints)
        self.findings = _findings(joints)
        self.owed = _owed(joints)
        ends = Assessment.objects.filter(joint_id__in=joints, finding=None).values_list("joint_id")
        self.excused: dict[int, date] = dict(ends.annotate(Max("ends_on")).order_by())

    def facts(self, row: DueDate, today: date) -> RowFacts:
        rating = getattr(row.programme, "rating", None)
        curve = self.curves.get(row.asset_id)
        missing = missing_of(rating)
        told = self._told(row, rating, curve, missing, today)
        figures = tuple(dict.fromkeys(item[1] for item in missing_items(rating)))
        if row.unrated and not figures and curve is None:
            figures = ("counter reading",)
        life = self._life(row, rating, curve, figures, today)
        return RowFacts(sentences.why(told), life, figures)

    def _told(
        self,
        row: DueDate,
        rating: Rating | None,
        curve: AssetCurve | None,
        missing: dict[str, list[str]],
        today: date,
    ) -> sentences.Facts:
        programme, on = row.programme, {name: getattr(row, name.replace(" ", "_") + "_on") for name in LIMITS}
        owed = {limit: words for (joint, method, limit), words in self.owed.items()
                if joint == row.joint_id and method in ("", row.method)}  # fmt: skip
        return sentences.Facts(
            method=row.method,
            unit=curve.unit if curve else "counts",
            today=today,
            due_on=row.due_on,
            governing=row.governing,
            on=on,
            middle_on=dict.fromkeys(LIMITS, None) | {row.governing: row.middle_on},
            last_look_on=programme.last_look_on,
            born_on=row.joint.installed_on or row.asset.commissioned_on,
            months=programme.calendar_months,
            duty_count=programme.duty_count,
            duty_source=programme.source,
            count_now=row.count_now,
            count_at_look=_total_at_look(row, curve),
            damage_now=row.damage_now,
            damage_share=(rating.damage_share if rating and rating.damage_share else 0.3),
            damage_applies=row.damage_on is not None,
            single_path=row.joint.is_single_load_path,
            detectable_mm=rating.detectable_mm if rating else None,
            critical_mm=rating.critical_mm if rating else None,
            window_count=rating.window_count if rating else None,
            looks=rating.looks if rating else 3,
            silent=bool(curve and curve.silent),
            reading_on=row.reading_on,
            unprotected_here=bool(rating and rating.unprotected),
            missing=missing,
            finding=sentences.as_list(self.findings.get(row.joint_id, [])),
            owed=owed,
            excused_until=self.excused.get(row.joint_id),
        )

    def _life(
        self,
        row: DueDate,
        rating: Rating | None,
        curve: AssetCurve | None,
        figures: tuple[str, ...],
        today: date,
    ) -> LifeLine:
        born = row.joint.installed_on or row.asset.commissioned_on
        looks = self.looks.get(row.joint_id, [])
        first = min([today, *(look.on for look in looks), *([born] if born else [])])
        window = _window(row, rating, curve)
        ahead = [today, *(day for day in (row.due_on, row.next_on, window and window.closes) if day)]
        return LifeLine(
            today=today,
            commissioned=born,
            method=row.method,
            looks=looks,
            sizes=self.sizes.get(row.joint_id, []),
            window=window,
            due=Stake(row.due_on, row.governing) if row.due_on else None,
            next=Stake(row.next_on, row.next_limit) if row.next_on else None,
            closed=closed_spans(self.seasons.get(row.asset_id, []), first, max(ahead) + timedelta(days=400)),
            missing=_missing_words(figures) if row.unrated else "",
            unprotected=bool(rating and rating.unprotected),
        )


def life_of(told: Explanation, joint: Joint) -> LifeLine:
    """The life line of one programme just explained."""
    today, joint_id = told.worked.today, joint.pk
    born = joint.installed_on or joint.asset.commissioned_on
    looks, sizes = _looks([joint_id]).get(joint_id, []), _sizes([joint_id]).get(joint_id, [])
    window = None
    if told.window and told.window_opens_on and told.window_closes_on:
        window = Window(told.window_opens_on, told.window_closes_on, *told.window)
    first = min([today, *(look.on for look in looks), *([born] if born else [])])
    ahead = [today, *(day for day in (told.due_on, told.next_on, told.window_closes_on) if day)]
    seasons = seasons_of_assets([joint.asset]).get(joint.asset_id, [])
    return LifeLine(
        today=today,
        commissioned=born,
        method=told.method,
        looks=looks,
        sizes=sizes,
        band=band_over_days(joint_id, told.worked.curve),
        window=window,
        due=Stake(told.due_on, told.governing) if told.due_on else None,
        next=Stake(told.next_on, told.next_limit) if told.next_on else None,
        closed=closed_spans(seasons, first, max(ahead) + timedelta(days=400)),
        missing=_missing_words([item.split(" (")[0] for item in told.missing]) if told.unrated else "",
        unprotected=told.unprotected_here,
    )


def missing_items(rating: Rating | None) -> list[tuple[str, str, str]]:
    """(limit, figure, what to do) of a rating."""
    return [(item["limit"], item["figure"], item["to_do"]) for item in (rating.missing if rating else [])]


def missing_of(rating: Rating | None) -> dict[str, list[str]]:
    """Limit -> what is missing and what to do, as the sentences take it."""
    found: dict[str, list[str]] = defaultdict(list)
    for limit, figure, to_do in missing_items(rating):
        found[limit].append(f"{figure} ({to_do})")
    return dict(found)


def _missing_words(figures: Sequence[str]) -> str:
    return sentences.as_list(figures) + " not known" if figures else "a figure is missing"


def _total_at_look(row: DueDate, curve: AssetCurve | None) -> float | None:
    programme = row.programme
    if programme.last_look_total is not None or curve is None:
        return programme.last_look_total
    return None if programme.last_look_on is None else curve.total_at_look(programme.last_look_on)


def _window(row: DueDate, rating: Rating | None, curve: AssetCurve | None) -> Window | None:
    """From the last look (else commissioning) to the day the window's counts are used up, by the early forecast."""
    if rating is None or rating.window_count is None or curve is None:
        return None
    opens = row.programme.last_look_on or row.joint.installed_on or row.asset.commissioned_on
    if opens is None or rating.detectable_mm is None or rating.critical_mm is None:
        return None
    start = _total_at_look(row, curve)
    start = curve.total_on(opens) if start is None else start
    found = int(curve.curve.day_of(np.array([start + rating.window_count]), early=True)[0])
    if found >= date.max.toordinal():
        return None
    closes = date.fromordinal(found)
    return Window(opens, max(closes, opens), rating.detectable_mm, rating.critical_mm)


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


def _looks(joint_ids: Iterable[int]) -> dict[int, list[Look]]:
    rows = Inspection.objects.filter(joint_id__in=list(joint_ids)).exclude(result=Inspection.Result.INCOMPLETE)
    looks: dict[int, list[Look]] = defaultdict(list)
    for joint_id, on, method, result in rows.order_by().values_list("joint_id", "inspected_on", "method", "result"):
        looks[joint_id].append(Look(on, method, result == Inspection.Result.FINDINGS))
    return {joint_id: sorted(found) for joint_id, found in looks.items()}


def _sizes(joint_ids: Iterable[int]) -> dict[int, list[Size]]:
    """Measured depths of open cracks, the deepest a day."""
    cracks = [code for code, kind in KINDS.items() if kind.is_crack]
    rows = FindingSize.objects.filter(
        finding__joint_id__in=list(joint_ids),
        finding__kind__in=cracks,
        finding__state__in=["open", "assessed"],
        depth_mm__isnull=False,
    )
    deepest: dict[int, dict[date, float]] = defaultdict(dict)
    for joint_id, on, depth in rows.order_by().values_list("finding__joint_id", "measured_on", "depth_mm"):
        deepest[joint_id][on] = max(depth, deepest[joint_id].get(on, 0.0))
    return {joint_id: [Size(on, depth) for on, depth in sorted(days.items())] for joint_id, days in deepest.items()}


def _findings(joint_ids: Iterable[int]) -> dict[int, list[str]]:
    rows = Finding.objects.filter(joint_id__in=list(joint_ids), state__in=["open", "assessed"])
    words: dict[int, list[str]] = defaultdict(list)
    for row in rows.exclude(severity="record"):
        kind = KINDS[row.kind].name if row.kind in KINDS else row.kind
        assessed = ", assessed" if row.state == "assessed" else ""
        words[row.joint_id].append(f"{kind} found on {sentences.day(row.found_on)} ({row.severity}{assessed})")
    return words


def _owed(joint_ids: Iterable[int]) -> dict[tuple[int, str, str], str]:
    rows = OwedLook.objects.filter(joint_id__in=list(joint_ids), satisfied_by=None, withdrawn_why="")
    words: dict[tuple[int, str, str], str] = {}
    for row in rows.order_by("due_on"):
        source = f" ({row.source})" if row.source else ""
        words.setdefault((row.joint_id, row.method, row.limit), row.why + source)
    return words
