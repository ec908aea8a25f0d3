"""Old looks that saw nothing, written many at a time: a thousand of them one by one would make a demo's start too long.

Each has its row, its entry in the record at its place in time, and its mark on what is owed, as the action leaves them;
who made it was certified on that day (the tests hold it to that).
"""

from __future__ import annotations

from datetime import datetime

from assets_app.inspections.models import Inspection
from assets_app.people.models import Person
from assets_app.record import actions as record
from schedules.demo.duty import Duty
from schedules.demo.owed import GOOD, Owed
from schedules.due.models import Programme


class Routine:
    """Looks that wait to be written, in order of time."""

    def __init__(self, duties: dict[str, Duty]) -> None:
        self._duties = duties
        self._looks: list[tuple[datetime, int, Owed, Person]] = []
        self.written = 0

    def add(self, moment: datetime, owed: Owed, who: Person) -> None:
        self._looks.append((moment, len(self._looks), owed, who))

    def write_until(self, moment: datetime) -> None:
        """All that happened before ``moment``."""
        self._looks.sort(key=lambda each: each[:2])
        count = sum(each[0] < moment for each in self._looks)
        batch, self._looks = self._looks[:count], self._looks[count:]
        if not batch:
            return
        rows = Inspection.objects.bulk_create(self._row(owed, who, at) for at, _, owed, who in batch)
        for row, (_, _, owed, _) in zip(rows, batch, strict=True):
            _enter(row, owed)
            programme = owed.programme
            programme.last_look_on = row.inspected_on
            programme.last_look_total = row.counter_total
            programme.last_look_conditions = row.conditions
        fields = ["last_look_on", "last_look_total", "last_look_conditions"]
        Programme.objects.bulk_update([owed.programme for _, _, owed, _ in batch], fields)
        self.written += len(rows)

    def _row(self, owed: Owed, who: Person, at: datetime) -> Inspection:
        return Inspection(
            joint=owed.built.joint,
            method=owed.programme.method,
            inspected_at=at,
            inspected_on=at.date(),
            inspector=who,
            conditions="good" if owed.programme.method in GOOD else "normal",
            result=Inspection.Result.ACCEPTED,
            counter_total=self._duties[owed.built.data.tag].total_on(at.date()),
            recorded_at=at,
        )


def _enter(row: Inspection, owed: Owed) -> None:
    record.append(
        site_id=owed.built.joint.asset.site_id,
        deed="inspection.recorded",
        actor=row.inspector,
        subject=row,
        content={
            "method": row.method,
            "inspected_at": row.inspected_at,
            "inspector": row.inspector.display_name,
            "result": row.result,
            "conditions": row.conditions,
            "counter_total": row.counter_total,
            "note": "",
            "findings": [],
            "photos": [],
        },
        now=row.recorded_at,
        asset_id=owed.built.joint.asset_id,
        joint_id=row.joint_id,
    )
