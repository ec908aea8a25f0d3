"""The looks of five years: who made them, in which conditions, and what was found."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from assets_app.inspections.actions import record_inspection
from schedules.demo.owed import GOOD, Owed
from schedules.demo.people import PIER
from schedules.demo.stage import Stage


def write_into(stage: Stage, plan: Sequence[Owed]) -> None:
    """Every look of the plan as a deed of its day."""
    for each in plan:
        for day in each.days:
            stage.then(stage.at(day), _accepted(stage, each))


def _accepted(stage: Stage, owed: Owed) -> object:
    def deed(moment: datetime) -> None:
        method = owed.programme.method
        mechanic = "bram" if owed.built.data.site == PIER else "kez"
        record_inspection(
            joint_id=owed.built.joint.pk,
            method=method,
            inspected_at=moment,
            result="accepted",
            actor=stage.people["ilse" if method != "BC" else mechanic],
            now=moment,
            conditions="good" if method in GOOD else "normal",
            counter_total=stage.duties[owed.built.data.tag].total_on(moment.date()),
        )

    return deed
