"""What happened at Larkmoor: defects found, repaired, watched, put off; holds placed and lifted."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import partial

from assets_app.inspections import hooks
from assets_app.inspections.actions import FindingInput, PhotoInput, sign_assessment
from assets_app.inspections.models import Finding
from schedules.deferral.actions import sign_deferral
from schedules.demo import handiwork, orders, photos
from schedules.demo.drawings import Bolts, Welds
from schedules.demo.looks import look, mechanic
from schedules.demo.people import DEPOT, PIER
from schedules.demo.pick import Picker, at, bolted, ring, several, single, welded
from schedules.demo.stage import Stage
from schedules.demo.steel import Built
from schedules.work import actions as work
from schedules.work.models import Hold, WorkOrder

WIDE_YEARS = 7.0
REPAIRED = (1480, 1310, 1105, 930, 760, 610, 480, 360, 265, 190, 120, 82)  # days ago it was found
# Found so many days ago, put off until so many days ahead (negative: lapsed), cost, reason, interim measure.
PUT_OFF = (
    (30 + 425, 90, 6400, "The scaffold is shared with the painters of the pier head.", "MT each quarter; fewer turns."),
    (30 + 330, 60, 2900, "Repair needs the winter closure; the last one was taken by the mast.", "Looked at monthly."),
    (30 + 215, 75, 1850, "The welder with the procedure left; a new one is being approved.", "Looked at every month."),
    (30 + 130, 45, 3200, "The piling next door keeps the crane away.", "Load cut by a fifth, marked."),
    (30 + 64, 40, 950, "Waiting for the coating to be chosen.", "Dressed by hand; looked at fortnightly."),
    (30 + 22, 30, 720, "Season's last weekends first.", "Looked at before opening each day."),
    (30 + 8, 21, 480, "The repair bay is taken by the crane.", "Trailer runs half loaded."),
    (30 + 70, -12, 2100, "Parts for the jig were late.", "Looked at weekly."),
)  # fmt: skip


def write_into(stage: Stage) -> None:
    picker = Picker(stage)
    _growing_crack(stage, picker.take(welded, several, at(PIER), picker.window(3.0, 12.0)))
    for place, days in enumerate(stage.some(REPAIRED)):
        tests = (bolted,) if place % 4 == 3 else (welded, several)
        _repaired(stage, picker.take(*tests, at(PIER if place % 3 else DEPOT)), days, place)
    for place, row in enumerate(stage.some(PUT_OFF)):
        site = PIER if place not in (3, 6) else DEPOT
        _put_off(stage, picker.take(welded, several, at(site), picker.window(WIDE_YEARS)), *row)
    _watched(stage, picker)
    _open_repairs(stage, picker)
    _cracks_on_single_path(stage, picker)
    _lift_held(stage)
    handiwork.write_into(stage, picker)


# --- one defect each ------------------------------------------------------------------------------------------------


def undercut(built: Built, ratio: float) -> FindingInput:
    """Undercut so many times as deep as ISO 5817 level B allows (0.05 t, at most 0.5 mm)."""
    assert isinstance(built.family, Welds)
    depth = ratio * min(0.5, 0.05 * min(built.family.wall, built.family.other_wall))
    return FindingInput(kind="5011", size=f"{depth:.2f} mm", length="35 mm", place="toe", position=40)


def loose(built: Built) -> FindingInput:
    return FindingInput(kind="loose", bolts=(2,), note="turned a flat under the wrench")


def _find(
    stage: Stage, built: Built, seen: FindingInput, moment: datetime, *, pictures: Sequence[PhotoInput] = ()
) -> Finding:
    made = look(stage, built, "BC" if bolted(built) else "VT", moment, findings=[seen], photos=pictures)
    return Finding.objects.get(inspection=made)


def _raised(stage: Stage, finding: Finding, moment: datetime, kind: str) -> WorkOrder:
    return work.raise_order_for_finding(finding_id=finding.pk, kind=kind, actor=stage.people["tam"], now=moment)


def _repaired(stage: Stage, built: Built, days: int, place: int) -> None:
    """Found, repaired within its lead time, verified by another, looked at afterwards."""
    seen = loose(built) if bolted(built) else undercut(built, 1.3 + 0.05 * place)

    def found(moment: datetime) -> None:
        finding = _find(stage, built, seen, moment)
        order = _raised(stage, finding, moment + timedelta(hours=3), "tighten" if bolted(built) else "repair")
        who = mechanic(stage, built)
        orders.give(
            stage, order, who, moment + timedelta(hours=4), on=moment.date() + timedelta(days=9), cost=380 + 60 * place
        )
        stage.soon(moment + timedelta(days=9), lambda then: _mended(stage, built, order, then))

    stage.then(stage.at(stage.ago(days), 10), found)


def _mended(stage: Stage, built: Built, order: WorkOrder, moment: datetime) -> None:
    """Done by the mechanic, verified by an inspector, any hold lifted by the engineer, looked at again."""
    ended = orders.finish(order, mechanic(stage, built), moment, minutes=150, note="As the procedure says.")
    orders.verify(order, stage.people["dov"], ended + timedelta(hours=2))
    for method in built.methods:
        look(stage, built, method, ended + timedelta(days=4))
    for hold in Hold.objects.filter(finding=order.finding_id, released_at=None):
        work.release_hold(
            hold_id=hold.pk,
            reason="Put right to the procedure and looked at again: nothing found.",
            evidence=f"order {order.number} and the looks after it",
            actor=stage.people["maren"],
            now=ended + timedelta(days=4, hours=3),
        )


def _put_off(stage: Stage, built: Built, days: int, ahead: int, cost: int, reason: str, interim: str) -> None:
    """Found, due a month later, and put off by the manager a little before that."""

    def found(moment: datetime) -> None:
        finding = _find(stage, built, undercut(built, 1.5), moment)
        order = _raised(stage, finding, moment + timedelta(hours=2), "repair")
        orders.give(
            stage,
            order,
            mechanic(stage, built),
            moment + timedelta(hours=3),
            on=moment.date() + timedelta(days=25),
            cost=cost,
        )
        stage.soon(moment + timedelta(days=26), lambda then: signed(then, order))

    def signed(moment: datetime, order: WorkOrder) -> None:
        for method in built.methods:  # looked at once more before anybody signs
            look(stage, built, method, moment - timedelta(hours=2))
        sign_deferral(
            **orders.version(order),
            ends_on=stage.today + timedelta(days=ahead),
            reason=reason,
            interim_measure=interim,
            actor=stage.people["oriel"],
            now=moment,
        )
        may_sign = max(moment + timedelta(hours=2), stage.at(stage.ago(150), 14))
        stage.soon(may_sign, lambda then: _let_stand(stage, order, ahead, then))

    stage.then(stage.at(stage.ago(days), 10), found)


def _let_stand(stage: Stage, order: WorkOrder, ahead: int, moment: datetime) -> None:
    """The engineer's word, beside the manager's: the defect may stand as long as the work is put off."""
    sign_assessment(
        finding_id=order.finding_id,
        severity="plan repair",
        ends_on=stage.today + timedelta(days=ahead),
        reason="Undercut, no crack by MT; may stand with the interim measure until the repair.",
        actor=stage.people["maren"],
        now=moment,
    )


def _watched(stage: Stage, picker: Picker) -> None:
    """Open findings that only ask to be watched, or are only on record; and work that nobody has signed for."""
    for days, ratio in ((40, 1.1), (55, 1.15), (20, 1.1), (70, 1.2)):
        built = picker.take(welded, several)
        stage.then(stage.at(stage.ago(days), 11), partial(_find, stage, built, undercut(built, ratio)))
    for days in (75, 120):  # overdue, silent
        built = picker.take(welded, several, at(PIER))

        def silent(moment: datetime, built: Built = built) -> None:
            order = _raised(stage, _find(stage, built, undercut(built, 1.4), moment), moment, "repair")
            orders.give(stage, order, mechanic(stage, built), moment, on=moment.date() + timedelta(days=20), cost=640)

        stage.then(stage.at(stage.ago(days), 12), silent)
    fused = picker.take(welded, several)
    stage.then(stage.at(stage.ago(33), 12), lambda now: _lack_of_fusion(stage, fused, now))
    moved = picker.take(ring, single)
    stage.then(
        stage.at(stage.ago(9), 9),
        partial(_find, stage, moved, FindingInput(kind="movement", bolts=(3,), note="bare metal beside the washer")),
    )


def _lack_of_fusion(stage: Stage, built: Built, moment: datetime) -> None:
    """Crack-like, on several load paths: an engineer lets it stand until a day."""
    seen = FindingInput(kind="4011", size="12 mm", place="weld", position=60)
    made = look(stage, built, "MT", moment, findings=[seen])
    finding = Finding.objects.get(inspection=made)
    sign_assessment(
        finding_id=finding.pk,
        ends_on=stage.today + timedelta(days=110),
        reason="Short, away from the toe, stress low; looked at monthly until the winter repair.",
        actor=stage.people["maren"],
        now=moment + timedelta(hours=5),
    )


# --- what stands open -----------------------------------------------------------------------------------------------


def _open_repairs(stage: Stage, picker: Picker) -> None:
    """Repairs in every state of waiting, and bolts to be seen to."""
    for days, deed in ((24, _waits_for_part), (17, _waits_for_permit), (14, _half_done), (12, _done)):
        built = picker.take(welded, several)

        def found(moment: datetime, built: Built = built, deed: object = deed) -> None:
            order = _raised(stage, _find(stage, built, undercut(built, 1.6), moment), moment, "repair")
            who = mechanic(stage, built)
            orders.give(stage, order, who, moment, on=moment.date() + timedelta(days=12), cost=820)
            deed(stage, order, moment + timedelta(days=5))  # type: ignore[operator]

        stage.then(stage.at(stage.ago(days), 9), found)
    broken = picker.take(ring, single, at(PIER))
    stage.then(stage.at(stage.ago(6), 8), lambda now: _bolt_broken(stage, broken, now))
    gap = picker.take(bolted, several, at(DEPOT))
    seen = FindingInput(kind="gap", size="0.4 mm", note="daylight at the lower edge")
    stage.then(stage.at(stage.ago(11), 8), partial(_find, stage, gap, seen))


def _waits_for_part(stage: Stage, order: WorkOrder, moment: datetime) -> None:
    orders.need_part(stage, order, moment, name="backing strip S355J2, 6 x 30", lead=35, cost=140, quantity=2)
    who = stage.people["tam"]
    orders.wait(order, who, moment, reason="parts", note="strip to be rolled to the radius", days=35)


def _waits_for_permit(stage: Stage, order: WorkOrder, moment: datetime) -> None:
    orders.wait(order, stage.people["tam"], moment, reason="permit", note="hot work over the water", days=20)


def _half_done(stage: Stage, order: WorkOrder, moment: datetime) -> None:
    who = orders.assignee(order)
    ended = orders.do_steps(order, who, moment, but_last=3)
    work.note_part_done(
        **orders.version(order), note="Ground out and proven; weld tomorrow.", minutes_spent=95, actor=who, now=ended
    )


def _done(stage: Stage, order: WorkOrder, moment: datetime) -> None:
    who = orders.assignee(order)
    orders.finish(order, who, moment, minutes=170, note="Ground out, welded, dressed.")


def _bolt_broken(stage: Stage, built: Built, moment: datetime) -> None:
    assert isinstance(built.family, Bolts)
    seen = FindingInput(kind="broken", bolts=(3,), note="head off, rust on the old part of the break")
    photo = PhotoInput(
        data=photos.bolts(built.family.count, 3), name="bolts.png", caption="bolt 3 gone", finding_index=0
    )
    finding = _find(stage, built, seen, moment, pictures=[photo])
    order = _raised(stage, finding, moment + timedelta(hours=1), "repair")
    orders.give(stage, order, mechanic(stage, built), moment + timedelta(hours=2), on=moment.date(), cost=1350)
    size = f"bolt {built.family.size} 10.9 with nut and washers"
    orders.need_part(
        stage, order, moment + timedelta(hours=2), name=size, lead=21, cost=96, quantity=built.family.count
    )
    orders.wait(
        order,
        stage.people["tam"],
        moment + timedelta(hours=3),
        reason="parts",
        note="the whole set is changed",
        days=21,
    )


# --- cracks and holds -----------------------------------------------------------------------------------------------


def _growing_crack(stage: Stage, built: Built) -> None:
    """One crack measured four times as it grows, each time judged by the engineer if its window lets her."""
    known: list[int] = []
    for days, length, depth in ((300, 5.0, 0.9), (205, 6.0, 1.1), (112, 7.5, 1.4), (24, 9.0, 1.7)):

        def measured(moment: datetime, length: float = length, depth: float = depth) -> None:
            seen = FindingInput(
                finding_id=known[0] if known else None,
                kind="101",
                place="toe",
                position=85,
                size=f"{length:g} mm",
                depth=f"{depth:g} mm",
            )
            picture = photos.weld(7, length)
            photo = PhotoInput(data=picture, name="crack.png", caption=f"{length:g} mm at the toe", finding_index=0)
            look(stage, built, "MT", moment, findings=[seen], photos=[photo], by="ilse")
            if not known:
                known.append(Finding.objects.get(joint=built.joint, kind="101").pk)
            _assess(stage, known[0], moment + timedelta(hours=4))

        stage.then(stage.at(stage.ago(days), 10), measured)


def _assess(stage: Stage, finding_id: int, moment: datetime) -> None:
    finding = Finding.objects.select_related("joint__asset__site").get(pk=finding_id)
    latest = hooks.latest_assessment_end(finding, moment)
    wanted = moment.date() + timedelta(days=100)
    if latest is None or latest <= moment.date():
        return  # the window is not known or is closed: nobody may sign, and it stays as grave as it is
    sign_assessment(
        finding_id=finding_id,
        ends_on=min(latest, wanted),
        reason="Grows as computed; measured again before the end.",
        actor=stage.people["maren"],
        now=moment,
    )


def _cracks_on_single_path(stage: Stage, picker: Picker) -> None:
    """One repaired long ago, its hold lifted; one found this week, its hold standing."""
    past = picker.take(welded, single, at(PIER))
    stage.then(stage.at(stage.ago(690), 9), lambda now: _crack_repaired(stage, past, now))
    fresh = picker.take(welded, single, at(PIER))
    stage.then(stage.at(stage.ago(4), 10), lambda now: _crack(stage, fresh, now, 14.0))


def _crack(stage: Stage, built: Built, moment: datetime, length: float) -> Finding:
    seen = FindingInput(kind="101", size=f"{length:g} mm", depth="2.2 mm", place="toe", position=30)
    picture = photos.weld(9, length)
    photo = PhotoInput(data=picture, name="crack.png", caption=f"indication {length:g} mm", finding_index=0)
    made = look(stage, built, "MT", moment, findings=[seen], photos=[photo], by="ilse")
    finding = Finding.objects.get(inspection=made)
    order = _raised(stage, finding, moment + timedelta(hours=1), "repair")
    who = mechanic(stage, built)
    orders.give(stage, order, who, moment + timedelta(hours=2), on=moment.date() + timedelta(days=3), cost=4200)
    return finding


def _crack_repaired(stage: Stage, built: Built, moment: datetime) -> None:
    finding = _crack(stage, built, moment, 9.0)

    def mended(then: datetime) -> None:
        order = WorkOrder.objects.get(finding=finding)
        _mended(stage, built, order, then)

    stage.soon(moment + timedelta(days=8), mended)


def _lift_held(stage: Stage) -> None:
    """Anybody may hold an asset: the technician did."""
    if "L-01" not in stage.assets:
        return

    def held(moment: datetime) -> None:
        work.place_hold(
            asset_id=stage.assets["L-01"].pk,
            reason="Guard rail bent at the gate and its pin is missing; nobody goes up.",
            actor=stage.people["kez"],
            now=moment,
        )

    stage.then(stage.at(stage.ago(2), 15), held)
