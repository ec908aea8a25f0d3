"""One joint's due dates worked out afresh from what stands in the database, with any input changed on trial.

The page's *why then*, *the sum* and *what if* all rest on this; nothing is written.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db.models import Q

from assets_app.refusals import NotFound, Unprocessable
from schedules.due import engine, ratings, store
from schedules.due.curves import AssetCurve, curves_of_assets
from schedules.due.fact_rules import Facts
from schedules.due.models import Policy, Programme
from schedules.due.rating_rules import Rated, rate
from schedules.due.rules import LIMITS, NO_DAY, Due, Owed, born_totals, due_dates, look_totals
from schedules.due.store import Columns, Scope

STEEL_INPUTS = frozenset(field.name for field in fields(Facts)) - {"programme_id", "joint_id", "kind", "method"}
PROGRAMME_INPUTS = frozenset({"calendar_months", "duty_count"})


@dataclass(frozen=True)
class WorkedOut:
    """One programme worked out: what went in, what came out."""

    programme: Programme
    today: date
    facts: Facts
    rated: Rated
    policy: Policy
    curve: AssetCurve | None
    read: Columns
    owed: Owed
    due: Due
    row: int  # of this programme in read, owed and due

    def day(self, days: Any) -> date | None:
        value = int(days[self.row])
        return None if value >= NO_DAY else date.fromordinal(value)

    @property
    def due_on(self) -> date | None:
        return self.day(self.due.due)

    @property
    def governing(self) -> str:
        place = int(self.due.governing[self.row])
        return LIMITS[place] if place >= 0 else ""

    @property
    def count_now(self) -> float | None:
        if self.curve is None:
            return None
        return self.curve.total_on(self.today)

    @property
    def born_total(self) -> float | None:
        curves = [self.curve.curve] if self.curve else []
        return _number(born_totals(self.owed, curves)[self.row])

    @property
    def look_total(self) -> float | None:
        curves = [self.curve.curve] if self.curve else []
        return _number(look_totals(self.owed, curves, born_totals(self.owed, curves))[self.row])

    @property
    def damage_now(self) -> float | None:
        if self.count_now is None or self.rated.damage_per_count is None or self.born_total is None:
            return None
        return (self.count_now - self.born_total) * self.rated.damage_per_count


def work_out(programme_id: int, *, now: datetime, changes: Mapping[str, Any] | None = None) -> WorkedOut:
    """Work out one programme as of ``now``, with ``changes`` on trial.

    ``changes`` may name any of ``STEEL_INPUTS`` (mm, MPa, counts; see ``fact_rules.Facts``) or ``PROGRAMME_INPUTS``.
    Raises ``NotFound`` (``not_found``) and ``Unprocessable`` (``unknown_input``).
    """
    changes = dict(changes or {})
    unknown = sorted(set(changes) - STEEL_INPUTS - PROGRAMME_INPUTS)
    if unknown:
        raise Unprocessable("unknown_input", f"There is no input called {unknown[0]!r}.", field=unknown[0])
    programme = _programme(programme_id)
    site = programme.asset.site
    today = engine.site_day(site, now)
    facts = list(ratings.load_facts(Q(joint_id=programme.joint_id), today=today))
    trial = {name: value for name, value in changes.items() if name in STEEL_INPUTS}
    facts = [replace(each, **trial) if each.programme_id == programme_id else each for each in facts]
    rated = {each.programme_id: each for each in rate(facts)}
    read = {
        name: column.copy() for name, column in store.read_programmes(Scope(joint_ids=[programme.joint_id])).items()
    }
    _patch(read, rated, programme_id, changes)
    policy = ratings.policies_of_sites().get(site.pk) or Policy()
    curves = curves_of_assets([programme.asset_id], today=today)
    owed = engine.gather(read, curves, policy, today=today)
    due = due_dates(owed, [each.curve for each in curves.values()])
    row = int(np.flatnonzero(read["programme_id"] == programme_id)[0])
    return WorkedOut(
        programme=programme,
        today=today,
        facts=next(each for each in facts if each.programme_id == programme_id),
        rated=rated[programme_id],
        policy=policy,
        curve=curves.get(programme.asset_id),
        read=read,
        owed=owed,
        due=due,
        row=row,
    )


def _programme(programme_id: int) -> Programme:
    live = Programme.objects.filter(active=True, joint__active=True).exclude(asset__status="retired")
    found = live.select_related("joint", "asset__site").filter(pk=programme_id).first()
    if found is None:
        raise NotFound("not_found", "No look of this kind is owed there.")
    return found


def _patch(read: Columns, rated: dict[int, Rated], programme_id: int, changes: Mapping[str, Any]) -> None:
    """Put the ratings just worked out, and the programme's figures on trial, into the columns read."""
    for place, pk in enumerate(read["programme_id"].tolist()):
        each = rated[pk]
        for name in ("damage_per_count", "damage_share", "window_count"):
            value = getattr(each, name)
            read[name][place] = np.nan if value is None else value
        read["looks"][place] = each.looks
        read["rating_unprotected"][place] = each.unprotected
        read["rating_missing"][place] = bool(each.missing)
        read["rating_impossible"][place] = each.impossible
        if pk == programme_id:
            if "calendar_months" in changes:
                read["calendar_months"][place] = changes["calendar_months"] or 0
            if "duty_count" in changes:
                read["duty_count"][place] = np.nan if changes["duty_count"] is None else changes["duty_count"]


def _number(value: Any) -> float | None:
    return None if np.isnan(value) else float(value)
