"""Deeds on the register one by one: assets, members and joints. Files go through ``importer.py``.

A length, stress or force may be given as a number in the field's unit or as text with a unit (``3/8 in``). None or an
empty text clears a field: it is then not known.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Q
from django.forms.models import model_to_dict

from assets_app import events
from assets_app.people import queries as people
from assets_app.people.models import Person
from assets_app.record.actions import append
from assets_app.record.queries import came_first
from assets_app.refusals import Conflict, NotFound, Unprocessable
from assets_app.register.columns import FIELDS, CellError, Ways
from assets_app.register.models import Asset, BoltGroup, Joint, Member, Site, Weld

UNITS = {"length": "mm", "stress": "MPa", "force": "kN"}
LINKS = ("member", "other_member")


@transaction.atomic
def create_asset(*, site_id: int, actor: Person, now: datetime, **values: Any) -> Asset:
    """Add an asset. Refusals: ``not_found``, ``role_lacks_right``, ``fields``, ``tag_taken``."""
    people.require(actor, "register.change", site_id)
    _lock_site(site_id)
    asset = Asset(site_id=site_id)
    _assign(asset, "asset", values)
    _save(asset, Asset.objects.filter(site_id=site_id))
    _record(asset, "asset.created", actor, now, after=_told(asset), asset=asset)
    return asset


@transaction.atomic
def change_asset(*, asset_id: int, actor: Person, now: datetime, **values: Any) -> Asset:
    """Change the given fields of an asset; its joints' due dates follow. Refusals as for ``create_asset``."""
    asset = _asset(asset_id, actor)
    before = _told(asset)
    _assign(asset, "asset", values)
    if _told(asset) == before:
        return asset
    _save(asset, Asset.objects.filter(site_id=asset.site_id))
    _record(asset, "asset.changed", actor, now, before=before, after=_told(asset), asset=asset)
    _tell(asset.joints.values_list("pk", flat=True), "asset changed", now)
    return asset


@transaction.atomic
def create_member(*, asset_id: int, actor: Person, now: datetime, **values: Any) -> Member:
    """Add a member to an asset. Refusals: ``not_found``, ``role_lacks_right``, ``fields``, ``tag_taken``."""
    asset = _asset(asset_id, actor)
    member = Member(asset=asset)
    _assign(member, "member", values)
    _save(member, asset.members.all())
    _record(member, "member.created", actor, now, after=_told(member), asset=asset)
    return member


@transaction.atomic
def change_member(*, member_id: int, actor: Person, now: datetime, **values: Any) -> Member:
    """Change the given fields of a member; the joints at it follow. Refusals as for ``create_member``."""
    asset_id = Member.objects.filter(pk=member_id).values_list("asset_id", flat=True).first()
    asset = _asset(asset_id, actor)
    member = Member.objects.select_for_update().get(pk=member_id)
    before = _told(member)
    _assign(member, "member", values)
    if _told(member) == before:
        return member
    _save(member, asset.members.all())
    _record(member, "member.changed", actor, now, before=before, after=_told(member), asset=asset)
    touched = Joint.objects.filter(Q(member=member) | Q(other_member=member)).values_list("pk", flat=True)
    _tell(touched, "member changed", now)
    return member


@transaction.atomic
def create_joint(
    *,
    asset_id: int,
    actor: Person,
    now: datetime,
    weld: dict[str, Any] | None = None,
    bolt_group: dict[str, Any] | None = None,
    **values: Any,
) -> Joint:
    """Add a joint with its weld or its bolts; ``member`` and ``other_member`` are ids of members of the asset.

    Refusals: ``not_found``, ``role_lacks_right``, ``fields``, ``tag_taken``, ``member_elsewhere``, ``wrong_kind``.
    """
    asset = _asset(asset_id, actor)
    joint = Joint(asset=asset)
    _assign_joint(joint, values)
    _save(joint, asset.joints.all())
    _steel(joint, weld, bolt_group)
    _record(joint, "joint.created", actor, now, after=_told_joint(joint), asset=asset, joint_id=joint.pk)
    _tell([joint.pk], "joint added", now)
    return joint


@transaction.atomic
def change_joint(
    *,
    joint_id: int,
    actor: Person,
    now: datetime,
    weld: dict[str, Any] | None = None,
    bolt_group: dict[str, Any] | None = None,
    **values: Any,
) -> Joint:
    """Change the given fields of a joint, its weld or its bolts. Refusals as for ``create_joint``; ``kind_fixed``."""
    asset_id = Joint.objects.filter(pk=joint_id).values_list("asset_id", flat=True).first()
    asset = _asset(asset_id, actor)
    joint = Joint.objects.select_for_update().get(pk=joint_id)
    if values.get("kind", joint.kind) != joint.kind:
        raise Conflict(
            "kind_fixed", "A joint cannot turn into another kind: set it inactive and add the new one.", field="kind"
        )
    before = _told_joint(joint)
    _assign_joint(joint, values)
    _save(joint, asset.joints.all())
    _steel(joint, weld, bolt_group)
    after = _told_joint(joint)
    if after != before:
        _record(joint, "joint.changed", actor, now, before=before, after=after, asset=asset, joint_id=joint.pk)
        _tell([joint.pk], "joint changed", now)
    return joint


