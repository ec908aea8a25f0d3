"""What another policy would move, worked out before it is saved. Nothing is written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db.models import Q

from assets_app.register.models import Site
from schedules.due import engine, ratings, store
from schedules.due.curves import curves_of_assets
from schedules.due.models import Policy
from schedules.due.rating_rules import rate
from schedules.due.rules import LIMITS, NO_DAY, Due, due_dates
from schedules.due.store import Scope

MOST = 20_000  # programmes worked out while somebody waits; the first ones, and the page says so
SHOWN = 20


@dataclass(frozen=True)
class Moved:
    """One look whose date would move."""

    joint_id: int
    method: str
    was: date | None
    would_be: date | None
    governing: str


@dataclass(frozen=True)
class Trial:
    """What a changed policy moves: how many looks earlier, later, unmoved; those that move most."""

    tried: int
    in_all: int
    earlier: int
    later: int
    newly_overdue: int
    most: tuple[Moved, ...]
    governing: dict[str, int]


def try_policy(site: Site, changes: Mapping[str, Any], *, now: datetime) -> Trial:
    """Work out the site's dates with ``changes`` to its policy and compare them with those that stand."""
    today = engine.site_day(site, now)
    standing = ratings.policies_of_sites().get(site.pk) or Policy(site=site)
    trial = Policy(**{f.attname: getattr(standing, f.attname) for f in Policy._meta.concrete_fields})
    for name, value in changes.items():
        setattr(trial, name, value)
    read = store.read_programmes(Scope(asset_range=(0, 2**62), site_id=site.pk))
    in_all = len(read["programme_id"])
    read = {name: column[:MOST].copy() for name, column in read.items()}
    before = _due(read, standing, today)
    after = _due(_rated_anew(read, site, trial, today), trial, today)
    return _compared(read, before, after, today=today, in_all=in_all)


def _due(read: store.Columns, policy: Policy, today: date) -> Due:
    curves = curves_of_assets(np.unique(read["asset_id"]).tolist(), today=today)
    return due_dates(engine.gather(read, curves, policy, today=today), [each.curve for each in curves.values()])


def _rated_anew(read: store.Columns, site: Site, policy: Policy, today: date) -> store.Columns:
    fresh = {name: column.copy() for name, column in read.items()}
    place = {pk: row for row, pk in enumerate(read["programme_id"].tolist())}
    facts = [
        fact
        for fact in ratings.load_facts(Q(asset__site=site), today=today, policies={site.pk: policy})
        if fact.programme_id in place
    ]
    for rated in rate(facts):
        row = place[rated.programme_id]
        for name in ("damage_per_count", "damage_share", "window_count"):
            value = getattr(rated, name)
            fresh[name][row] = np.nan if value is None else value
        fresh["looks"][row] = rated.looks
    return fresh


def _compared(read: store.Columns, before: Due, after: Due, *, today: date, in_all: int) -> Trial:
    was, would_be = before.due.astype(np.int64), after.due.astype(np.int64)
    shift = would_be - was
    order = np.argsort(-np.abs(shift), kind="stable")[:SHOWN]
    most = tuple(
        Moved(
            joint_id=int(read["joint_id"][row]),
            method=str(read["method"][row]),
            was=_date(was[row]),
            would_be=_date(would_be[row]),
            governing=_limit(after, row),
        )
        for row in order.tolist()
        if shift[row]
    )
    overdue = (would_be < today.toordinal()) & (was >= today.toordinal())
    return Trial(
        tried=len(was),
        in_all=in_all,
        earlier=int((shift < 0).sum()),
        later=int((shift > 0).sum()),
        newly_overdue=int(overdue.sum()),
        most=most,
        governing=dict(Counter(_limit(after, row) for row in range(len(was)))),
    )


def _limit(due: Due, row: int) -> str:
    place = int(due.governing[row])
    return LIMITS[place] if place >= 0 else "none"


def _date(day: int) -> date | None:
    return None if day >= NO_DAY else date.fromordinal(int(day))
