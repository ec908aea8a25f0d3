"""A made fleet in PostgreSQL and what the engine does with it. Run by ``bench.due_engine``, which starts the database.

Every joint has one look owed, limited by calendar, duty, damage and growth window; 1,000 joints hang on one asset
and its counter. Ratings are given, since they change with the steel and not with the counter.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta
from statistics import median
from typing import Any, NamedTuple

import django

django.setup()

from django.core.management import call_command  # noqa: E402
from django.db import connection, transaction  # noqa: E402

from assets_app.models import Asset, Person, Role, Site  # noqa: E402
from bench import due_pages, many_workers, plain_loop  # noqa: E402
from schedules.due import engine, store, sweeps  # noqa: E402
from schedules.due.copy_out import copied  # noqa: E402
from schedules.due.store import Scope  # noqa: E402
from schedules.duty import actions as duty  # noqa: E402
from schedules.models import Counter, DueDate, Programme, Reading  # noqa: E402

NOW = datetime(2026, 6, 15, 9, tzinfo=UTC)
TODAY = date(2026, 6, 15)
PER_ASSET = 1000
PARTS = ("recompute", "reading", "doors", "workers")


def build(joints: int, *, per_asset: int = PER_ASSET) -> Site:
    """A site with ``joints`` joints, by plain SQL where there are many."""
    site = Site.objects.create(slug=f"fleet-{joints}-{per_asset}", name=f"Fleet of {joints}", time_zone="UTC")
    count = max(joints // per_asset, 1)
    assets = Asset.objects.bulk_create(
        Asset(site=site, tag=f"T-{n:05d}", name="trailer", kind="trailer", commissioned_on=date(2020, 1, 1))
        for n in range(count)
    )
    counters = Counter.objects.bulk_create(Counter(asset=asset, name="cycles", unit="cycles") for asset in assets)
    days = [date(2025, 6, 1) + timedelta(days=14 * k) for k in range(27)]
    Reading.objects.bulk_create(
        (
            Reading(
                counter=counter, read_at=datetime(d.year, d.month, d.day, 20, tzinfo=UTC), read_on=d, source="api",
                value=(1000 + k * 1400) * 1.0, total=(1000 + k * 1400) * 1.0, posted_at=NOW,
            )
            for counter in counters
            for k, d in enumerate(days)
        ),
        batch_size=5000,
    )  # fmt: skip
    duty.refit_in_batches(counter_ids=[counter.pk for counter in counters], now=NOW)
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO assets_app_joint (asset_id, tag, name, kind, load_path, access, position, active, note) "
            "SELECT a.id, 'W-' || k, '', 'weld', 'single', 'easy', '', true, '' "
            "FROM assets_app_asset a, generate_series(1, %s) k WHERE a.site_id = %s ORDER BY a.id, k",
            [joints // count, site.pk],
        )
        cursor.execute(
            "INSERT INTO schedules_programme (joint_id, asset_id, method, calendar_months, duty_count, source, "
            "conditions, last_look_conditions, last_look_on, last_look_total, active) "
            "SELECT j.id, j.asset_id, 'MT', 12 + j.id %% 48, 20000 + (j.id * 7919) %% 90000, '', 'good', 'good', "
            "date '2025-07-01' + (j.id %% 300)::int, NULL, true "
            "FROM assets_app_joint j JOIN assets_app_asset a ON a.id = j.asset_id WHERE a.site_id = %s ORDER BY j.id",
            [site.pk],
        )
        cursor.execute(
            "INSERT INTO schedules_rating (programme_id, version, damage_per_count, damage_share, detectable_mm, "
            "critical_mm, window_count, looks, unprotected, incomplete, missing, inputs, edition, computed_at) "
            "SELECT p.id, 1, 1e-8 * (1 + p.id %% 900), 0.3, 1.9, 8, 30000 + (p.id * 104729) %% 400000, 3, false, "
            "false, '[]', '{}', 'bench', now() FROM schedules_programme p JOIN assets_app_asset a ON a.id = p.asset_id "
            "WHERE a.site_id = %s ORDER BY p.id",
            [site.pk],
        )
        cursor.execute("ANALYZE")
    return site


def timed(work: Callable[[], Any]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def shift_looks(site: Site, days: int, *, every: int = 1) -> None:
    """Move the last look of every n-th programme, so that exactly those have another date."""
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE schedules_programme p SET last_look_on = last_look_on + %s FROM assets_app_asset a "
            "WHERE a.id = p.asset_id AND a.site_id = %s AND p.id %% %s = 0",
            [days, site.pk, every],
        )
        cursor.execute("VACUUM ANALYZE schedules_programme")
        cursor.execute("VACUUM ANALYZE schedules_duedate")


def full(site: Site) -> int:
    sweep = sweeps.start(site=site, for_day=TODAY, now=NOW)
    assert sweep is not None
    sweeps.work_off(worker="bench", now=NOW)
    return sweeps.progress(sweep)["changed"]


class Floor:
    """The least: COPY the same inputs out, and upsert the same rows from a ready buffer, in plain SQL."""

    def __init__(self, site: Site) -> None:
        self.scope = Scope(asset_range=(0, 2**31), site_id=site.pk)
        captured: list[Any] = []
        original = store._merge_postgres
        store._merge_postgres = lambda columns, constants: captured.append((columns, constants))  # type: ignore[assignment]
        try:
            with transaction.atomic():
                engine.recompute(self.scope, now=NOW)
        finally:
            store._merge_postgres = original
        self.columns, self.constants = captured[0]
        self.rows = store.rows_of(self.columns)
        self.sql = store.select_sql(self.scope)

    def run(self) -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            copied(self.sql)
            self._upsert(cursor)

    def _upsert(self, cursor: Any) -> None:
        store.copy_in(cursor, "due_floor", self.rows)
        taken, written = ", ".join(store.taken("due_floor").values()), [*store.WRITTEN, *store.CONSTANT]
        updates = ", ".join(f"{name} = EXCLUDED.{name}" for name in written if name != "programme_id")
        cursor.execute(
            f"INSERT INTO schedules_duedate ({', '.join(written)}) SELECT {taken}, %s, %s, %s FROM due_floor "
            f"ORDER BY programme_id ON CONFLICT (programme_id) DO UPDATE SET {updates}",
            self.constants,
        )


def per_row(site: Site, rows: int) -> float:
    """Seconds that the plain loop over the ORM takes for ``rows`` joints."""
    programmes = Programme.objects.filter(asset__site=site).select_related("rating", "asset", "joint")
    return plain_loop.seconds(programmes.order_by("pk")[:rows], today=TODAY, now=NOW)


def bulk_orm(site: Site, rows: int) -> float:
    """The ORM's bulk upsert of ready rows (no reading, no computing)."""
    given = list(DueDate.objects.filter(site=site)[:rows])
    names = [f.attname for f in DueDate._meta.concrete_fields if f.attname != "programme_id"]
    names = [name.removesuffix("_id") for name in names]
    return timed(
        lambda: DueDate.objects.bulk_create(
            given, update_conflicts=True, unique_fields=["programme"], update_fields=names, batch_size=5000
        )
    )


