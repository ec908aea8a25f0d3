"""What people do on the steel beside looks and orders: bolts read one by one, a photo marked, labels stuck on."""

from __future__ import annotations

from datetime import datetime
from functools import partial

from assets_app.inspections import bolt_rules
from assets_app.inspections.bolt_rules import BoltInput
from assets_app.inspections.bolt_sheet_actions import record_bolt_sheet
from assets_app.inspections.marks_actions import mark_photo
from assets_app.inspections.models import Evidence
from assets_app.labels.actions import issue_labels
from assets_app.register.models import BoltGroup
from schedules.demo import photos
from schedules.demo.drawings import Bolts
from schedules.demo.looks import mechanic
from schedules.demo.people import PIER
from schedules.demo.pick import Picker, at, ring
from schedules.demo.places import chance
from schedules.demo.stage import Stage
from schedules.demo.steel import Built

SHEETS = (396, 31)  # days ago, of the same ring
SLACK, TIGHT_FROM = 0.82, 0.93  # of the torque expected: the one that had settled, the least of the others
LABELLED, LABELS = "R-01", 24


def write_into(stage: Stage, picker: Picker) -> None:
    """Picked after every other story, so that none of them moves."""
    read = picker.take(ring, preloaded, at(PIER))
    for days in SHEETS:
        stage.then(stage.at(stage.ago(days), 13), lambda now: _read_bolts(stage, read, now))
    stage.then(stage.at(stage.ago(21), 14), lambda now: _print_labels(stage, now))
    stage.then(stage.at(stage.ago(4), 15), lambda now: _mark_crack(stage, now))


def preloaded(built: Built) -> bool:
    return isinstance(built.family, Bolts) and built.family.tightening != "snug"


def _read_bolts(stage: Stage, built: Built, moment: datetime) -> None:
    """Every bolt under the wrench: one had settled and was brought up, the rest were left as found."""
    group = BoltGroup.objects.get(joint=built.joint)
    expected = bolt_rules.expected_tightening(group).torque_nm
    assert expected is not None
    assert group.bolt_count is not None
    dice = chance("bolts", built.data.tag, built.joint.tag, moment.date() - stage.today)
    settled = dice.randint(1, group.bolt_count)

    def bolt(number: int) -> BoltInput:
        found = round(expected * (SLACK if number == settled else dice.uniform(TIGHT_FROM, 1.03)))
        left = round(expected) if number == settled else found
        mark = "moved" if number == settled else "in line"
        return BoltInput(number=number, state="ok", torque_found=found, torque_left=left, witness=mark)

    record_bolt_sheet(
        joint_id=built.joint.pk,
        bolts=[bolt(number) for number in range(1, group.bolt_count + 1)],
        inspected_at=moment,
        actor=mechanic(stage, built),
        now=moment,
        counter_total=stage.duties[built.data.tag].total_on(moment.date()),
        note="calibrated click wrench, in the order of the sheet",
    )


def _print_labels(stage: Stage, moment: datetime) -> None:
    """The planner prints a sheet of them for the wheel."""
    joints = [each.joint.pk for each in stage.built if each.data.tag == LABELLED][:LABELS]
    issue_labels(joint_ids=joints, actor=stage.people["tam"], now=moment)


def _mark_crack(stage: Stage, moment: datetime) -> None:
    """The inspector shows on her newest photo of a crack where it ends."""
    photo = Evidence.objects.filter(finding__kind="101").latest("pk")
    x, y = photos.end_of_crack(14.0)
    mark = partial(mark_photo, evidence_id=photo.pk, actor=stage.people["ilse"], now=moment)
    mark(shape="arrow", x=x, y=y, x2=x + 0.15, y2=y + 0.12)
    mark(shape="text", x=x + 0.16, y=y + 0.16, text="ends here")