# Parts ----------------------------------------------------------------------------------------------------------------


def _lock_site(site_id: int) -> None:
    """Register writes of a site go one after another, and after an import at work."""
    if Site.objects.select_for_update(no_key=True).filter(pk=site_id).first() is None:
        raise NotFound("not_found", "There is nothing here that you can see.")


def _asset(asset_id: int | None, actor: Person) -> Asset:
    """The asset, the right to change it, and the lock on its site."""
    asset = Asset.objects.filter(pk=asset_id).first() if asset_id else None
    if asset is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    people.require(actor, "register.change", asset.site_id)
    _lock_site(asset.site_id)
    asset.refresh_from_db()
    return asset


def _assign(thing: Any, target: str, values: dict[str, Any], *, prefix: str = "") -> None:
    """Put the values on the row, read as a file's cells are, and let the table's own rules judge them."""
    for name, value in values.items():
        field = FIELDS[target].get(name)
        if field is None or field.column is None:
            raise Unprocessable("fields", f"There is no field {name!r} here.", field=prefix + name)
        if value is None or value == "":
            value = None if field.column.null else field.column.get_default()
        elif isinstance(value, str):
            try:
                value = field.take(value, Ways(UNITS.get(field.unit, ""))).value
            except CellError as error:
                raise Unprocessable("fields", str(error), field=prefix + name) from error
        setattr(thing, name, value)
    try:
        thing.clean_fields(exclude=["site", "asset", "joint", *LINKS])
    except ValidationError as error:
        name, messages = next(iter(error.message_dict.items()))
        raise Unprocessable("fields", f"{name.replace('_', ' ')}: {' '.join(messages)}", field=prefix + name) from error


def _assign_joint(joint: Joint, values: dict[str, Any]) -> None:
    for name in LINKS:
        if name in values:
            pk = values.pop(name)
            if pk and not Member.objects.filter(pk=pk, asset_id=joint.asset_id).exists():
                raise Unprocessable("member_elsewhere", "That member is not one of this asset.", field=name)
            setattr(joint, f"{name}_id", pk or None)
    _assign(joint, "joint", values)


def _steel(joint: Joint, weld: dict[str, Any] | None, bolts: dict[str, Any] | None) -> None:
    """The weld or the bolts of the joint; a joint always has the one of its kind."""
    is_weld = joint.kind == Joint.Kind.WELD
    if bolts if is_weld else weld:
        word = "bolts" if is_weld else "weld"
        raise Unprocessable("wrong_kind", f"A {joint.get_kind_display()} joint has no {word}.", field="kind")
    model: type[Weld] | type[BoltGroup] = Weld if is_weld else BoltGroup
    row = model.objects.filter(joint=joint).first() or model(joint=joint)
    given = (weld if is_weld else bolts) or {}
    _assign(row, "weld" if is_weld else "bolts", given, prefix="weld." if is_weld else "bolt_group.")
    row.save()


def _save(thing: Any, siblings: Any) -> None:
    same = siblings.filter(tag=thing.tag).exclude(pk=thing.pk).first()
    if same is not None:
        raise _tag_taken(same)
    try:
        with transaction.atomic():
            thing.save()
    except IntegrityError:
        same = siblings.filter(tag=thing.tag).exclude(pk=thing.pk).first()
        if same is None:
            raise
        raise _tag_taken(same) from None


def _tag_taken(same: Any) -> Conflict:
    """What came by a file has no entry of its own: then it is only said what stands."""
    what = f"{same._meta.verbose_name} {same.tag} {same.name}".strip()
    said = f"There already is a {what} here. Change that one, or give this one another tag."
    return came_first("tag_taken", said, type(same), same.pk, field="tag", stands=same.pk)


def _told(thing: Any) -> dict[str, Any]:
    return {name: value for name, value in model_to_dict(thing).items() if name not in ("id", "site", "asset", "joint")}


def _told_joint(joint: Joint) -> dict[str, Any]:
    model: type[Weld] | type[BoltGroup] = Weld if joint.kind == Joint.Kind.WELD else BoltGroup
    row = model.objects.filter(joint=joint).first()
    return {**_told(joint), "steel": _told(row) if row else {}}


def _record(
    thing: Any, deed: str, actor: Person, now: datetime, *, asset: Asset, joint_id: int | None = None, **content: Any
) -> None:
    append(
        site_id=asset.site_id,
        deed=deed,
        actor=actor,
        subject=thing,
        content=content,
        now=now,
        asset_id=asset.pk,
        joint_id=joint_id,
    )


def _tell(joint_ids: Iterable[int], why: str, now: datetime) -> None:
    touched = list(joint_ids)
    if touched:
        events.joints_changed.send(sender=Joint, joint_ids=touched, why=why, now=now)
