"""Loads Larkmoor: the register first, then five years replayed in the order in which they happened.

One transaction: a load that fails leaves nothing. Deeds go through the same actions as a person's, at the moment at
which they happened, so that permissions, qualifications, severities and the record are as in life.
"""

from __future__ import annotations

import time as clock
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q

from assets_app import dispatch
from assets_app.record import actions as record
from assets_app.register.models import Site
from schedules.alerts import actions as alerts
from schedules.demo import crew, duty, looks, owed, places, steel, stress, work
from schedules.demo.people import DEPOT, PIER
from schedules.demo.routine import Routine
from schedules.demo.stage import Stage
from schedules.due import engine, ratings
from schedules.due.models import DueDate
from schedules.due.store import Scope
from schedules.duty.actions import refresh_forecasts
from schedules.duty.models import Counter

Say = Callable[[str], None]


def load(*, today: date, small: bool, say: Say) -> None:
    """Fill an empty database. ``say`` is told what is being done and how long it took."""
    began = clock.monotonic()

    def told(words: str) -> None:
        say(f"{clock.monotonic() - began:5.1f} s  {words}")

    with _without_worker(), transaction.atomic():
        stage = _set_the_stage(today, small, told)
        stage.play()
        told(f"{stage.played} deeds of five years replayed, {stage.routine.written} old looks that saw nothing written")
        _bring_up_to_date(stage)
        told("due dates computed, alerts raised")


@contextmanager
def _without_worker() -> Iterator[None]:
    """What deeds send to the workers runs here when all is committed: no worker need be there yet. Each task once, for
    it works off all there is."""
    owed: dict[str, Any] = {}

    def keep(task: Any) -> bool:
        owed[task.name] = task
        return True

    send, dispatch.send = dispatch.send, keep
    try:
        yield
        while owed:
            owed.popitem()[1]()
    finally:
        dispatch.send = send


def _set_the_stage(today: date, small: bool, told: Say) -> Stage:
    now = datetime.combine(today, time(0, 1), tzinfo=ZoneInfo(places.ZONE))
    sites, assets = places.create(today=today, small=small)
    people = crew.create(sites, today=today)
    built = steel.create(assets, today=today, small=small)
    told(f"{len(sites)} sites, {len(assets)} assets, {len(built)} joints")
    duty.create_seasons(sites)
    posters = {PIER: people["bram"], DEPOT: people["kez"]}
    duties = duty.create(assets, posters, today=today, small=small)
    stress.create(built, duties, people["maren"], today=today)
    programmes = owed.create_programmes(built, duties)
    refresh_forecasts(counter_ids=[each.counter.pk for each in duties.values()], now=now)
    ratings.refresh(Q(), now=now, today=today)
    told(f"{len(programmes)} looks owed, their readings and stress spectra")
    stage = Stage(
        today=today,
        now=now,
        sites=sites,
        assets=assets,
        people=people,
        built=built,
        duties=duties,
        routine=Routine(duties),
        small=small,
    )
    _begin_record(stage)
    looks.write_into(stage, owed.plan_looks(built, duties, today=today))
    work.write_into(stage)
    return stage


def _begin_record(stage: Stage) -> None:
    for site in stage.sites.values():
        joints = sum(each.data.site == site.slug for each in stage.built)
        content = {"note": "register, people, seasons and spectra as handed over", "joints": joints}
        record.append(
            site_id=site.pk,
            deed="site.opened",
            actor=None,
            subject=site,
            content=content,
            now=stage.begin,
        )


def _bring_up_to_date(stage: Stage) -> None:
    """Everything as it stands today: forecasts, ratings, due dates, alerts."""
    refresh_forecasts(counter_ids=list(Counter.objects.values_list("pk", flat=True)), now=stage.now)
    recompute_all(stage.now)
    alerts.raise_owed(now=stage.now)
    alerts.expand(now=stage.now)
    work.see_old_alerts(stage)


def recompute_all(now: datetime) -> None:
    """Every due date anew, each with the figures of that day."""
    engine.recompute_stale(now=now)
    DueDate.objects.all().delete()
    for site in Site.objects.all():
        scope = Scope(asset_range=(0, 2**31), site_id=site.pk)
        engine.recompute(scope, now=now, rate=engine.in_scope(scope))
