"""The looks of five years: who made them, in which conditions, and the small things that were seen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import partial
from random import Random

from assets_app.inspections.actions import FindingInput, PhotoInput, close_finding, record_inspection
from assets_app.inspections.models import Finding, Inspection
from assets_app.people.models import Person
from schedules.demo.drawings import Welds
from schedules.demo.owed import FRESH_DAYS, GOOD, Owed
from schedules.demo.people import NDT, PIER
from schedules.demo.places import chance
from schedules.demo.stage import Deed, Stage
from schedules.demo.steel import Built

SEEN_SHARE = 0.07  # looks at welds that see something small
CLOSED_SHARE = 0.7  # of which was dressed on the spot, and closed
INCOMPLETE_SHARE = 0.012


def write_into(stage: Stage, plan: Sequence[Owed]) -> None:
    """Every look of the plan: old ones that saw nothing go into the routine, the others are deeds of their day."""
    for each in plan:
        for day in each.days:
            dice = chance("look", each.built.data.tag, each.built.joint.tag, each.programme.method, day - stage.today)
            moment = stage.at(day, 8) + timedelta(minutes=dice.randrange(0, 420))
            deed = _eventful(stage, each, dice)
            if deed is None and day < stage.ago(FRESH_DAYS):
                stage.routine.add(moment, each, looker(stage, each.built, each.programme.method))
            else:
                stage.then(moment, deed or partial(_plain, stage, each))


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


def _plain(stage: Stage, owed: Owed, moment: datetime) -> None:
    look(stage, owed.built, owed.programme.method, moment)


def _eventful(stage: Stage, owed: Owed, dice: Random) -> Deed | None:
    """A look that was rained off first, or that saw something small; None: nothing of the kind."""
    built, method = owed.built, owed.programme.method
    roll = dice.random()
    if method != "BC" and roll < INCOMPLETE_SHARE:

        def rained_off(moment: datetime) -> None:
            look(stage, built, method, moment, result="incomplete", note="rain set in; surface wet")
            look(stage, built, method, moment + timedelta(days=1))

        return rained_off
    if not isinstance(built.family, Welds) or method == "ET" or roll > INCOMPLETE_SHARE + SEEN_SHARE:
        return None
    shape = "503" if built.family.weld_type == "fillet" else "502"
    kind, size = dice.choice((("5011", 0.15), ("5011", 0.2), (shape, 0.6), (shape, 0.9)))
    seen = FindingInput(kind=kind, size=size, place="toe", position=dice.randrange(5, 120, 5))
    dressed = dice.random() < CLOSED_SHARE

    def saw(moment: datetime) -> None:
        made = look(stage, built, method, moment, findings=[seen])
        if dressed:
            _dress(made, moment + timedelta(minutes=40))

    return saw


def _dress(made: Inspection, moment: datetime) -> None:
    for finding in Finding.objects.filter(inspection=made):
        close_finding(
            finding_id=finding.pk,
            reason="Dressed smooth at once and looked at again.",
            actor=made.inspector,
            now=moment,
        )
