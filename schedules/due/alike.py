"""Which joints are like one that was found bad: what is cracked or loose here may be so there.

Alike is what an engineer would look at first, no more (common practice, no source): a joint of the same kind on an
asset of the same kind that is the same row of the detail catalogue, has the same bolts, or bears the same tag (the same
place on a sister asset). What is not known is no reason to leave a joint out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from assets_app.inspections.kinds import KINDS
from assets_app.inspections.models import Finding, Severity
from assets_app.register.models import Asset, Joint
from schedules.due import sentences
from schedules.due.known import owed_methods
from schedules.due.models import Limit, OwedLook

MOST = 500  # on one sheet; once they owe their look, the sheet shows the next

_WELD = {
    "detail": "detail",
    "weld type": "weld_type",
    "joint type": "joint_type",
    "wall": "wall_mm",
    "tube diameter": "tube_diameter_mm",
    "process": "process",
}
_BOLTS = {
    "bolt size": "size",
    "property class": "property_class",
    "number of bolts": "bolt_count",
    "detail": "detail",
    "tightening": "tightening",
}


@dataclass(frozen=True)
class Alike:
    """A joint like the bad one: what it has in common with it, what is other, and which looks are owed there."""

    joint: Joint
    same: tuple[str, ...]
    other: tuple[str, ...]
    methods: tuple[str, ...]

    @property
    def chosen(self) -> bool:
        """Whether it is proposed: not where nothing is owed that a day could hang on, nor where the detail is other."""
        return bool(self.methods) and "detail" not in self.other


@dataclass(frozen=True)
class AlikeJoints:
    """Those that are alike, the likest first; whether there are more; how many owe a sweep look already."""

    joints: list[Alike]
    more: bool
    owing: int
    soonest: date | None


def alike(joint: Joint, site_ids: Sequence[int]) -> AlikeJoints:
    """The joints like ``joint`` at some sites, in a fixed number of queries."""
    rows = _candidates(joint, site_ids)
    sweep = OwedLook.objects.filter(joint=OuterRef("pk"), limit=Limit.SWEEP, satisfied_by=None, withdrawn_why="")
    owing = OwedLook.objects.filter(joint__in=rows, limit=Limit.SWEEP, satisfied_by=None, withdrawn_why="").order_by(
        "due_on"
    )
    found = list(rows.filter(~Exists(sweep)).order_by("asset__tag", "asset_id", "tag")[: MOST + 1])
    methods = owed_methods(each.pk for each in found)
    listed = [_compared(joint, each, methods.get(each.pk, ())) for each in found[:MOST]]
    listed.sort(key=lambda each: (not each.chosen, -len(each.same)))  # stable: by tag among equals
    days = list(owing.values_list("joint_id", "due_on"))
    soonest = min((day for _, day in days if day), default=None)
    return AlikeJoints(listed, len(found) > MOST, len({pk for pk, _ in days}), soonest)


def _candidates(joint: Joint, site_ids: Sequence[int]) -> QuerySet[Joint]:
    same = Q(tag=joint.tag)
    made = _made(joint)
    if made is not None:
        name = "weld" if joint.kind == Joint.Kind.WELD else "bolt_group"
        if made.detail:
            same |= Q(**{f"{name}__detail": made.detail})
        if joint.kind == Joint.Kind.BOLTED and made.size:
            same |= Q(bolt_group__size=made.size, bolt_group__property_class=made.property_class)
    rows = Joint.objects.filter(same, kind=joint.kind, active=True, asset__kind=joint.asset.kind)
    rows = rows.filter(asset__site_id__in=list(site_ids)).exclude(pk=joint.pk)
    return rows.exclude(asset__status=Asset.Status.RETIRED).select_related("asset__site", "weld", "bolt_group")


def _made(joint: Joint) -> Any:
    """How it is made: the weld or the bolt group; ``None`` where nothing was entered."""
    return getattr(joint, "weld" if joint.kind == Joint.Kind.WELD else "bolt_group", None)


def _compared(bad: Joint, joint: Joint, methods: tuple[str, ...]) -> Alike:
    """What both have in common, and what is known of both and other. What is not known of one is neither."""
    names = _WELD if bad.kind == Joint.Kind.WELD else _BOLTS
    here, there = _made(bad), _made(joint)
    same, other = [], []
    if bad.tag == joint.tag:
        same.append("tag")
    for words, field in names.items():
        a, b = getattr(here, field, None), getattr(there, field, None)
        if a in (None, "") or b in (None, ""):
            continue
        (same if a == b else other).append(words)
    return Alike(joint, tuple(same), tuple(other), methods)


def why_of(joint: Joint) -> str:
    """What is said of the cause unless the person says it otherwise: the gravest finding that is open there."""
    rows = list(Finding.objects.filter(joint=joint, state__in=["open", "assessed"]))
    if not rows:
        return ""
    order = list(Severity.values)
    worst = max(rows, key=lambda row: (order.index(row.severity), row.found_on))
    kind = KINDS[worst.kind].name if worst.kind in KINDS else worst.kind
    return f"{kind} found at the like joint {joint.asset.tag} / {joint.tag} on {sentences.day(worst.found_on)}"
