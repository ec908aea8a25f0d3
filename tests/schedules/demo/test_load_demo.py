"""The demo loads, is whole, and is the same for the same day."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from io import StringIO
from itertools import pairwise

import pytest
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command
from django.db import transaction
from django.db.models import Max, Q

from assets_app.inspections.bolt_models import BoltReading
from assets_app.inspections.marks_models import PhotoMark
from assets_app.labels.models import JointLabel
from assets_app.models import Asset, Evidence, Finding, FindingSize, Inspection, Joint, Person, RecordEntry, Role, Site
from assets_app.people.models import RoleName
from assets_app.people.qualification_rules import why_not_ndt
from assets_app.people.queries import is_release_authority
from assets_app.record import verify
from schedules.deferral import rules as backlog_rules
from schedules.deferral.queries import backlog
from schedules.demo.people import PASSWORD, SIGN_INS
from schedules.due import queries
from schedules.models import Counter, Deferral, Delivery, DueDate, Hold, Intent, Programme, Rating, Reading, WorkOrder
from schedules.work.models import Wait

TODAY = date(2026, 6, 15)
LATER = datetime(2026, 6, 15, 12, tzinfo=UTC)


def load(*options: str) -> str:
    said = StringIO()
    call_command("load_demo", "--today", TODAY.isoformat(), *options, stdout=said)
    return said.getvalue()


def due_dates() -> dict[tuple[str, ...], tuple[object, ...]]:
    rows = DueDate.objects.values_list(
        "site__slug", "asset__tag", "joint__tag", "method", "due_on", "middle_on", "governing", "damage_now"
    )
    return {row[:4]: row[4:] for row in rows}


# --- the command ----------------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_database_with_a_site_in_it_is_refused(site):
    with pytest.raises(CommandError, match="only into an empty database"):
        call_command("load_demo")
    assert Site.objects.count() == 1


@pytest.mark.django_db
def test_a_day_that_is_none_is_refused_in_words():
    with pytest.raises(CommandError, match="YYYY-MM-DD"):
        call_command("load_demo", "--today", "tomorrow")


def test_the_sign_ins_are_told_without_a_database():
    said = StringIO()
    call_command("load_demo", "--sign-ins", stdout=said)
    assert PASSWORD in said.getvalue()
    assert all(each.username in said.getvalue() and each.look_at in said.getvalue() for each in SIGN_INS)


def test_there_is_somebody_for_every_role():
    assert {role for each in SIGN_INS for role in each.roles} == set(RoleName.values)


# --- the whole demo -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="class")
def whole(django_db_setup, django_db_blocker):
    """The full demo, once for the tests below; taken back afterwards."""
    with django_db_blocker.unblock(), transaction.atomic():
        said = load()
        yield said
        transaction.set_rollback(True)


@pytest.mark.slow
class TestTheWholeDemo:
    @pytest.fixture(autouse=True)
    def _loaded(self, whole):
        self.said = whole

    def test_there_is_as_much_as_promised(self):
        assert Site.objects.count() == 2
        assert Asset.objects.count() >= 14
        assert Joint.objects.count() >= 600
        assert Inspection.objects.count() >= 900
        first, last = (Reading.objects.order_by(by).first().read_on for by in ("read_on", "-read_on"))
        assert last - first > timedelta(days=365 * 4.9)
        assert f"{Joint.objects.count()} joints" in self.said

    def test_a_meter_was_exchanged_one_rolled_over_and_one_is_silent(self):
        exchanged = Reading.objects.get(kind="exchange")
        later = Reading.objects.filter(counter=exchanged.counter, read_at__gt=exchanged.read_at)
        assert later.count() > 50
        assert all(reading.total > reading.value for reading in later)
        rolled = Reading.objects.filter(counter__rolls_over_at__isnull=False).order_by("read_at")
        shown = list(rolled.values_list("value", flat=True))
        assert any(after < before for before, after in pairwise(shown))
        last = Counter.objects.annotate(last=Max("readings__read_on")).order_by("last").first()
        assert TODAY - last.last > timedelta(days=28)

    def test_an_engineer_lets_the_growing_crack_stand_within_its_window(self):
        crack = Finding.objects.get(kind="101", state="assessed")
        assert crack.sizes.count() >= 4
        assert crack.assessments.first().ends_on > TODAY

    def test_whoever_looked_was_certified_for_it_on_that_day_and_had_a_role_there(self):
        looks = Inspection.objects.select_related("joint__asset", "inspector")
        certificates = {person.pk: list(person.qualifications.all()) for person in Person.objects.all()}
        roles = {(role.person_id, role.site_id) for role in Role.objects.all()}
        for look in looks:
            assert (look.inspector_id, look.joint.asset.site_id) in roles
            if look.method != "BC":
                assert not why_not_ndt(certificates[look.inspector_id], look.method, look.inspected_on)

    def test_every_look_is_in_the_record(self):
        looks = RecordEntry.objects.filter(deed="inspection.recorded")
        assert set(looks.values_list("subject_id", flat=True)) == set(Inspection.objects.values_list("pk", flat=True))

    def test_what_is_owed_counts_from_the_latest_look_on_file(self):
        for programme in Programme.objects.all():
            looks = Inspection.objects.filter(joint=programme.joint_id, method=programme.method)
            last = looks.exclude(result="incomplete").order_by("-inspected_on").first()
            assert programme.last_look_on == (last.inspected_on if last else None)

    def test_the_record_of_both_sites_verifies(self):
        for site in Site.objects.all():
            assert verify.chain(site).whole

    def test_every_severity_stands_open_somewhere(self):
        severities = set(Finding.objects.filter(closed_on=None).values_list("severity", flat=True))
        assert severities == {"record", "watch", "plan repair", "repair before use", "hold now"}

    def test_defects_of_many_kinds_were_seen(self):
        kinds = set(Finding.objects.values_list("kind", flat=True))
        assert {"101", "4011", "5011", "loose", "broken", "gap", "movement"} <= kinds

    def test_a_crack_was_measured_again_and_again_and_has_grown(self):
        crack = max(Finding.objects.filter(kind="101"), key=lambda each: each.sizes.count())
        depths = list(
            FindingSize.objects.filter(finding=crack).order_by("measured_on").values_list("depth_mm", flat=True)
        )
        assert len(depths) >= 4
        assert depths == sorted(depths)

    def test_an_order_stands_in_every_state_and_waits_for_every_reason(self):
        assert set(WorkOrder.objects.values_list("state", flat=True)) == set(WorkOrder.State.values)
        waiting = Wait.objects.filter(ended_on=None, order__state="waiting")
        assert set(waiting.values_list("reason", flat=True)) == set(Wait.Reason.values)

    def test_work_is_put_off_in_every_band_of_age_and_some_of_it_silently(self):
        signed = [0] * len(backlog_rules.band_words())
        silent = 0
        for site in Site.objects.all():
            found = backlog(site, today=TODAY)
            signed = [have + band.signed for have, band in zip(signed, found.bands, strict=True)]
            silent += found.silent_count
        assert all(signed)
        assert silent

    def test_one_deferral_has_lapsed(self):
        rows = Deferral.objects.filter(state="standing", ends_on__lt=TODAY)
        assert rows.exists()

    def test_an_asset_a_joint_and_a_finding_are_held_and_a_hold_was_lifted(self):
        standing = Hold.objects.filter(released_at=None)
        assert standing.filter(joint=None).exists()
        assert standing.exclude(finding=None).exists()
        assert Hold.objects.exclude(released_at=None).exists()

    def test_nobody_verified_or_released_their_own_work(self):
        for order in WorkOrder.objects.exclude(verified_by=None):
            assert order.verified_by_id != order.done_by_id
            assert not order.steps.filter(done_by=order.verified_by).exists()

    def test_about_one_in_twelve_joints_is_unrated_and_says_what_is_missing(self):
        unrated = DueDate.objects.filter(unrated=True).values("joint").distinct().count()
        assert 0.04 < unrated / Joint.objects.count() < 0.12
        assert all(Rating.objects.filter(incomplete=True).values_list("missing", flat=True))

    def test_the_dates_spread_as_in_a_well_kept_park(self):
        days = [(day - TODAY).days for day in DueDate.objects.values_list("due_on", flat=True) if day]
        overdue = sum(day < 0 for day in days) / len(days)
        assert 0.01 < overdue < 0.06
        assert any(0 <= day <= 7 for day in days)
        assert any(7 < day <= 30 for day in days)
        assert sum(0 <= day <= 730 for day in days) > 0.6 * len(days)

    def test_every_limit_that_the_demo_knows_governs_somewhere(self):
        governing = set(DueDate.objects.values_list("governing", flat=True))
        assert {"calendar", "duty", "damage", "growth window", "finding", "after work", "fixed"} <= governing

    def test_eyes_do_not_protect_welds_that_magnetic_particles_protect(self):
        by_eye = Rating.objects.filter(programme__method="VT", unprotected=True).values("programme__joint")
        helped = Rating.objects.filter(programme__method="MT", window_count__gt=0, programme__joint__in=by_eye)
        assert helped.count() > 50
        assert DueDate.objects.filter(unprotected=True).exists()

    def test_due_dates_can_be_explained_and_agree_with_what_stands(self):
        """Every tenth of them, and all that are held, unrated or overdue; the whole of them takes a minute."""
        due = DueDate.objects.in_bulk()
        wanted = set(Programme.objects.order_by("pk").values_list("pk", flat=True)[::10])
        assert _held()
        wanted |= _held() | set(
            DueDate.objects.filter(Q(unrated=True) | Q(due_on__lt=TODAY)).values_list("pk", flat=True)
        )
        for programme_id in sorted(wanted):
            explained = queries.explain(programme_id, now=LATER)
            stored = due[programme_id]
            assert explained.sentence
            assert (explained.due_on, explained.governing) == (stored.due_on, stored.governing)

    def test_photos_are_on_file_with_what_was_seen(self):
        assert Evidence.objects.exclude(finding=None).count() >= 4

    def test_a_photo_of_a_crack_carries_marks(self):
        marks = PhotoMark.objects.filter(evidence__finding__kind="101", struck=None)
        assert {mark.shape for mark in marks} == {"arrow", "text"}
        assert len({mark.evidence_id for mark in marks}) == 1

    def test_bolts_were_read_one_by_one_and_the_one_that_had_settled_was_tightened(self):
        sheets = Inspection.objects.exclude(bolt_readings=None).distinct()
        assert sheets.count() == 2
        for sheet in sheets.prefetch_related("bolt_readings", "joint__bolt_group"):
            readings = list(sheet.bolt_readings.all())
            assert len(readings) == sheet.joint.bolt_group.bolt_count
            assert [each.witness for each in readings if each.torque_left_nm > each.torque_found_nm] == ["moved"]
            assert all(each.torque_left_nm >= each.torque_found_nm for each in readings)

    def test_some_joints_carry_a_label(self):
        assert JointLabel.objects.filter(withdrawn_at=None).count() >= 20

    def test_those_who_sign_in_can_and_one_may_lift_holds(self):
        for each in SIGN_INS:
            person = Person.objects.get(username=each.username)
            assert person.check_password(PASSWORD)
        authorities = [
            person
            for person in Person.objects.all()
            if all(is_release_authority(person, site.pk) for site in Site.objects.all())
        ]
        assert authorities

    def test_alerts_are_told_and_old_ones_are_read(self):
        kinds = set(Intent.objects.values_list("kind", flat=True))
        assert {"overdue", "due soon", "hold placed", "hold released", "qualification ending", "unrated"} <= kinds
        old = Delivery.objects.filter(intent__created_at__lt=LATER - timedelta(days=30))
        assert old.exists()
        assert not old.filter(seen_at=None).exists()


def _held() -> set[int]:
    """Programmes of joints under a standing hold, their own or their asset's."""
    standing = Hold.objects.filter(released_at=None)
    by_joint = Q(joint__in=standing.exclude(joint=None).values("joint"))
    by_asset = Q(asset__in=standing.filter(joint=None).values("asset"))
    return set(Programme.objects.filter(by_joint | by_asset).values_list("pk", flat=True))


# --- the small demo -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="class")
def small(django_db_setup, django_db_blocker):
    """The small demo stands; given are the due dates of another load of the same day, taken back before."""
    with django_db_blocker.unblock(), transaction.atomic():
        point = transaction.savepoint()
        load("--small")
        before = due_dates()
        transaction.savepoint_rollback(point)
        load("--small")
        yield before
        transaction.set_rollback(True)


@pytest.mark.slow
class TestTheSmallDemo:
    @pytest.fixture(autouse=True)
    def _loaded(self, small):
        self.before = small

    def test_the_same_day_gives_the_same_demo(self):
        assert self.before
        assert self.before == due_dates()

    def test_it_is_whole_too(self):
        assert Asset.objects.count() >= 5
        assert set(WorkOrder.objects.values_list("state", flat=True)) >= {"open", "waiting", "done", "closed"}
        assert all(verify.chain(site).whole for site in Site.objects.all())
        assert authenticate(username=SIGN_INS[0].username, password=PASSWORD)

    def test_it_has_bolts_read_a_marked_photo_and_labels(self):
        assert all(rows.objects.exists() for rows in (BoltReading, PhotoMark, JointLabel))
