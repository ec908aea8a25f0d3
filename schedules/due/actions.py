"""Writes of the due floor: programmes, policy, looks made, looks owed, and the marks that set the engine going."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models import Q
from django.forms.models import model_to_dict

from assets_app import dispatch
from assets_app.inspections.models import Inspection, Method
from assets_app.people import queries as people
from assets_app.people.models import Person
from assets_app.record.actions import append
from assets_app.refusals import Conflict, NotFound, Unprocessable
from assets_app.register.models import Asset, Joint
from engineering import tables
from engineering.errors import InputError
from schedules.due.known import owed_methods
from schedules.due.models import Limit, OfficeTable, OwedLook, Policy, Programme, StaleMark
from schedules.due.rating_rules import worse_conditions

PROGRAMME_FIELDS = ("calendar_months", "duty_count", "source", "conditions", "active")
# Looks that people ask for at a day of their own -> the deed in the record.
FIXED_BY_PEOPLE: dict[str, str] = {Limit.FIXED: "fixed_day.set", Limit.LOAD_CHANGE: "load_change.noted"}
POLICY_FIELDS = (
    "damage_share_single",
    "damage_share_other",
    "looks_single",
    "looks_other",
    "detection_chance",
    "watch_days",
    "plan_repair_days",
    "repair_look_days",
    "bolt_recheck_days",
    "due_soon_days",
    "lowest_service_c",
    "growth_law",
)


@transaction.atomic
def set_programme(*, joint_id: int, method: str, actor: Person, now: datetime, **changes: Any) -> Programme:
    """Say what is owed on a joint by a method; makes the programme or changes it.

    ``changes``: any of ``PROGRAMME_FIELDS``. Refusals: ``not_found``, ``role_lacks_right``, ``unknown_method``,
    ``fields`` (naming the field).
    """
    joint = _joint(joint_id)
    people.require(actor, "programme.change", joint.asset.site_id)
    if method not in Method.values:
        raise Unprocessable("unknown_method", f"Method must be one of {', '.join(Method.values)}.", field="method")
    programme = Programme.objects.select_for_update().filter(joint=joint, method=method).first()
    if programme is None:
        programme = Programme(joint=joint, asset_id=joint.asset_id, method=method, **_looks_so_far(joint, method))
    before = model_to_dict(programme, PROGRAMME_FIELDS)
    _assign(programme, changes, PROGRAMME_FIELDS)
    programme.save()
    append(
        site_id=joint.asset.site_id,
        deed="programme.changed",
        actor=actor,
        subject=programme,
        content={"method": method, "before": before, "after": model_to_dict(programme, PROGRAMME_FIELDS)},
        now=now,
        asset_id=joint.asset_id,
        joint_id=joint.pk,
    )
    mark_joints_stale(joint_ids=[joint.pk], why="programme changed", now=now, rating_too=True)
    return programme


@transaction.atomic
def set_policy(*, site_id: int, actor: Person, now: datetime, reason: str, **changes: Any) -> Policy:
    """Set a site's shares, looks and lead times: adds a row, the old ones stay as history.

    Refusals: ``not_found``, ``role_lacks_right``, ``reason_missing``, ``fields``.
    """
    people.require(actor, "policy.change", site_id)
    if not reason.strip():
        raise Unprocessable("reason_missing", "Say why the policy changes.", field="reason")
    before = Policy.objects.filter(site_id=site_id).first() or Policy(site_id=site_id)
    policy = Policy(site_id=site_id, reason=reason, set_by=actor, set_at=now)
    for name in POLICY_FIELDS:
        setattr(policy, name, getattr(before, name))
    _assign(policy, changes, POLICY_FIELDS)
    policy.save()
    append(
        site_id=site_id,
        deed="policy.changed",
        actor=actor,
        subject=policy,
        content={
            "reason": reason,
            "before": model_to_dict(before, POLICY_FIELDS),
            "after": model_to_dict(policy, POLICY_FIELDS),
        },
        now=now,
    )
    mark_site_stale(site_id=site_id, why="policy changed", now=now)
    return policy


@transaction.atomic
def replace_table(
    *, site_id: int, table: str, data: dict[str, Any], reason: str, actor: Person, now: datetime
) -> OfficeTable:
    """Put an office's own table in place of a shipped one; every rating of the site follows.

    ``data`` has the keys of a shipped table (title, source, edition, status, caution, rows). Refusals: ``not_found``,
    ``role_lacks_right``, ``reason_missing``, ``unknown_table``, ``table_malformed`` naming what is wrong.
    """
    people.require(actor, "table.replace", site_id)
    if table not in tables.shipped():
        known = ", ".join(tables.shipped())
        raise Unprocessable("unknown_table", f"There is no table {table!r}; there are: {known}.", field="table")
    try:
        built = tables.build(table, data)
        _same_columns(built, tables.load(table))
    except (InputError, TypeError, KeyError, ValueError) as error:
        raise Unprocessable("table_malformed", str(error), field="data") from error
    return _write_table(site_id, table, actor, now, reason=reason, title=built.title, data=data)


@transaction.atomic
def restore_table(*, site_id: int, table: str, reason: str, actor: Person, now: datetime) -> OfficeTable:
    """Bring the shipped table back."""
    people.require(actor, "table.replace", site_id)
    if table not in tables.shipped():
        raise Unprocessable("unknown_table", f"There is no table {table!r}.", field="table")
    return _write_table(site_id, table, actor, now, reason=reason, title="as shipped", withdrawn=True)


def _write_table(site_id: int, table: str, actor: Person, now: datetime, *, reason: str, **fields: Any) -> OfficeTable:
    if not reason.strip():
        raise Unprocessable("reason_missing", "Say why the table changes.", field="reason")
    row = OfficeTable.objects.create(site_id=site_id, table=table, reason=reason, set_by=actor, set_at=now, **fields)
    append(
        site_id=site_id,
        deed="table.restored" if row.withdrawn else "table.replaced",
        actor=actor,
        subject=row,
        content={"table": table, "title": row.title, "reason": reason, "data": row.data},
        now=now,
    )
    mark_site_stale(site_id=site_id, why=f"table {table} changed", now=now)
    return row


def _same_columns(own: tables.Table, shipped: tables.Table) -> None:
    """Every row must have the columns that all shipped rows have, or the figures could not be computed."""
    provenance = {"source", "edition", "status", "caution", "note"}  # a row takes these from its table
    needed = set.intersection(*(set(row.cells) for row in shipped.rows.values())) - provenance
    for row in own.rows.values():
        lacking = sorted(needed - set(row.cells))
        if lacking:
            raise InputError(own.name, f"row {row.id!r} lacks {', '.join(lacking)}", code="shape")


def owe_look(
    *,
    joint_id: int,
    limit: str,
    why: str,
    now: datetime,
    method: str = "",
    due_on: date | None = None,
    due_total: float | None = None,
    source: str = "",
) -> OwedLook:
    """Owe one look for one reason (after work, fixed, sweep, load change), inside the deed that causes it.

    A look answers it from the site's own day on: that is when it is owed since.
    """
    _in_transaction()
    site = Joint.objects.select_related("asset__site").get(pk=joint_id).asset.site
    owed = OwedLook.objects.create(
        joint_id=joint_id,
        method=method,
        limit=Limit(limit).value,
        due_on=due_on,
        due_total=due_total,
        why=why,
        source=source,
        owed_since=people.day_at(site, now),
    )
    mark_joints_stale(joint_ids=[joint_id], why=f"{limit} look owed", now=now)
    return owed


@transaction.atomic
def fix_day(
    *,
    joint_id: int,
    due_on: date,
    why: str,
    actor: Person,
    now: datetime,
    method: str = "",
    source: str = "",
    limit: str = Limit.FIXED,
) -> OwedLook:
    """Fix a day by which a joint must be looked at: as the maker, an authority or an insurer asks (limit *fixed*), or
    since a repair, a settlement or lost bolts nearby raised the stress here (limit *load change*).

    Refusals: ``not_found``, ``role_lacks_right``, ``reason_missing``, ``unknown_limit``, ``unknown_method``,
    ``method_not_owed``.
    """
    joint = _joint(joint_id)
    people.require(actor, "programme.change", joint.asset.site_id)
    if not why.strip():
        raise Unprocessable("reason_missing", "Say who fixes this day, and why.", field="why")
    if limit not in FIXED_BY_PEOPLE:
        raise Unprocessable("unknown_limit", f"It is one of {', '.join(FIXED_BY_PEOPLE)}.", field="limit")
    _check_owed_there(joint, method)
    owed = owe_look(joint_id=joint_id, limit=limit, why=why, now=now, method=method, due_on=due_on, source=source)
    append(
        site_id=joint.asset.site_id,
        deed=FIXED_BY_PEOPLE[limit],
        actor=actor,
        subject=owed,
        content={"due_on": due_on, "method": method, "why": why, "source": source},
        now=now,
        asset_id=joint.asset_id,
        joint_id=joint.pk,
    )
    return owed


@transaction.atomic
def withdraw_owed_look(*, owed_id: int, reason: str, actor: Person, now: datetime) -> OwedLook:
    """Take back a look that people asked for once, as one given by mistake; the dates of the joint follow.

    Never the look after work, which the work itself asks for. Refusals: ``not_found``, ``role_lacks_right``,
    ``reason_missing``, ``after_work_stands``, ``answered_already`` (and who withdrew it or which look answered it).
    """
    owed = OwedLook.objects.select_for_update().filter(pk=owed_id).first()
    joint = _joint(owed.joint_id if owed else 0)
    people.require(actor, "owed_look.withdraw", joint.asset.site_id)
    assert owed is not None
    if not reason.strip():
        raise Unprocessable("reason_missing", "Say why the look is not needed.", field="reason")
    if owed.limit == Limit.AFTER_WORK:
        message = "The work that was done asks for this look. It ends with the look itself."
        raise Unprocessable("after_work_stands", message)
    if owed.satisfied_by or owed.withdrawn_why:
        raise Conflict("answered_already", _answered_words(owed))
    owed.withdrawn_why = reason.strip()[:240]
    owed.save(update_fields=["withdrawn_why"])
    append(
        site_id=joint.asset.site_id,
        deed="owed_look.withdrawn",
        actor=actor,
        subject=owed,
        content={"limit": owed.limit, "due_on": owed.due_on, "asked_for": owed.why, "reason": owed.withdrawn_why},
        now=now,
        asset_id=joint.asset_id,
        joint_id=joint.pk,
    )
    mark_joints_stale(joint_ids=[joint.pk], why="owed look withdrawn", now=now)
    return owed


def _answered_words(owed: OwedLook) -> str:
    if owed.satisfied_by:
        look = owed.satisfied_by
        return f"The look of {look.inspected_on:%-d %b %Y} by {look.inspector.display_name} has answered it already."
    return f"It was withdrawn already: {owed.withdrawn_why}"


def _check_owed_there(joint: Joint, method: str) -> None:
    """A day hangs on a look that is owed; by a method that nobody owes there it would bind nothing, in silence."""
    if method and method not in Method.values:
        raise Unprocessable("unknown_method", f"Method must be one of {', '.join(Method.values)}.", field="method")
    owed = owed_methods([joint.pk]).get(joint.pk, ())
    if not owed:
        message = f"Nothing is owed on {joint.tag}: first say what is to be looked at, and by which method."
        raise Unprocessable("method_not_owed", message, field="method")
    if method and method not in owed:
        message = (
            f"No {method} is owed on {joint.tag}, only {', '.join(owed)}: choose one of these, or owe {method} first."
        )
        raise Unprocessable("method_not_owed", message, field="method")


def note_look(*, inspection: Inspection, now: datetime) -> None:
    """A look was recorded: it is the last look of its programme if it counts and none is later, and answers what was
    owed. Inside the transaction that records it."""
    _in_transaction()
    joint_id, method, on = inspection.joint_id, inspection.method, inspection.inspected_on
    if inspection.counts_as_look:
        programme = Programme.objects.select_for_update().filter(joint_id=joint_id, method=method).first()
        if programme and (programme.last_look_on is None or programme.last_look_on <= on):
            programme.last_look_on = on
            programme.last_look_total = inspection.counter_total
            programme.last_look_conditions = inspection.conditions
            programme.save(update_fields=["last_look_on", "last_look_total", "last_look_conditions"])
        OwedLook.objects.filter(
            Q(method="") | Q(method=method), joint_id=joint_id, satisfied_by=None, withdrawn_why="", owed_since__lte=on
        ).update(satisfied_by=inspection)
    mark_joints_stale(joint_ids=[joint_id], why="looked at", now=now, rating_too=True)


# --- marks ------------------------------------------------------------------------------------------------------------


def mark_joints_stale(*, joint_ids: Iterable[int], why: str, now: datetime, rating_too: bool = False) -> None:
    """Mark joints as owed a recompute, in the caller's transaction; work starts after commit."""
    rows = Joint.objects.filter(pk__in=list(joint_ids)).values_list("pk", "asset_id")
    marks = [
        StaleMark(asset_id=asset_id, joint_id=joint_id, rating_too=rating_too, why=why, marked_at=now)
        for joint_id, asset_id in rows
    ]
    _write(marks)


