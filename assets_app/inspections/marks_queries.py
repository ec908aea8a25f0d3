"""Reads of marks, and of a joint's photos by the position they show."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, QuerySet

from assets_app.inspections.marks_models import PhotoMark
from assets_app.inspections.marks_rules import WHOLE, Mark, overlay, position_words, words
from assets_app.inspections.models import Evidence
from assets_app.people.models import Person
from assets_app.people.queries import sites_of
from assets_app.register.models import Joint


def marks_for(person: Person) -> QuerySet[PhotoMark]:
    """Marks in sight that stand, in the order in which they were put on."""
    rows = PhotoMark.objects.filter(evidence__joint__asset__site__in=sites_of(person), struck=None)
    return rows.select_related("by", "evidence__joint__asset")


def with_marks(photos: QuerySet[Evidence]) -> QuerySet[Evidence]:
    """Photos with ``marks_now``, the marks that stand, and what a caption says."""
    standing = PhotoMark.objects.filter(struck=None).select_related("by")
    return photos.select_related("finding", "inspection", "added_by", "joint__asset__site").prefetch_related(
        Prefetch("marks", standing, to_attr="marks_now")
    )


def plain(marks: Iterable[PhotoMark]) -> list[Mark]:
    return [Mark(row.shape, row.x, row.y, row.x2, row.y2, row.text) for row in marks]


NO_TIME = "the photo does not say when it was taken"


@dataclass(frozen=True)
class Shown:
    """A photo as it is compared: its day and where the day comes from, its drawing with marks, the marks in words."""

    photo: Evidence
    day: date
    day_from: str

    @property
    def words(self) -> list[str]:
        return words(plain(self.photo.marks_now))

    @property
    def label(self) -> str:
        return f"{self.day:%-d %b %Y} ({self.day_from}){': ' + self.photo.caption if self.photo.caption else ''}"

    def drawing(self, href: str) -> str:
        name = f"Photo of {self.day:%-d %b %Y}"
        return overlay(plain(self.photo.marks_now), self.photo.width, self.photo.height, href=href, name=name)


@dataclass
class Position:
    """One position of a joint and its photos, oldest first."""

    words: str
    photos: list[Shown] = field(default_factory=list)

    @property
    def days(self) -> int:
        return len({shown.day for shown in self.photos})


def when_and_by_whom(photo: Evidence) -> str:
    """When the photo was taken and who added it when, on the site's clock; what is not known is said to be so."""
    zone = ZoneInfo(photo.joint.asset.site.time_zone)
    taken = f"taken {photo.taken_at.astimezone(zone):%-d %b %Y %H:%M}" if photo.taken_at else NO_TIME
    return f"{taken}, added by {photo.added_by} on {photo.added_at.astimezone(zone):%-d %b %Y at %H:%M}"


def shown(photo: Evidence) -> Shown:
    """The day on the site's clock: taken; where the photo does not say, that of the look; else when it came."""
    zone = ZoneInfo(photo.joint.asset.site.time_zone)
    if photo.taken_at is not None:
        return Shown(photo, photo.taken_at.astimezone(zone).date(), "taken")
    if photo.inspection is not None:
        return Shown(photo, photo.inspection.inspected_on, "day of the look")
    return Shown(photo, photo.added_at.astimezone(zone).date(), "added; when it was taken is not known")


def positions_of(joint: Joint) -> list[Position]:
    """The joint's photos by position: first those that can be compared, by how many days they span."""
    positions: dict[str, Position] = {}
    for photo in with_marks(joint.evidence.all()):
        where = _where(photo)
        positions.setdefault(where, Position(where)).photos.append(shown(photo))
    for position in positions.values():
        position.photos.sort(key=lambda one: (one.day, one.photo.pk))
    return sorted(positions.values(), key=lambda position: (-position.days, position.words != WHOLE, position.words))


def _where(photo: Evidence) -> str:
    found = photo.finding
    if found is None:
        return WHOLE
    return position_words(
        place=found.place, clock_deg=found.clock_deg, position_mm=found.position_mm, bolts=found.bolts
    )
