"""Random deeds, each by its real action, and midnights: what is recomputed bit by bit equals a clean recompute.

Every deed comes once, in any order. ``DEEDS_SEED=n`` runs a failing walk again, ``ROUNDS=n`` makes it longer, and
``DEEDS=1`` compares after each deed.
"""

from __future__ import annotations

import contextlib
import os
import random
import threading
from datetime import date, timedelta

import pytest
from django.db import connection, transaction

from assets_app.inspections import actions as inspections
from assets_app.inspections.inputs import FindingInput
from assets_app.models import Asset, Finding, Inspection, Joint, Member, Qualification, Weld
from assets_app.refusals import Refused
from assets_app.register import actions as register
from schedules.due import actions, alike_actions, engine, programme_actions, programmes, sweeps
from schedules.due.store import Scope
from schedules.duty import actions as duty
from schedules.duty import setup
from schedules.duty.open_days import Span
from schedules.models import (
    Counter,
    DueDate,
    OwedLook,
    Programme,
    Rating,
    Reading,
    Season,
    StaleMark,
    StressSpectrum,
    Sweep,
    SweepPart,
)

ALL = Scope(asset_range=(0, 2**62))
LEFT_OUT = {"damage_now", "count_now", "reading_on", "forecast_version", "rating_version", "changed_at", "computed_on"}


