"""What an import would change: the plan of a file against what the register holds, and the writing of it in bulk."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from django.db.models import Model, QuerySet

from assets_app.register.gathering import Given, Key, Plan
from assets_app.register.models import Asset, BoltGroup, Joint, Member, Site, Weld

BATCH = 2000
FEW_ASSETS = 5000  # up to here they are asked for by id, beyond it the whole site is read


@dataclass
class Difference:
    """Of one sort of thing: rows to add, rows to change, and how many already are as the file says."""

    new: list[Any] = field(default_factory=list)
    changed: list[Any] = field(default_factory=list)
    unchanged: int = 0

    def counts(self) -> dict[str, int]:
        return {"new": len(self.new), "changed": len(self.changed), "unchanged": self.unchanged}


@dataclass
class Changes:
    """The whole difference. ``joints`` holds every joint of the file, new or not, by (asset tag, joint tag)."""

    by_target: dict[str, Difference]
    joints: dict[Key, Joint]

    def anything(self) -> bool:
        return any(each.new or each.changed for each in self.by_target.values())


def _differs(thing: Any, name: str, value: Any) -> bool:
    if isinstance(value, Model):  # by its id: the row it stands for is not read
        return bool(value.pk is None or getattr(thing, f"{name}_id") != value.pk)
    return bool(getattr(thing, name) != value)


class Comparison:
    """Compares a plan with a site. Problems that only the register can show are added to the plan's errors."""

    def __init__(self, plan: Plan, site: Site) -> None:
        self.plan, self.site = plan, site
        self.differences = {name: Difference() for name in ("asset", "member", "joint", "weld", "bolts")}

    def run(self) -> Changes:
        """Read in a fixed number of queries, compare, and return what is to be written."""
        assets = self._assets()
        members = self._members(assets)
        joints = self._joints(assets, members)
        self._sub("weld", Weld, joints)
        self._sub("bolts", BoltGroup, joints)
        return Changes(self.differences, joints)

    def _error(self, target: str, name: str, given: Given, value: Any, what: str, do: str) -> None:
        self.plan.errors.add(given.row, self.plan.column(target, name), value, what, do)

    def _settle(self, target: str, thing: Any, values: dict[str, Any], *, fresh: bool) -> None:
        """Put the values on the row and note whether it is new, changed or unchanged."""
        difference = self.differences[target]
        changed = fresh
        for name, value in values.items():
            if fresh or _differs(thing, name, value):
                setattr(thing, name, value)
                changed = True
        if fresh:
            difference.new.append(thing)
        elif changed:
            difference.changed.append(thing)
        else:
            difference.unchanged += 1

    def _assets(self) -> dict[str, Asset]:
        wanted = self.plan.things["asset"]
        held = {asset.tag: asset for asset in Asset.objects.filter(site=self.site)}
        found: dict[str, Asset] = {}
        for (tag,), given in wanted.items():
            asset = held.get(tag)
            if asset is None:
                if "kind" not in given.values:
                    known = ", ".join(Asset.Kind.values)
                    self._error(
                        "asset", "kind", given, "", f"The new asset {tag} has no kind.", f"Give one of {known}."
                    )
                given.values.setdefault("name", tag)
            self._settle("asset", asset or Asset(site=self.site, tag=tag), given.values, fresh=asset is None)
            found[tag] = asset or self.differences["asset"].new[-1]
        return found

    def _of_assets(self, rows: QuerySet[Any], assets: dict[str, Asset]) -> QuerySet[Any]:
        pks = [asset.pk for asset in assets.values() if asset.pk]
        return rows.filter(asset_id__in=pks) if len(pks) <= FEW_ASSETS else rows.filter(asset__site=self.site)

    def _members(self, assets: dict[str, Asset]) -> dict[Key, Member]:
        tags = {asset.pk: tag for tag, asset in assets.items() if asset.pk}
        rows = self._of_assets(Member.objects.all(), assets)
        found: dict[Key, Member] = {(tags[row.asset_id], row.tag): row for row in rows if row.asset_id in tags}
        for key, given in self.plan.things["member"].items():
            member = found.get(key)
            fresh = member is None
            member = member or Member(asset=assets[key[0]], tag=key[1])
            self._settle("member", member, given.values, fresh=fresh)
            found[key] = member
        return found

    def _joints(self, assets: dict[str, Asset], members: dict[Key, Member]) -> dict[Key, Joint]:
        if not self.plan.things["joint"]:
            return {}
        tags = {asset.pk: tag for tag, asset in assets.items() if asset.pk}
        rows = self._of_assets(Joint.objects.select_related("weld", "bolt_group"), assets)
        held = {(tags[row.asset_id], row.tag): row for row in rows if row.asset_id in tags}
        found: dict[Key, Joint] = {}
        for key, given in self.plan.things["joint"].items():
            joint = held.get(key)
            self._check_kind(key, given, joint)
            self._resolve_members(key, given, members)
            fresh = joint is None
            joint = joint or Joint(asset=assets[key[0]], tag=key[1])
            self._settle("joint", joint, given.values, fresh=fresh)
            found[key] = joint
        return found

    def _check_kind(self, key: Key, given: Given, joint: Joint | None) -> None:
        kind = given.values.get("kind")
        if joint is None and kind is None:
            self._error(
                "joint", "kind", given, "", f"The new joint {key[1]} is neither a weld nor bolted.", "Give its kind."
            )
        elif joint is not None and kind is not None and joint.kind != kind:
            self._error(
                "joint", "kind", given, kind, f"The register holds {key[1]} as {joint.get_kind_display()}.",
                "A joint cannot turn into another kind: set the old one inactive and add the new one.",
            )  # fmt: skip

    def _resolve_members(self, key: Key, given: Given, members: dict[Key, Member]) -> None:
        for name in ("member", "other_member"):
            tag = given.values.get(name)
            if tag is None or isinstance(tag, Member):
                continue
            member = members.get((key[0], tag))
            if member is None:
                self._error(
                    "joint",
                    name,
                    given,
                    tag,
                    f"Asset {key[0]} has no member {tag}.",
                    "Add the member, or correct the tag.",
                )
                given.values.pop(name)
            else:
                given.values[name] = member

    def _sub(self, target: str, model: type[Weld] | type[BoltGroup], joints: dict[Key, Joint]) -> None:
        """Weld or bolt group of each joint; a new joint always gets its own, filled or not."""
        said = self.plan.things[target]
        kind, link = ("weld", "weld") if target == "weld" else ("bolted", "bolt_group")
        for key, joint in joints.items():
            if joint.kind != kind:
                if key in said and joint.kind:
                    what = f"The register holds {key[1]} as {joint.get_kind_display()}."
                    self.plan.errors.add(said[key].row, self.plan.column("joint", "kind"), "", what, "Correct the row.")
                continue
            row = getattr(joint, link, None) if joint.pk else None
            values = said[key].values if key in said else {}
            if row is None or values:
                self._settle(target, row or model(joint=joint), values, fresh=row is None)


def write(changes: Changes) -> None:
    """Everything in bulk, the steel before what hangs on it. Belongs in the import's one transaction."""
    for target in ("asset", "member", "joint", "weld", "bolts"):
        difference = changes.by_target[target]
        if difference.new:
            type(difference.new[0])._default_manager.bulk_create(difference.new, batch_size=BATCH)
        if difference.changed:
            _upsert(difference.changed)


def _upsert(rows: list[Any]) -> None:
    model: type[Model] = type(rows[0])
    names = [column.name for column in model._meta.concrete_fields if not column.primary_key]
    key = model._meta.pk.name  # type: ignore[union-attr]  # every table has one
    model._default_manager.bulk_create(
        rows, batch_size=BATCH, update_conflicts=True, unique_fields=[key], update_fields=names
    )
