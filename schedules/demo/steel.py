"""Members and joints from the drawings; what is owed on each; which figures nobody knows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from random import Random

from assets_app.register.models import Asset, BoltGroup, Joint, Member, Weld
from schedules.demo.drawings import Bolts, Family, Welds, families_of
from schedules.demo.places import AssetData, assets_of, chance

UNKNOWN_SHARE = 0.08  # joints of which some figure is not known
BY_EYE_SHARE = 0.08  # welds on more than one load path that are only looked at by eye
LOST_FIGURES = ("access", "detail", "grade", "spectrum", "wall", "peak")
MAKER = "maker's manual"


@dataclass
class Built:
    """One joint with what the loader must know of it later."""

    joint: Joint
    family: Family
    data: AssetData
    lost: str  # the figure nobody knows; empty: all are known
    methods: dict[str, int]  # method -> longest months allowed
    detailed: str = ""  # MT or ET, where owed

    @property
    def welded(self) -> bool:
        return isinstance(self.family, Welds)


def create(assets: dict[str, Asset], *, today: date, small: bool) -> list[Built]:
    """All members and joints, in the order of the assets."""
    built: list[Built] = []
    for data in assets_of(small=small):
        built += _asset(data, assets[data.tag], today)
    return built


def _asset(data: AssetData, asset: Asset, today: date) -> list[Built]:
    families = families_of(data.name)
    members = _members(families, asset)
    dice = chance("steel", data.tag)
    built = []
    numbers = {"W": 0, "B": 0}
    for family, n in _each(families, data.joints):
        letter = "W" if isinstance(family, Welds) else "B"
        numbers[letter] += 1
        lost = dice.choice(LOST_FIGURES) if dice.random() < UNKNOWN_SHARE else ""
        if lost in ("wall", "peak") and letter == "B":
            lost = "spectrum"
        member = members["unknown" if lost == "grade" else "plain" if lost == "wall" else family.section]
        joint = Joint(
            asset=asset,
            member=member,
            tag=f"{letter}-{numbers[letter]:03d}",
            name=family.name.format(n=n),
            kind="weld" if letter == "W" else "bolted",
            load_path="unknown" if lost == "access" and dice.random() < 0.5 else family.path,
            access="" if lost == "access" else family.access,
            position=f"{data.place}, {dice.choice(('north', 'south', 'east', 'west'))} side",
        )
        methods, detailed = _owed(family, dice)
        built.append(Built(joint, family, data, lost, methods, detailed))
    Joint.objects.bulk_create([each.joint for each in built])
    Weld.objects.bulk_create([_weld(each) for each in built if each.welded])
    BoltGroup.objects.bulk_create([_group(each) for each in built if not each.welded])
    return built


def _each(families: list[Family], joints: int) -> Iterator[tuple[Family, int]]:
    """Every joint of the asset: each family in proportion to its share, numbered from 1."""
    whole = sum(family.share for family in families)
    left = joints
    for place, family in enumerate(families):
        last = place == len(families) - 1
        count = left if last else min(left, max(1, round(joints * family.share / whole)))
        left -= count
        yield from ((family, n) for n in range(1, count + 1))


def _members(families: list[Family], asset: Asset) -> dict[str, Member]:
    """One member a section, and two of which the drawing does not say all."""
    rows: dict[str, Member] = {}
    for family in families:
        tag = f"M-{len(rows) + 1:02d}"
        member = Member(asset=asset, tag=tag, section=family.section, steel_grade=family.grade, wall_mm=family.wall)
        rows.setdefault(family.section, member)
    rows["unknown"] = Member(asset=asset, tag="M-90", name="repair of an earlier owner", section="PL 12", wall_mm=12)
    rows["plain"] = Member(asset=asset, tag="M-91", name="hidden behind cladding", steel_grade="S275JR")
    Member.objects.bulk_create(rows.values())
    return rows


def _owed(family: Family, dice: Random) -> tuple[dict[str, int], str]:
    """Methods owed with their longest months: eyes everywhere, bolts checked, the critical welds by MT or ET too."""
    roll = dice.random()
    if isinstance(family, Bolts):
        return {"VT": 36, "BC": 24 if family.path == "single" else 36}, ""
    several = family.path == "multiple"
    if several and (roll < BY_EYE_SHARE or family.access != "easy"):
        return {"VT": 24}, ""
    tube = isinstance(family, Welds) and family.tube
    detailed = "ET" if tube and roll > 0.8 else "MT"
    return {"VT": 24 if family.access == "easy" and roll < 0.5 else 36, detailed: 60 if several else 48}, detailed


def _weld(each: Built) -> Weld:
    family = each.family
    assert isinstance(family, Welds)
    fillet = family.weld_type == "fillet"
    return Weld(
        joint=each.joint,
        joint_type=family.joint_type,
        weld_type=family.weld_type,
        leg_mm=family.leg if fillet else None,
        throat_mm=round(family.leg * 0.7, 1) if fillet else family.leg,
        length_mm=round(3.1416 * family.tube) if family.tube else family.wall * 14,
        process=family.process,
        wall_mm=None if each.lost == "wall" else family.wall,
        other_wall_mm=None if each.lost == "wall" else family.other_wall,
        tube_diameter_mm=family.tube,
        attachment_mm=family.attachment,
        detail="" if each.lost == "detail" else family.detail,
        quality_level="" if each.lost == "detail" else family.level,
    )


def _group(each: Built) -> BoltGroup:
    family = each.family
    assert isinstance(family, Bolts)
    ring = family.pattern == "ring"
    return BoltGroup(
        joint=each.joint,
        bolt_count=family.count,
        pattern=family.pattern,
        ring_diameter_mm=family.across if ring else None,
        rows=None if ring else 2,
        row_pitch_mm=None if ring else family.across,
        column_pitch_mm=None if ring else family.across,
        size=family.size,
        property_class="10.9" if family.tightening == "tension" else "8.8",
        tightening=family.tightening,
        detail="" if each.lost == "detail" else family.detail,
    )