def mark_assets_stale(*, asset_ids: Iterable[int], why: str, now: datetime, rating_too: bool = False) -> None:
    """Mark all joints of some assets by one row an asset."""
    _write([StaleMark(asset_id=pk, rating_too=rating_too, why=why, marked_at=now) for pk in asset_ids])


def mark_site_stale(*, site_id: int, why: str, now: datetime) -> None:
    """Mark every asset of a site, ratings too."""
    pks = Asset.objects.filter(site_id=site_id).values_list("pk", flat=True)
    mark_assets_stale(asset_ids=pks, why=why, now=now, rating_too=True)


def _write(marks: list[StaleMark]) -> None:
    _in_transaction()
    if marks:
        StaleMark.objects.bulk_create(marks)
        transaction.on_commit(_start_work, robust=True)


def _start_work() -> None:
    from schedules.due.tasks import recompute_stale

    dispatch.send(recompute_stale)


def _in_transaction() -> None:
    if not connection.in_atomic_block:
        raise RuntimeError("this belongs in the transaction of the change that causes it")


def _joint(joint_id: int) -> Joint:
    joint = Joint.objects.select_related("asset").filter(pk=joint_id).first()
    if joint is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    return joint


def _looks_so_far(joint: Joint, method: str) -> dict[str, Any]:
    """The last look that was made before anybody owed one."""
    looks = Inspection.objects.filter(joint=joint, method=method).exclude(result=Inspection.Result.INCOMPLETE)
    last = looks.order_by("-inspected_on", "-pk").first()
    if last is None:
        return {}
    return {
        "last_look_on": last.inspected_on,
        "last_look_total": last.counter_total,
        "last_look_conditions": worse_conditions("", last.conditions),
    }


def _assign(row: Programme | Policy, changes: dict[str, Any], allowed: tuple[str, ...]) -> None:
    """Set the changed fields and let the model's own validators judge them; a bad one is refused by name."""
    for name, value in changes.items():
        if name not in allowed:
            raise Unprocessable("fields", f"There is no field {name!r} here.", field=name)
        if isinstance(value, float) and not math.isfinite(value):
            raise Unprocessable("fields", f"{name.replace('_', ' ')}: this is no number.", field=name)
        setattr(row, name, value)
    try:
        row.full_clean(validate_constraints=False, validate_unique=False)
    except ValidationError as error:
        name, messages = next(iter(error.message_dict.items()))
        raise Unprocessable("fields", f"{name.replace('_', ' ')}: {' '.join(messages)}", field=name) from error