class Pier:
    """Two sites on two clocks, three assets, and everybody who does something there."""

    def __init__(self, dice: random.Random, site, other_site, person, now, committing):
        self.dice, self.now, self.committing = dice, now, committing
        other_site.time_zone = "Pacific/Auckland"
        other_site.save()
        self.planner, self.engineer, self.inspector = (
            person(role, site) for role in ("planner", "engineer", "inspector")
        )
        for who, role in ((self.planner, "planner"), (self.engineer, "engineer"), (self.inspector, "inspector")):
            who.roles.create(site=other_site, name=role)
        for method, kind in (("MT", "ndt"), ("VT", "ndt")):
            Qualification.objects.create(
                person=self.inspector, kind=kind, method=method, level=2, issued_on=date(2024, 1, 1),
                expires_on=date(2029, 1, 1),
            )  # fmt: skip
        self.sites = [site, other_site]
        for number, where in enumerate((site, site, other_site)):
            asset = Asset.objects.create(site=where, tag=f"R-{number}", kind="ride", commissioned_on="2019-04-01")
            steel = Member.objects.create(asset=asset, tag="M", steel_grade="S355J2", wall_mm=12)
            for place in range(2):
                self._joint(asset, steel, place)
            self._counter(asset)

    def _counter(self, asset):
        counter = setup.add_counter(asset_id=asset.pk, name="cycles", unit="cycles", actor=self.planner, now=self.now)
        entries = [
            duty.Entry(week, counter.pk, 300.0 * week, self.now - timedelta(weeks=20 - week)) for week in range(20)
        ]
        duty.post_readings(entries=entries, actor=self.planner, now=self.now, source="api")

    def _joint(self, asset, steel, place):
        joint = Joint.objects.create(
            asset=asset, member=steel, tag=f"W-{place}", kind="weld", load_path="single", access="easy"
        )
        Weld.objects.create(joint=joint, wall_mm=12, attachment_mm=30, detail_category_mpa=71)
        for method in ("VT", "MT"):
            Programme.objects.create(joint=joint, asset=asset, method=method, calendar_months=24, conditions="good")
        StressSpectrum.objects.create(
            joint=joint, bins=[[60.0, 1.0], [30.0, 4.0]], peak_stress_mpa=90.0, status="calculated", source="report",
            valid_from="2019-04-01",
        )  # fmt: skip

    def one(self, rows):
        """Any of the rows; the walk passes over a deed that has nothing to be done to."""
        found = list(rows.order_by("pk"))
        if not found:
            raise Refused("nothing", "there is none")
        return self.dice.choice(found)

    def do(self, name):
        """A deed, and what came of it in words."""
        self.now += timedelta(seconds=1)
        try:
            with self.committing(execute=True), transaction.atomic():
                getattr(self, name)()
        except Refused as refused:
            return f"{name} (refused: {refused.code})"
        return name

    def moment(self, days=400):
        return self.now - timedelta(minutes=self.dice.randrange(1, days * 1440))

    # --- counts, seasons, spectra -------------------------------------------------------------------------------------

    def reading(self):
        counter = self.one(Counter.objects.all())
        last = counter.readings.order_by("read_at").last()
        at = self.now if last and self.dice.random() < 0.7 else self.moment()
        value = (last.value if last and at == self.now else 0.0) + self.dice.choice([0, 40, 700, 9000])
        duty.post_reading(
            counter_id=counter.pk, value=value, read_at=at, actor=self.planner, now=self.now, source="api",
            confirmed=True,
        )  # fmt: skip

    def exchange(self):
        counter = self.one(Counter.objects.all())
        last = counter.readings.order_by("read_at").last()
        duty.exchange_meter(
            counter_id=counter.pk, closing_value=(last.value if last else 0) + 100, opening_value=0.0, at=self.now,
            actor=self.planner, now=self.now, source="api", confirmed=True,
        )  # fmt: skip

    def withdrawal(self):
        reading = self.one(Reading.objects.all())
        duty.withdraw_reading(reading_id=reading.pk, reason="wrong", actor=self.planner, now=self.now)

    def counter(self):
        counter = self.one(Counter.objects.all())
        setup.change_counter(
            counter_id=counter.pk, rolls_over_at=None, expected_every_days=self.dice.choice([2, 14, 90]),
            actor=self.planner, now=self.now,
        )  # fmt: skip

    def season(self):
        asset = self.one(Asset.objects.all())
        whole = self.dice.random() < 0.5
        span = self.dice.choice([Span(4, 1, 9, 30), Span(11, 1, 2, 28, "1111100"), Span(6, 1, 6, 30)])
        give = {"name": "season", "span": span, "actor": self.planner, "now": self.now}
        setup.add_season(site_id=asset.site_id, asset_id=None if whole else asset.pk, **give)

    def no_season(self):
        setup.remove_season(season_id=self.one(Season.objects.all()).pk, actor=self.planner, now=self.now)

    def spectrum(self):
        joint = self.one(Joint.objects.all())
        setup.add_spectrum(
            joint_id=joint.pk, bins=[[self.dice.choice([20.0, 50.0, 90.0]), self.dice.choice([1, 8])]], source="report",
            status="measured", valid_from=self.now.date() + timedelta(days=self.dice.randrange(-300, 3)),
            peak_stress_mpa=self.dice.choice([None, 60.0, 120.0]), actor=self.engineer, now=self.now,
        )  # fmt: skip

    # --- what is owed -------------------------------------------------------------------------------------------------

    def programme(self):
        changes = self.dice.choice([
            {"active": False}, {"active": True}, {"calendar_months": 3}, {"duty_count": 2000.0}, {"conditions": "poor"},
            {"calendar_months": None, "duty_count": None},
        ])  # fmt: skip
        method = self.dice.choice(["VT", "MT", "UT"])
        joint = self.one(Joint.objects.all())
        actions.set_programme(joint_id=joint.pk, method=method, actor=self.planner, now=self.now, **changes)

    def imported(self):
        joint = self.one(Joint.objects.all())
        row = {
            "joint_id": joint.pk, "asset_id": joint.asset_id, "method": self.dice.choice(["VT", "ET"]),
            "calendar_months": self.dice.choice([6, None]), "duty_count": self.dice.choice([500.0, None]),
            "last_look_on": self.dice.choice([None, self.now.date() - timedelta(days=70)]), "source": "",
            "fallback": "-",
        }  # fmt: skip
        with transaction.atomic():
            programmes.take_programmes(rows=[row], now=self.now, check_only=False)

    def policy(self):
        changes = self.dice.choice([{"looks_single": 5}, {"damage_share_single": 0.1}, {"watch_days": 10}])
        site = self.dice.choice(self.sites)
        actions.set_policy(site_id=site.pk, actor=self.engineer, now=self.now, reason="trial", **changes)

    def table(self):
        site = self.dice.choice(self.sites)
        data = {
            "title": "ours", "source": "report", "edition": "2026", "status": "published",
            "rows": [{"id": "MT-easy-good", "x0_mm": 0.2, "b": 1.43, "dimension": "depth"}],
        }  # fmt: skip
        give = {"site_id": site.pk, "table": "detection", "reason": "ours", "actor": self.engineer, "now": self.now}
        if self.dice.random() < 0.5:
            actions.replace_table(**give, data=data)
        else:
            actions.restore_table(**give)

    def fixed(self):
        joint = self.one(Joint.objects.all())
        actions.fix_day(
            joint_id=joint.pk, due_on=self.now.date() + timedelta(days=self.dice.randrange(-5, 200)), why="the insurer",
            method=self.dice.choice(["", "VT", "MT"]), limit=self.dice.choice(["fixed", "load change"]),
            actor=self.planner, now=self.now,
        )  # fmt: skip

    def sweep(self):
        joint = self.one(Joint.objects.all())
        others = Joint.objects.filter(asset__site=joint.asset.site).exclude(pk=joint.pk).values_list("pk", flat=True)
        alike_actions.owe_sweep(
            joint_id=joint.pk, joint_ids=list(others), due_on=self.now.date() + timedelta(days=9), why="a crack",
            actor=self.planner, now=self.now,
        )  # fmt: skip

    def taken_back(self):
        owed = self.one(OwedLook.objects.filter(withdrawn_why=""))
        actions.withdraw_owed_look(owed_id=owed.pk, reason="mistake", actor=self.engineer, now=self.now)

    def after_work(self):
        joint, method = self.one(Joint.objects.all()), self.dice.choice(["VT", "UT"])
        with transaction.atomic():
            programme_actions.ensure_programme(joint_id=joint.pk, method=method, why="order 1", now=self.now)
            actions.owe_look(
                joint_id=joint.pk, limit="after work", why="repair", method=method, now=self.now,
                due_on=self.now.date() + timedelta(days=30), due_total=self.dice.choice([None, 900.0]),
            )  # fmt: skip

    # --- what was seen ------------------------------------------------------------------------------------------------

    def _seen(self):
        found = self.dice.choice(["accepted", "incomplete", "findings"])
        size = {"kind": self.dice.choice(["100", "2011"]), "size": f"{self.dice.choice([2, 8])} mm"}
        return {
            "method": self.dice.choice(["VT", "MT"]), "inspected_at": self.moment(20), "result": found,
            "conditions": self.dice.choice(["good", "poor"]), "actor": self.inspector, "now": self.now,
            "findings": [FindingInput(**size)] if found == "findings" else [],
            "counter_total": self.dice.choice([None, None, 500.0, 1e7]),
        }  # fmt: skip

    def look(self):
        inspections.record_inspection(joint_id=self.one(Joint.objects.all()).pk, **self._seen())

    def correction(self):
        old = self.one(Inspection.objects.all())
        inspections.correct_inspection(inspection_id=old.pk, reason="mistyped", **self._seen())

    def judgement(self):
        finding = self.one(Finding.objects.filter(state__in=["open", "assessed"]))
        give = {"finding_id": finding.pk, "reason": "seen again", "actor": self.engineer, "now": self.now}
        severity = self.dice.choice(["hold now", "plan repair", "watch", "record"])
        deed = self.dice.choice(["raise", "lower", "sign", "close", "repair", "join"])
        if deed == "raise":
            inspections.raise_severity(**give, severity=severity)
        elif deed == "lower":
            inspections.lower_severity(**give, severity=severity)
        elif deed == "sign":
            inspections.sign_assessment(**give, ends_on=self.now.date() + timedelta(days=2), severity="watch")
        elif deed == "close":
            inspections.close_finding(**give)
        elif deed == "repair":
            inspections.mark_repaired(finding=finding, actor=self.engineer, now=self.now)
        else:
            same = self.one(Finding.objects.filter(joint=finding.joint, kind=finding.kind).exclude(pk=finding.pk))
            inspections.join_finding(**give, same_as=same.pk)

    def used_up(self):
        joint = self.one(Joint.objects.all())
        inspections.sign_assessment(
            joint_id=joint.pk, ends_on=self.now.date() + timedelta(days=300), reason="strain measured",
            actor=self.engineer, now=self.now,
        )  # fmt: skip

    # --- the register, and the clock ----------------------------------------------------------------------------------

    def asset(self):
        changes = self.dice.choice([
            {"status": "retired"}, {"status": "in_service"}, {"status": "out_of_service"}, {"consequence": "low"},
            {"commissioned_on": date(2024, 4, 1)}, {"commissioned_on": None},
        ])  # fmt: skip
        register.change_asset(asset_id=self.one(Asset.objects.all()).pk, actor=self.planner, now=self.now, **changes)

    def steel(self):
        member = self.one(Member.objects.all())
        changes = self.dice.choice([{"steel_grade": "S235JR"}, {"wall_mm": 8.0}])
        register.change_member(member_id=member.pk, actor=self.planner, now=self.now, **changes)

    def joint(self):
        joint = self.one(Joint.objects.all())
        changes = self.dice.choice([
            {"active": False}, {"active": True}, {"access": "difficult"}, {"load_path": "multiple"},
            {"weld": {"wall_mm": 6.0}}, {"installed_on": date(2025, 4, 1)},
        ])  # fmt: skip
        register.change_joint(joint_id=joint.pk, actor=self.planner, now=self.now, **changes)

    def midnight(self):
        """Some hours or days go by, and beat does what it does."""
        self.now += timedelta(hours=self.dice.choice([5, 13, 24, 24 * 16]))
        inspections.lapse_assessments(now=self.now)
        sweeps.start_owed(now=self.now)
        engine.recompute_stale(now=self.now)
        sweeps.work_off(worker="test", now=self.now)


