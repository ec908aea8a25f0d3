"""The five years as a list of deeds, each with its moment, played in order."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import TypeVar
from zoneinfo import ZoneInfo

from assets_app.people.models import Person
from assets_app.register.models import Asset, Site
from schedules.demo.duty import Duty
from schedules.demo.places import ZONE
from schedules.demo.routine import Routine
from schedules.demo.steel import Built

T = TypeVar("T")
Deed = Callable[[datetime], object]


@dataclass
class Stage:
    """Who and what there is, and what happens when."""

    today: date
    now: datetime
    sites: dict[str, Site]
    assets: dict[str, Asset]
    people: dict[str, Person]
    built: list[Built]
    duties: dict[str, Duty]
    routine: Routine
    small: bool = False
    played: int = 0
    _told: int = 0
    _deeds: list[tuple[datetime, int, Deed]] = field(default_factory=list)

    def some(self, rows: Sequence[T]) -> Sequence[T]:
        """All of them; of the small demo every third."""
        return rows[::3] if self.small else rows

    @property
    def begin(self) -> datetime:
        return self.now - timedelta(days=round(5.1 * 365.25))

    def ago(self, days: int) -> date:
        return self.today - timedelta(days=days)

    def at(self, day: date, hour: int = 9, minute: int = 0) -> datetime:
        """A moment of a day at Larkmoor; of today only the first minute has passed."""
        return min(datetime.combine(day, time(hour, minute), tzinfo=ZoneInfo(ZONE)), self.now)

    def then(self, moment: datetime, deed: Deed) -> None:
        """``deed`` happens at ``moment`` and is told the moment; those of one moment in the order given."""
        self._told += 1
        heapq.heappush(self._deeds, (moment, self._told, deed))

    def soon(self, moment: datetime, deed: Deed) -> None:
        """Likewise, from within a deed; what would lie ahead of today is left out."""
        if moment < self.now:
            self.then(moment, deed)

    def play(self) -> None:
        while self._deeds:
            moment, _, deed = heapq.heappop(self._deeds)
            self.routine.write_until(moment)
            deed(moment)
            self.played += 1
        self.routine.write_until(self.now)
