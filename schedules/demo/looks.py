"""The looks of five years: who made them, in which conditions, and the small things that were seen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from assets_app.inspections.actions import FindingInput, PhotoInput, close_finding, record_inspection
from assets_app.inspections.models import Finding, Inspection
from assets_app.people.models import Person
from schedules.demo.drawings import Welds
from schedules.demo.owed import GOOD, Owed
from schedules.demo.people import NDT, PIER
from schedules.demo.places import chance
from schedules.demo.stage import Deed, Stage
from schedules.demo.steel import Built

SEEN_SHARE = 0.07  # looks at welds that see something small
CLOSED_SHARE = 0.7  # of which was dressed on the spot, and closed
INCOMPLETE_SHARE = 0.012


def write_into(stage: Stage, plan: Sequence[Owed]) -> None:
    """Every look of the plan as a deed of its day."""
    for each in plan:
        for day in each.days:
            minute = chance("minute", each.built.joint.pk, each.programme.method, day).randrange(0, 420)
            moment = stage.at(day, 8) + timedelta(minutes=minute)
            stage.then(moment, _routine(stage, each))


def look(
    stage: Stage,
    built: Built,
    method: str,
    moment: datetime,
    *,
    findings: Sequence[FindingInput] = (),
    photos: Sequence[PhotoInput] = (),
    result: str = "",
    note: str = "",
    by: str = "",
) -> Inspection:
    """One look by somebody who may make it, with the counter's total of that day."""
    return record_inspection(
        joint_id=built.joint.pk,
        method=method,
        inspected_at=moment,
        result=result or ("findings" if findings else "accepted"),
        actor=stage.people[by] if by else looker(stage, built, method),
        now=moment,
        conditions="good" if method in GOOD else "normal",
        findings=findings,
        photos=photos,
        note=note,
        counter_total=stage.duties[built.data.tag].total_on(moment.date()),
    )


def mechanic(stage: Stage, built: Built) -> Person:
    return stage.people["bram" if built.data.site == PIER else "kez"]


def looker(stage: Stage, built: Built, method: str) -> Person:
    """A mechanic for bolts, else the one of the inspectors whose turn it is, if certified."""
    if method == "BC":
        return mechanic(stage, built)
    able = [name for name in ("ilse", "dov") if method in NDT[name]]
    return stage.people[able[built.joint.pk % len(able)]]


def _routine(stage: Stage, owed: Owed) -> Deed:
    built, method = owed.built, owed.programme.method

    def deed(moment: datetime) -> None:
        dice = chance("seen", built.data.tag, built.joint.tag, method, moment.date() - stage.today)
        welded = isinstance(built.family, Welds) and method != "ET"
        if dice.random() < INCOMPLETE_SHARE and method != "BC":
            look(stage, built, method, moment, result="incomplete", note="rain set in; surface wet")
            moment += timedelta(days=1)
        if not welded or dice.random() > SEEN_SHARE:
            look(stage, built, method, moment)
            return
        shape = "503" if built.joint.weld.weld_type == "fillet" else "502"
        kind, size = dice.choice((("5011", 0.15), ("5011", 0.2), (shape, 0.6), (shape, 0.9)))
        seen = FindingInput(kind=kind, size=size, place="toe", position=dice.randrange(5, 120, 5))
        made = look(stage, built, method, moment, findings=[seen])
        if dice.random() < CLOSED_SHARE:
            _dress(made, moment + timedelta(minutes=40))

    return deed


def _dress(made: Inspection, moment: datetime) -> None:
    for finding in Finding.objects.filter(inspection=made):
        close_finding(
            finding_id=finding.pk,
            reason="Dressed smooth at once and looked at again.",
            actor=made.inspector,
            now=moment,
        )
