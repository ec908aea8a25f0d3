"""Programmes, policy, looks made and looks owed: who may, what is written, what is marked."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.db import IntegrityError, transaction

from assets_app.models import Inspection, RecordEntry
from assets_app.refusals import NotAllowed, NotFound, Unprocessable
from schedules.due import actions
from schedules.models import DueDate, OwedLook, Policy, Programme, Rating, StaleMark

pytestmark = pytest.mark.django_db


def look(joint, inspector, now, *, on, method="MT", result="accepted", conditions="good"):
    return Inspection.objects.create(
        joint=joint,
        method=method,
        inspected_at=now,
        inspected_on=on,
        inspector=inspector,
        result=result,
        conditions=conditions,
        recorded_at=now,
    )


def test_a_planner_says_what_is_owed_and_the_record_says_so(weld_joint, person, site, now):
    planner = person("planner", site)
    made = actions.set_programme(joint_id=weld_joint.pk, method="MT", actor=planner, now=now, calendar_months=12)
    assert Programme.objects.get() == made
    assert RecordEntry.objects.get().deed == "programme.changed"
    assert StaleMark.objects.get().rating_too


def test_a_technician_may_not_and_is_told_who_could(weld_joint, person, site, now):
    with pytest.raises(NotAllowed) as refused:
        actions.set_programme(joint_id=weld_joint.pk, method="MT", actor=person("technician", site), now=now)
    assert refused.value.code == "role_lacks_right"
    assert "Planner" in refused.value.message
    assert not RecordEntry.objects.exists()


def test_somebody_from_another_site_does_not_learn_that_the_joint_exists(weld_joint, person, other_site, now):
    with pytest.raises(NotFound):
        actions.set_programme(joint_id=weld_joint.pk, method="MT", actor=person("planner", other_site), now=now)


@pytest.mark.parametrize(("field", "value"), [("calendar_months", 0), ("duty_count", float("nan"))])
def test_a_bad_figure_is_refused_by_name(field, value, weld_joint, person, site, now):
    with pytest.raises(Unprocessable) as refused:
        actions.set_programme(
            joint_id=weld_joint.pk, method="MT", actor=person("planner", site), now=now, **{field: value}
        )
    assert refused.value.field == field


def test_a_programme_made_late_knows_the_looks_made_before(weld_joint, person, site, now):
    look(weld_joint, person("inspector", site), now, on=date(2026, 5, 1))
    made = actions.set_programme(joint_id=weld_joint.pk, method="MT", actor=person("planner", site), now=now)
    assert made.last_look_on == date(2026, 5, 1)


def test_a_policy_is_added_and_the_old_one_stays(person, site, now, asset):
    engineer = person("engineer", site)
    actions.set_policy(site_id=site.pk, actor=engineer, now=now, reason="short of hands", looks_other=3)
    actions.set_policy(site_id=site.pk, actor=engineer, now=now, reason="more", watch_days=60)
    newest = Policy.objects.filter(site=site).first()
    assert (Policy.objects.count(), newest.looks_other, newest.watch_days) == (2, 3, 60)


def test_a_policy_without_a_reason_is_refused(person, site, now):
    with pytest.raises(Unprocessable) as refused:
        actions.set_policy(site_id=site.pk, actor=person("engineer", site), now=now, reason=" ", looks_other=1)
    assert refused.value.code == "reason_missing"


def test_a_look_that_could_not_be_completed_does_not_count(programme, weld_joint, person, site, now):
    made = programme("MT", last_look_on=date(2025, 1, 1))
    with transaction.atomic():
        actions.note_look(
            inspection=look(weld_joint, person("inspector", site), now, on=date(2026, 6, 1), result="incomplete"),
            now=now,
        )
    made.refresh_from_db()
    assert made.last_look_on == date(2025, 1, 1)


def test_a_look_entered_late_does_not_replace_a_later_one(programme, weld_joint, person, site, now):
    made = programme("MT", last_look_on=date(2026, 6, 1))
    with transaction.atomic():
        actions.note_look(inspection=look(weld_joint, person("inspector", site), now, on=date(2026, 5, 1)), now=now)
    made.refresh_from_db()
    assert made.last_look_on == date(2026, 6, 1)


def test_a_look_answers_what_was_owed_for_it_and_nothing_owed_later(programme, weld_joint, person, site, now):
    programme("MT")
    with transaction.atomic():
        answered = actions.owe_look(
            joint_id=weld_joint.pk, limit="after work", why="repair", now=now, due_on=date(2026, 7, 1)
        )
        other = actions.owe_look(
            joint_id=weld_joint.pk, limit="sweep", why="like joint", now=now, due_on=date(2026, 7, 1), method="UT"
        )
        actions.note_look(inspection=look(weld_joint, person("inspector", site), now, on=date(2026, 6, 20)), now=now)
    assert OwedLook.objects.get(pk=answered.pk).satisfied_by is not None
    assert OwedLook.objects.get(pk=other.pk).satisfied_by is None


def test_a_fixed_day_governs_after_commit(programme, weld_joint, person, site, now, django_capture_on_commit_callbacks):
    made = programme("MT", calendar_months=240)
    with django_capture_on_commit_callbacks(execute=True):
        actions.fix_day(
            joint_id=weld_joint.pk,
            due_on=date(2026, 7, 15),
            why="before the season opens",
            actor=person("planner", site),
            now=now,
        )
    due = DueDate.objects.get(programme=made)
    assert (due.due_on, due.governing) == (date(2026, 7, 15), "fixed")


@pytest.mark.parametrize(("method", "named"), [("UT", "only MT"), ("", "first say")])
def test_a_day_is_not_fixed_where_it_would_bind_nothing(method, named, programme, weld_joint, person, site, now):
    if method:
        programme("MT")
    with pytest.raises(Unprocessable, match=named) as refused:
        actions.fix_day(
            joint_id=weld_joint.pk, due_on=date(2026, 7, 15), why="insurer", actor=person("planner", site), now=now,
            method=method,
        )  # fmt: skip
    assert refused.value.code == "method_not_owed"
    assert not OwedLook.objects.exists()


def test_a_look_is_owed_since_the_sites_own_day(programme, weld_joint, site):
    site.time_zone = "Pacific/Auckland"  # twelve hours ahead: already the 16th
    site.save()
    programme("MT")
    with transaction.atomic():
        owed = actions.owe_look(
            joint_id=weld_joint.pk, limit="after work", why="repair", due_on=date(2026, 7, 1),
            now=datetime(2026, 6, 15, 20, tzinfo=UTC),
        )  # fmt: skip
    assert owed.owed_since == date(2026, 6, 16)


def own_detection(x0):
    return {
        "title": "our trials", "source": "trial report 4", "edition": "2026", "status": "published",
        "rows": [{"id": "MT-easy-good", "x0_mm": x0, "b": 1.43, "dimension": "depth"}],
    }  # fmt: skip


def test_an_offices_own_table_moves_the_ratings_and_its_withdrawal_moves_them_back(
    programme, steady_counter, spectrum, steel, person, site, now, django_capture_on_commit_callbacks
):
    made, engineer = programme("MT", conditions="good"), person("engineer", site)

    def detectable():
        return Rating.objects.get(programme=made).detectable_mm

    with django_capture_on_commit_callbacks(execute=True):
        actions.replace_table(
            site_id=site.pk, table="detection", data=own_detection(0.2), reason="own trials", actor=engineer, now=now
        )
    assert detectable() == pytest.approx(0.93, abs=0.005)
    with django_capture_on_commit_callbacks(execute=True):
        actions.restore_table(site_id=site.pk, table="detection", reason="trials withdrawn", actor=engineer, now=now)
    assert detectable() == pytest.approx(1.859, abs=0.005)


@pytest.mark.parametrize(
    ("table", "data", "code"),
    [
        ("colours", {}, "unknown_table"),
        ("detection", {"title": "x"}, "table_malformed"),
        ("detection", {**own_detection(0.2), "rows": [{"id": "MT-easy-good", "b": 1}]}, "table_malformed"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused(person, site, now, table, data, code):
    with pytest.raises(Unprocessable) as refused:
        actions.replace_table(
            site_id=site.pk, table=table, data=data, reason="ours", actor=person("engineer", site), now=now
        )
    assert refused.value.code == code


@pytest.mark.parametrize(
    "wrong", [{"looks_single": 0}, {"looks_other": 0}, {"damage_share_single": 0.0}, {"damage_share_other": 1.5}]
)
def test_the_database_keeps_no_policy_from_which_no_day_would_come(site, now, wrong):
    with pytest.raises(IntegrityError, match="policy_gives_days"), transaction.atomic():
        Policy.objects.create(site=site, set_at=now, **wrong)