def readings_in_turn(*sites: Site) -> list[float]:
    """Seconds from posting a reading on an asset of 1,000 joints to its new dates, for each site; the best of nine.

    The sites take turns, so that whatever else the machine does is borne by all of them.
    """
    person = Person.objects.get(username="bench")
    counters = [Asset.objects.filter(site=site).order_by("pk")[0].counters.get() for site in sites]
    before = [counter.readings.order_by("-read_at")[0].value for counter in counters]
    times: list[list[float]] = [[] for _ in sites]

    def post(place: int, turn: int) -> None:
        shown, read_at = before[place] + 200 * (turn + 1), NOW - timedelta(hours=10 - turn)
        duty.post_reading(
            counter_id=counters[place].pk,
            value=shown,
            read_at=read_at,
            actor=person,
            now=NOW,
            source="api",
            confirmed=True,
        )
        engine.recompute_stale(now=NOW)

    for turn in range(9):
        for place in range(len(sites)):
            times[place].append(timed(lambda place=place, turn=turn: post(place, turn)))  # type: ignore[misc]
    return [min(each) for each in times]


def gains_of_workers(site: Site) -> many_workers.Gains:
    """What a second worker gains on a full recompute with every date changing."""

    def lay_out() -> None:
        shift_looks(site, 1)
        sweeps.start(site=site, for_day=TODAY, now=NOW)
        connection.close()

    return many_workers.in_turn(lay_out)


class Seconds(NamedTuple):
    """Of a full recompute with every date changing, with every hundredth, and of the floor of the first."""

    every_date: float
    hundredth: float
    floor: float


def recomputes_in_turn(site: Site) -> Seconds:
    """The middle one of three each.

    They take turns on tables just vacuumed: both bear alike what the runs before left and what the machine does.
    """
    ours: list[float] = []
    hundredth: list[float] = []
    least: list[float] = []
    shift_looks(site, 1)
    floor = Floor(site)
    for _ in range(3):
        shift_looks(site, 1)
        ours.append(timed(lambda: full(site)))
        shift_looks(site, 1, every=100)
        hundredth.append(timed(lambda: full(site)))
        shift_looks(site, 0)
        least.append(timed(floor.run))
    full(site)  # the floor wrote the dates of before
    return Seconds(median(ours), median(hundredth), median(least))


