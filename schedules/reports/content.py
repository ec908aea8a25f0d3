"""What a report says, as plain data: the same data gives the same pages, byte for byte."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field
from typing import Any

from assets_app.doors.context import CAUTION

NOT_KNOWN = "not known"
# What a document shows besides the record; every one says so, for the record's hash does not vouch for it.
NOT_FROM_RECORD = (
    "Names of the site, the asset and the joint, the load path and the sizes drawn are the register's of now.",
    "Certificates beside signatures are those that the register now holds for that day.",
    "Which photos belong here, their days and captions are the register's of now, and they are printed from smaller "
    "copies. The record holds the hash of each original, unless the photo says otherwise, and the marks over it.",
)


@dataclass(frozen=True)
class Entry:
    """An entry of the record that is quoted: its number, its hash, who, when on the site's clock, what."""

    sequence: int
    hash: str
    who: str
    when: str
    words: str


@dataclass(frozen=True)
class Signature:
    """Who signed what: the entry of the record is the signature."""

    what: str
    name: str
    role: str
    certificate: str
    when: str
    sequence: int
    hash: str


@dataclass(frozen=True)
class SeenFinding:
    """A finding as one look recorded it."""

    number: int
    words: str
    where: str
    size: str
    severity: str
    verdict: str
    note: str


@dataclass(frozen=True)
class Look:
    """A look as the record holds it."""

    entry: Entry
    day: str
    method: str
    result: str
    conditions: str
    inspector: str
    counter: str
    note: str
    corrects: str
    corrected_by: str
    findings: tuple[SeenFinding, ...] = ()


@dataclass(frozen=True)
class DrawnJoint:
    """A drawing: what it shows, the SVG, and the same in words."""

    caption: str
    svg: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class PrintedPhoto:
    """A photo: the file of its copy for the page, the hash of its original, what stands below it, marks over it."""

    file: str
    sha256: str
    caption: str
    marks_svg: str
    width: int
    height: int


@dataclass(frozen=True)
class JointPart:
    """What a report says of one joint."""

    tag: str
    name: str
    facts: tuple[tuple[str, str], ...]
    drawings: tuple[DrawnJoint, ...]
    looks: tuple[Look, ...]
    deeds: tuple[Entry, ...]
    photos: tuple[PrintedPhoto, ...]
    photos_left_out: int = 0


@dataclass(frozen=True)
class Head:
    """Whose record it is, and the entry up to which it is told; no entry where the record says nothing."""

    site: str
    clock: str
    sequence: int = 0
    hash: str = ""

    @property
    def words(self) -> str:
        if not self.sequence:
            return f"Record of {self.site}: no entry falls in it"
        return f"Record to entry {self.sequence}, SHA-256 {self.hash}, of {self.site}"


@dataclass(frozen=True)
class InspectionReport:
    head: Head
    asset: str
    subject: str
    since: str
    until: str
    joints: tuple[JointPart, ...]
    without: tuple[str, ...]  # joints of the asset at which nobody looked
    signatures: tuple[Signature, ...]
    beside_record: tuple[str, ...] = NOT_FROM_RECORD
    caution: str = CAUTION


@dataclass(frozen=True)
class Certificate:
    head: Head
    number: int
    asset: str
    subject: str
    held: Entry
    reason: str
    released: Entry
    release_reason: str
    release_evidence: str
    finding: tuple[tuple[str, str], ...]
    story: tuple[Entry, ...]
    since: tuple[Entry, ...]  # what the record says of the finding after the hold was lifted
    work: tuple[Entry, ...]
    looks: tuple[Look, ...]
    drawings: tuple[DrawnJoint, ...]
    photos: tuple[PrintedPhoto, ...]
    photos_left_out: int
    standing: tuple[str, ...]  # other holds that stand
    signatures: tuple[Signature, ...]
    limits: tuple[str, ...] = field(default=())
    beside_record: tuple[str, ...] = NOT_FROM_RECORD
    caution: str = CAUTION


def plain(said: Any) -> str:
    """What the document says as canonical JSON; photos count by the hash of their original."""
    return json.dumps(_without_files(asdict(said)), sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def content_hash(said: Any) -> str:
    """SHA-256 (hex) over what the document says."""
    return hashlib.sha256(plain(said).encode()).hexdigest()


def _without_files(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_files(each) for key, each in value.items() if key != "file"}
    if isinstance(value, list | tuple):
        return [_without_files(each) for each in value]
    return value