DEEDS = [name for name in vars(Pier) if not name.startswith("_") and name not in ("one", "do", "moment")]
OFTEN = [*DEEDS, "look", "judgement", "reading"]


def rows() -> dict[int, dict]:
    names = [field.attname for field in DueDate._meta.concrete_fields if field.attname not in LEFT_OUT]
    return {row["programme_id"]: row for row in DueDate.objects.values(*names)}


def clean(now) -> dict[int, dict]:
    """All of it worked out anew from nothing, and undone again."""
    with transaction.atomic():
        duty.refresh_forecasts(counter_ids=Counter.objects.values_list("pk", flat=True), now=now)
        DueDate.objects.all().delete()
        Rating.objects.all().delete()
        engine.recompute(ALL, now=now)
        found = rows()
        transaction.set_rollback(True)
    return found


@pytest.mark.django_db
def test_whatever_is_done_the_dates_are_those_of_a_clean_recompute(
    site, other_site, person, now, monkeypatch, django_capture_on_commit_callbacks
):
    seed = int(os.environ.get("DEEDS_SEED", random.randrange(10**6)))
    dice = random.Random(seed)
    monkeypatch.setattr(actions, "_start_work", lambda: None)
    pier = Pier(dice, site, other_site, person, now, django_capture_on_commit_callbacks)
    engine.recompute(ALL, now=now)
    done = []
    walk = [name for _ in range(int(os.environ.get("ROUNDS", "1"))) for name in dice.sample(OFTEN, len(OFTEN))]
    at_once = int(os.environ.get("DEEDS", "4"))
    for start in range(0, len(walk), at_once):
        burst = [pier.do(name) for name in walk[start : start + at_once]]
        engine.recompute_stale(now=pier.now)
        done += burst
        assert rows() == clean(pier.now), f"DEEDS_SEED={seed}, after {', '.join(burst)}"
    assert not StaleMark.objects.exists()
    assert sum("refused" not in each for each in done) > len(done) / 3, (seed, done)


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_sweeps_at_once_one_killed_in_the_middle_while_readings_arrive_end_as_a_clean_recompute(
    site, other_site, person, now, monkeypatch
):
    monkeypatch.setattr(actions, "_start_work", lambda: None)
    monkeypatch.setattr(sweeps, "PART_SIZE", 4)  # a part an asset
    pier = Pier(random.Random(1), site, other_site, person, now, None)
    work_out, killed = engine.due_dates, threading.Event()

    def killed_once(*given):
        if threading.current_thread().name == "killed" and not killed.is_set():
            killed.set()
            raise KeyboardInterrupt
        return work_out(*given)

    monkeypatch.setattr(engine, "due_dates", killed_once)

    def read_on():
        for counter in Counter.objects.order_by("pk"):
            for hour in (1, 2):
                give = {"actor": pier.planner, "now": now + timedelta(hours=9), "source": "api", "confirmed": True}
                at = now + timedelta(hours=hour)
                duty.post_reading(counter_id=counter.pk, value=6000.0 + 500 * hour, read_at=at, **give)
                engine.recompute_stale(now=now)

    def swept(worker):
        with contextlib.suppress(KeyboardInterrupt):
            sweeps.work_off(worker=worker, now=now)

    def in_thread(name, work, *given):
        def run():
            try:
                work(*given)
            finally:
                connection.close()

        return threading.Thread(target=run, name=name)

    sweeps.start_owed(now=now)
    sweeps.start(site=site, for_day=now.date(), now=now, ratings_too=True)
    threads = [in_thread(name, swept, name) for name in ("killed", "one", "two")] + [in_thread("reader", read_on)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert killed.is_set()
    assert SweepPart.objects.filter(done_at=None).count() == 1
    later = now + sweeps.CLAIM_HOLDS + timedelta(seconds=1)
    assert sweeps.work_off(worker="after", now=later) == 1
    assert set(Sweep.objects.values_list("state", flat=True)) == {"done"}
    engine.recompute_stale(now=later)
    assert rows() == clean(later)