def main(joints: int, parts: Sequence[str] = PARTS) -> list[dict[str, Any]]:
    """The rows of the chosen parts; all need the fleets, which take a third of the time."""
    if unknown := set(parts) - set(PARTS):
        raise SystemExit(f"BENCH_PARTS may name {', '.join(PARTS)}; not {', '.join(sorted(unknown))}.")
    call_command("migrate", verbosity=0)
    person = Person.objects.create_user("bench", password=None)
    sites: dict[int, Site] = {}
    for size in sorted({max(joints // 100, 1000), max(joints // 10, 1000), joints}):
        sites[size] = build(size)
        Role.objects.create(person=person, site=sites[size], name="engineer")
        full(sites[size])
    site, small = sites[joints], sites[min(sites)]
    rows: list[dict[str, Any]] = []
    if "recompute" in parts:
        rows += recompute_rows(sites)
    if "reading" in parts:
        rows.append(reading_row(small, site, joints, min(sites)))
    if "doors" in parts:
        rows += due_pages.rows_of(site, _as_varied(person, min(sites)))
    if "workers" in parts:
        rows += worker_rows(site)
    return rows


def recompute_rows(sites: dict[int, Site]) -> list[dict[str, Any]]:
    times = {size: recomputes_in_turn(site) for size, site in sites.items()}
    joints = max(sites)
    site, (every_s, one_percent_s, floor_s) = sites[joints], times[joints]
    rows = min(10_000, joints)
    plain_s, orm_s = per_row(site, min(rows, 2_000)) * rows / min(rows, 2_000), bulk_orm(site, rows)
    ours_s = every_s * rows / joints
    few = {"joints": rows, "ours_s": ours_s}
    sizes: dict[str, Any] = {
        "joints": joints,
        "seconds_by_fleet": {str(size): round(each.every_date, 2) for size, each in times.items()},
    }
    sizes["least_seconds_by_fleet"] = {str(size): round(each.floor, 2) for size, each in times.items()}
    return [
        row(
            "P1", "full recompute, every date changing, against COPY out and one upsert of the same rows",
            every_s / floor_s, 1.5, less=True, ours_s=every_s, floor_s=floor_s, **sizes,
        ),
        row(
            "P1b", "full recompute, 1 % of the dates changing, against the same floor",
            one_percent_s / floor_s, 0.5, less=True, joints=joints, ours_s=one_percent_s,
        ),
        row(
            "P2", "full recompute against the same dates one joint after the other through the ORM (scaled)",
            plain_s / ours_s, 100, per_row_s=plain_s, **few,
        ),
        row("P2b", "full recompute against the ORM's bulk upsert alone", orm_s / ours_s, 2, bulk_s=orm_s, **few),
    ]  # fmt: skip


def reading_row(small: Site, site: Site, joints: int, few: int) -> dict[str, Any]:
    shift_looks(site, 1)
    small_s, large_s = readings_in_turn(small, site)
    what = f"one reading, asset of 1,000 joints: cost in a fleet of {joints:,} against one of {few:,}"
    return row("P3", what, large_s / small_s, 1.2, less=True, large_s=large_s, small_s=small_s)


def worker_rows(site: Site) -> list[dict[str, Any]]:
    gains = gains_of_workers(site)
    return [
        row(
            "P9", "two workers against one, the middle one of the turns", median(gains.of_workers()), 1.8,
            one_s=median(gains.one), two_s=median(gains.two), peak_memory_mib_of_a_worker=gains.peak_memory,
            gain_in_each_turn=_rounded(gains.of_workers()),
        ),
        row(
            "P9b", "the same gain against that of two processes that share nothing, in the same turns",
            gains.share_of_the_machine(), 0.9, gain_of_the_machine_in_each_turn=_rounded(gains.of_the_machine),
        ),
    ]  # fmt: skip


def _as_varied(person: Person, joints: int) -> Site:
    """A small fleet whose page of the due list shows as many assets as that of a large one: 50 looks at 50 assets."""
    site = build(joints, per_asset=max(joints // 1000, 1))
    Role.objects.create(person=person, site=site, name="engineer")
    full(site)
    return site


def _rounded(values: list[float]) -> list[float]:
    return [round(each, 2) for each in values]


def row(key: str, what: str, ratio: float, goal: float, *, less: bool = False, **sizes: Any) -> dict[str, Any]:
    """One line of the report; ``less``: the ratio is to stay below the goal."""
    kept = {name: round(value, 4) if isinstance(value, float) else value for name, value in sizes.items()}
    found = {"key": key, "what": what, "ratio": round(ratio, 3), "goal": goal, "sizes": kept}
    return found | {"better": "less"} if less else found


if __name__ == "__main__":
    print(json.dumps(main(int(sys.argv[1]), sys.argv[2:] or PARTS)))
