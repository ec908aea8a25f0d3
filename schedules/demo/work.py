"""The last six weeks at Larkmoor: looks raised as orders, planned, done, waiting; and looks owed by a fixed day."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import partial
from itertools import islice

from assets_app.people.models import Person
from schedules.alerts.models import Delivery
from schedules.deferral.actions import sign_deferral
from schedules.demo import orders, stories
from schedules.demo.duty import EXCHANGED, exchange
from schedules.demo.people import NDT, PIER
from schedules.demo.places import chance
from schedules.demo.stage import Stage
from schedules.due import actions as due
from schedules.due.engine import recompute
from schedules.due.store import Scope
from schedules.work import actions as work
from schedules.work.models import WorkOrder

OLD_DAYS = 10
RAISED_DAYS = 45  # ago
WITHIN_DAYS = 80


def write_into(stage: Stage) -> None:
    stories.write_into(stage)
    _exchange_meters(stage)
    stage.then(stage.at(stage.ago(RAISED_DAYS), 7), lambda now: _raise_all(stage, now))
    stage.then(stage.at(stage.ago(RAISED_DAYS - 1), 8), lambda now: _hand_out(stage, now))
    stage.then(stage.at(stage.ago(10), 8), lambda now: _go_on(stage, now))
    stage.then(stage.at(stage.ago(3), 8), lambda now: _owe_more(stage, now))


def _exchange_meters(stage: Stage) -> None:
    for tag, days in EXCHANGED.items():
        if tag in stage.duties:
            deed = partial(_exchange, stage, tag)
            stage.then(stage.at(stage.ago(days), 13), deed)


def _exchange(stage: Stage, tag: str, moment: datetime) -> None:
    exchange(stage.duties[tag], actor=stage.people["kez"], now=moment)


def see_old_alerts(stage: Stage) -> None:
    """Alerts of long ago have been read and mailed long since."""
    old = Delivery.objects.filter(intent__created_at__lt=stage.now - timedelta(days=OLD_DAYS))
    old.update(seen_at=stage.now, state=Delivery.State.SENT, sent_at=stage.now)


def _raise_all(stage: Stage, moment: datetime) -> None:
    """The planner has the dates computed as they stand that day, and raises what falls due in the next weeks."""
    for site in stage.sites.values():
        scope = Scope(asset_range=(0, 2**31), site_id=site.pk)
        recompute(scope, now=moment)
        work.raise_due_orders(site_id=site.pk, within_days=WITHIN_DAYS, actor=stage.people["tam"], now=moment)


def _hand_out(stage: Stage, moment: datetime) -> None:
    """Most are given to somebody who may do them, and planned; some nobody has yet."""
    for order in _open_looks():
        dice = chance("hand out", order.joint.tag, order.method, order.asset.tag)
        if dice.random() < 0.15:
            continue
        who = _doer(stage, order)
        on = order.due_on - timedelta(days=2) if order.due_on else moment.date()
        if on <= moment.date():  # late already: some day soon
            on = stage.today + timedelta(days=dice.randint(-5, 15))
        orders.give(stage, order, who, moment, on=on, cost=dice.choice((90, 120, 160, 240)))


def _open_looks() -> list[WorkOrder]:
    rows = WorkOrder.objects.filter(kind="inspect", state="open").select_related("joint", "asset__site", "assignee")
    return list(rows.order_by("due_on", "pk"))


def _doer(stage: Stage, order: WorkOrder) -> Person:
    if order.method == "BC":
        return stage.people["bram" if order.asset.site.slug == PIER else "kez"]
    able = [name for name in ("ilse", "dov") if order.method in NDT[name]]
    return stage.people[able[order.pk % len(able)]]


def _go_on(stage: Stage, moment: datetime) -> None:
    """Some are done and verified, some done, some wait; one is called off; two are put off."""
    given = [order for order in _open_looks() if order.assignee and order.due_on]
    coming = [order for order in given if order.due_on and order.due_on > stage.today + timedelta(days=2)]
    taken = iter(coming)
    for order in islice(taken, min(4, len(coming) // 3)):
        _look_done(stage, order, moment, verified=True)
    for order in islice(taken, min(3, len(coming) // 4)):
        _look_done(stage, order, moment, verified=False)
    waits = (
        ("access", "cherry picker booked elsewhere", 18),
        ("weather", "wind above 12 m/s all week", 6),
        ("permit", "rope access permit not signed yet", 14),
    )
    for order, (reason, note, days) in zip(taken, waits, strict=False):
        orders.wait(order, stage.people["tam"], moment, reason=reason, note=note, days=days)
    for order in islice(taken, 1):
        reason = "Raised twice: the same weld has another number on sheet 4."
        work.cancel(**orders.version(order), reason=reason, actor=stage.people["tam"], now=moment)
    _put_off_looks(stage, [order for order in taken if order.method == "VT"][:2], moment)


def _look_done(stage: Stage, order: WorkOrder, moment: datetime, *, verified: bool) -> None:
    who = order.assignee
    assert who is not None
    total = stage.duties[order.asset.tag].total_on(moment.date())
    good = "good" if order.method in ("MT", "ET") else "normal"
    ended = orders.finish(
        order, who, moment, minutes=50, result="accepted", conditions=good, counter_total=total, inspected_at=moment
    )
    if verified:
        orders.verify(order, stage.people["maren"], ended + timedelta(hours=3))


def _put_off_looks(stage: Stage, put_off: list[WorkOrder], moment: datetime) -> None:
    for order in put_off:
        sign_deferral(
            **orders.version(order),
            ends_on=(order.due_on or stage.today) + timedelta(days=35),
            reason="The platform lift for it is held; another is hired for next month.",
            interim_measure="Seen from the ground with a glass every week.",
            actor=stage.people["oriel"],
            now=moment,
        )


def _owe_more(stage: Stage, moment: datetime) -> None:
    """What maker and insurer ask for by a fixed day."""
    dice = chance("fixed")
    picked = dice.sample([each for each in stage.built if each.family.path == "single" and each.detailed], 6)
    for place, each in enumerate(picked):
        due.fix_day(
            joint_id=each.joint.pk,
            method=each.detailed,
            due_on=stage.today + timedelta(days=(12, 26, 40, 75, 100, 110)[place]),
            why="the insurer asks for a look before the season opens",
            source="insurer's letter 44",
            actor=stage.people["tam"],
            now=moment,
        )
