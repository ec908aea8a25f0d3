"""What can be seen at a joint: weld imperfections by ISO 6520-1 number, and the words for bolts."""

from __future__ import annotations

from dataclasses import dataclass

from engineering import acceptance

LOST = ("missing", "broken", "loose")  # a bolt that no longer carries; loose counts as lost for the load on the rest
PLANAR_GROUP = "fusion and penetration"


@dataclass(frozen=True)
class Kind:
    """One kind of finding.

    Attributes:
        code: ISO 6520-1 number, or our own word for bolts.
        name: in words.
        group: heading under which a picker shows it.
        measure: what ``size`` means: ``length``, ``depth``, ``angle``, ``gap``, ``none`` ...
        is_crack, is_planar: crack; crack-like (lack of fusion, incomplete penetration).
        needs_bolts: the numbers of the bolts concerned belong to it.
    """

    code: str
    name: str
    group: str
    measure: str
    how: str = ""
    is_crack: bool = False
    is_planar: bool = False
    needs_bolts: bool = False

    @property
    def is_weld_kind(self) -> bool:
        return self.code.isdigit()

    @property
    def words(self) -> str:
        """Name, with the standard's number where there is one: ``continuous undercut (5011)``."""
        return f"{self.name} ({self.code})" if self.is_weld_kind else self.name


_BOLT_KINDS = (
    Kind("missing", "bolt missing", "bolts", "none", needs_bolts=True),
    Kind("broken", "bolt broken", "bolts", "none", needs_bolts=True),
    Kind("loose", "bolt loose", "bolts", "none", needs_bolts=True),
    Kind("gap", "gap between faces", "bolts", "gap", "widest opening between the faces"),
    Kind("movement", "witness of movement", "bolts", "none", "bare metal beside a washer, rust bleeding, fretting"),
)
_WELD_KINDS = tuple(
    Kind(
        row.number,
        row.name,
        row.group,
        row.measure,
        row.how,
        is_crack=row.is_crack,
        is_planar=row.group == PLANAR_GROUP,
    )
    for row in acceptance.KINDS.values()
)
KINDS: dict[str, Kind] = {kind.code: kind for kind in (*_WELD_KINDS, *_BOLT_KINDS)}


def fits(kind: Kind, joint_kind: str) -> bool:
    """Whether the kind can be seen at a ``weld`` or ``bolted`` joint; a crack can be in the steel of either."""
    if kind.is_crack:
        return True
    return kind.is_weld_kind == (joint_kind == "weld")


def for_joint(joint_kind: str) -> dict[str, list[Kind]]:
    """The kinds of a joint, by group, as a picker shows them."""
    groups: dict[str, list[Kind]] = {}
    for kind in KINDS.values():
        if fits(kind, joint_kind):
            groups.setdefault(kind.group, []).append(kind)
    return groups
