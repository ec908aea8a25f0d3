"""Ratings of programmes, computed in bulk from what the register, the spectra and the policy say, and stored."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict
from datetime import date, datetime
from typing import Any

from django.db.models import OuterRef, Q, QuerySet, Subquery

from assets_app.register.models import Site
from engineering.tables import Table, build
from schedules.due import rating_rules
from schedules.due.fact_rules import Facts
from schedules.due.models import OfficeTable, Policy, Programme, Rating
from schedules.due.rating_rules import Rated
from schedules.duty.models import StressSpectrum

BATCH = 5000
_FIELDS = ["damage_per_count", "damage_share", "detectable_mm", "critical_mm", "window_count", "looks"]
_FIELDS += ["unprotected", "impossible"]


def refresh(where: Q, *, now: datetime, today: date) -> int:
    """Rate the programmes that ``where`` picks, store those whose rating changed; returns how many changed."""
    changed = 0
    for facts in _batches(load_facts(where, today=today)):
        changed += _store(rating_rules.rate(facts), now=now)
    return changed


def are_of_older_edition(site: Site) -> bool:
    """Whether some live programme of a site was rated by other methods than those of this edition."""
    rows = Rating.objects.filter(programme__asset__site=site, programme__active=True, programme__joint__active=True)
    return rows.exclude(programme__asset__status="retired").exclude(edition=rating_rules.EDITION).exists()


def load_facts(where: Q, *, today: date, policies: Mapping[int, Policy] | None = None) -> Iterator[Facts]:
    """The facts of the live programmes that ``where`` picks, a stream ordered by programme; ``policies`` on trial."""
    policies, own = policies or policies_of_sites(), office_tables()
    for row in _rows(where, today=today).iterator(chunk_size=BATCH):
        site_id = row["asset__site_id"]
        yield _facts(row, policies.get(site_id) or Policy(), own.get(site_id, {}))


def office_tables() -> dict[int, dict[str, Table | None]]:
    """Site id -> the tables by which it replaces shipped ones, as they govern now; ``None``: it cannot be read."""
    newest: dict[tuple[int, str], OfficeTable] = {}
    for row in OfficeTable.objects.order_by("set_at", "pk"):
        newest[row.site_id, row.table] = row
    tables: dict[int, dict[str, Table | None]] = {}
    for (site_id, name), row in newest.items():
        if not row.withdrawn:
            tables.setdefault(site_id, {})[name] = _built(name, row.data)
    return tables


def _built(name: str, data: Any) -> Table | None:
    try:
        return build(name, data)
    except rating_rules.UNEXPECTED:  # never the shipped one in its place, in silence
        return None


def policies_of_sites() -> dict[int, Policy]:
    """Site id -> the policy that governs now; a site without one has the defaults of ``Policy``."""
    return {policy.site_id: policy for policy in Policy.objects.order_by("set_at", "pk")}  # the newest comes last


def _rows(where: Q, *, today: date) -> QuerySet[Programme, dict[str, Any]]:
    newest = StressSpectrum.objects.filter(joint_id=OuterRef("joint_id"), valid_from__lte=today).order_by(
        "-valid_from", "-pk"
    )
    return (
        Programme.objects.filter(where, active=True, joint__active=True)
        .exclude(asset__status="retired")
        .annotate(**{f"spectrum_{name}": Subquery(newest.values(name)[:1]) for name in _SPECTRUM})
        .order_by("pk")
        .values(
            "pk",
            "joint_id",
            "method",
            "conditions",
            "last_look_conditions",
            *_JOINT,
            *(f"spectrum_{n}" for n in _SPECTRUM),
        )
    )


_SPECTRUM = ("bins", "kind", "peak_stress_mpa", "bending_share", "status", "source")
_JOINT = (
    "asset__site_id",
    "asset__consequence",
    "joint__kind",
    "joint__access",
    "joint__load_path",
    "joint__member__steel_grade",
    "joint__member__wall_mm",
    "joint__weld__wall_mm",
    "joint__weld__attachment_mm",
    "joint__weld__detail",
    "joint__weld__detail_category_mpa",
    "joint__bolt_group__detail",
    "joint__bolt_group__size",
)


def _facts(row: dict[str, Any], policy: Policy, tables: dict[str, Table | None]) -> Facts:
    welded = row["joint__kind"] == "weld"
    return Facts(
        programme_id=row["pk"],
        joint_id=row["joint_id"],
        kind=row["joint__kind"],
        method=row["method"],
        conditions=rating_rules.worse_conditions(row["conditions"], row["last_look_conditions"]),
        access=row["joint__access"],
        single_path=row["joint__load_path"] != "multiple",
        consequence=row["asset__consequence"],
        bins=row["spectrum_bins"] or (),
        stress_kind=row["spectrum_kind"] or "direct",
        peak_mpa=row["spectrum_peak_stress_mpa"],
        bending_share=row["spectrum_bending_share"] or 0.0,
        spectrum_status=row["spectrum_status"] or "",
        spectrum_source=row["spectrum_source"] or "",
        detail=(row["joint__weld__detail"] if welded else row["joint__bolt_group__detail"]) or "",
        category_mpa=row["joint__weld__detail_category_mpa"] if welded else None,
        wall_mm=row["joint__weld__wall_mm"] or row["joint__member__wall_mm"],
        attachment_mm=row["joint__weld__attachment_mm"],
        bolt_diameter_mm=_diameter(row["joint__bolt_group__size"]),
        steel_grade=row["joint__member__steel_grade"] or "",
        detection_chance=policy.detection_chance,
        share_single=policy.damage_share_single,
        share_other=policy.damage_share_other,
        looks_single=policy.looks_single,
        looks_other=policy.looks_other,
        lowest_service_c=policy.lowest_service_c,
        growth_law=policy.growth_law,
        tables=tables,
    )


def _diameter(size: str | None) -> float | None:
    found = re.fullmatch(r"M(\d+(?:\.\d+)?)", (size or "").strip().upper())
    return float(found.group(1)) if found else None


def _store(rated: list[Rated], *, now: datetime) -> int:
    before = {row.pk: row for row in Rating.objects.filter(pk__in=[r.programme_id for r in rated])}
    fresh: list[Rating] = []
    for each in rated:
        row = _as_row(each, now=now)
        old = before.get(each.programme_id)
        if old is not None and _same(old, row):
            continue
        row.version = old.version + 1 if old else 1
        fresh.append(row)
    Rating.objects.bulk_create(
        fresh,
        batch_size=1000,
        update_conflicts=True,
        unique_fields=["programme"],
        update_fields=["version", *_FIELDS, "incomplete", "missing", "inputs", "edition", "computed_at"],
    )
    return len(fresh)


def _as_row(rated: Rated, *, now: datetime) -> Rating:
    return Rating(
        programme_id=rated.programme_id,
        **{name: getattr(rated, name) for name in _FIELDS},
        incomplete=bool(rated.missing),
        missing=[asdict(item) for item in rated.missing],
        inputs=rated.inputs,
        edition=rating_rules.EDITION,
        computed_at=now,
    )


def _same(old: Rating, new: Rating) -> bool:
    compared = [*_FIELDS, "missing", "inputs", "edition"]
    return all(getattr(old, name) == getattr(new, name) for name in compared)


def _batches(facts: Iterable[Facts]) -> Iterator[list[Facts]]:
    batch: list[Facts] = []
    for each in facts:
        batch.append(each)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch
