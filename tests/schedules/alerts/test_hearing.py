"""A site's own rules: who hears, by which channel, how long before; each change is kept and signed."""

from datetime import date, timedelta

import pytest

from assets_app.models import RecordEntry
from assets_app.refusals import NotAllowed, NotFound, Unprocessable
from schedules.alerts import actions, deliver, queries
from schedules.alerts.hearing import Book
from schedules.alerts.setting_actions import set_rule
from schedules.models import AlertRule, Delivery, DueDate, Intent

pytestmark = pytest.mark.django_db


def told(site, kind, now, **fields):
    return Intent.objects.create(site=site, kind=kind, key=f"{kind}:1", subject="s", text="t", created_at=now, **fields)


def given(site, manager, now, **rule):
    return set_rule(site_id=site.pk, reason="as agreed", actor=manager, now=now, **rule)


def channels(who):
    return sorted(Delivery.objects.filter(person=who).values_list("channel", flat=True))


def test_without_a_rule_the_shipped_table_stands(site):
    book = Book([site.pk])
    assert book.hears(site.pk, "overdue", "manager").at_all
    assert not book.hears(site.pk, "due soon", "manager").at_all
    assert book.lead_days(site.pk, "due soon") == 30  # the policy's
    assert book.steps(site.pk) == [("manager", 14), ("engineer", 30)]


def test_a_role_that_is_added_hears_and_one_that_is_switched_off_does_not(site, planner, manager, technician, now):
    given(site, manager, now, kind="due soon", role="technician", email=False)
    given(site, manager, now, kind="due soon", role="planner", is_on=False)
    told(site, "due soon", now)
    actions.expand(now=now)
    assert (channels(technician), channels(planner), channels(manager)) == (["in-app"], [], [])


def test_the_newest_rule_governs_and_the_earlier_ones_are_its_history(site, planner, manager, now):
    given(site, manager, now, kind="due soon", role="planner", is_on=False)
    given(site, manager, now, kind="due soon", role="planner")
    told(site, "due soon", now)
    actions.expand(now=now)
    assert channels(planner) == ["in-app"]
    assert [row.is_on for row in queries.rule_history(planner)] == [True, False]
    assert RecordEntry.objects.filter(deed="alert_rule.set").count() == 2


def test_who_should_hear_by_email_only_and_has_none_is_told_in_the_app(site, planner, manager, now):
    given(site, manager, now, kind="due soon", role="planner", in_app=False)
    told(site, "due soon", now)
    actions.expand(now=now)
    assert channels(planner) == ["in-app"]


def test_what_is_told_by_email_stands_in_the_app_too_and_is_acknowledged_there(site, planner, manager, now):
    planner.email = "piet@larkmoor.example"
    planner.save()
    rule = given(site, manager, now, kind="due soon", role="planner", in_app=False)
    assert rule.in_app, "the answer and the record say what is so"
    AlertRule.objects.update(in_app=False)  # as one was kept before
    told(site, "due soon", now)
    actions.expand(now=now)
    assert channels(planner) == ["email", "in-app"]
    mine = queries.mine(planner).get()
    assert actions.acknowledge(actor=planner, now=now, delivery_id=mine.pk).acknowledged_by == planner


def test_a_rule_of_one_site_says_nothing_at_another(site, other_site, person, manager, now):
    there = person("planner", other_site)
    given(site, manager, now, kind="due soon", role="planner", is_on=False)
    told(other_site, "due soon", now)
    actions.expand(now=now)
    assert channels(there) == ["in-app"]


def test_a_longer_lead_time_tells_earlier(dated, site, manager, now):
    Intent.objects.all().delete()
    DueDate.objects.filter(programme=dated).update(due_on=date(2026, 7, 25))  # 40 days ahead
    actions.raise_owed(now=now)
    assert not Intent.objects.filter(kind="due soon").exists()
    given(site, manager, now, kind="due soon", days=60)
    actions.raise_owed(now=now + timedelta(days=1))
    assert Intent.objects.filter(kind="due soon", programme=dated).count() == 1


@pytest.mark.parametrize(
    ("rule", "code"),
    [
        ({"kind": "rain", "role": "planner"}, "unknown_kind"),
        ({"kind": "overdue", "role": "king"}, "unknown_role"),
        ({"kind": "overdue"}, "no_lead"),
        ({"kind": "due soon", "role": "planner", "days": 9}, "no_lead"),
        ({"kind": "due soon", "days": 0}, "days_out_of_range"),
        ({"kind": "due soon", "days": 366}, "days_out_of_range"),
        ({"kind": "escalated", "role": "auditor"}, "step_without_days"),
        ({"kind": "hold placed", "role": "technician", "in_app": False, "email": False}, "holds_are_told"),
        ({"kind": "hold placed", "role": "technician", "is_on": False}, "holds_are_told"),
    ],
)
def test_a_rule_that_makes_no_sense_is_refused(site, manager, now, rule, code):
    with pytest.raises(Unprocessable) as refused:
        given(site, manager, now, **rule)
    assert refused.value.code == code
    assert not AlertRule.objects.exists()


def test_only_a_manager_of_the_site_sets_rules_and_says_why(site, other_site, person, planner, manager, now):
    with pytest.raises(NotAllowed):
        given(site, planner, now, kind="due soon", role="planner")
    with pytest.raises(NotFound):
        given(site, person("manager", other_site), now, kind="due soon", role="planner")
    with pytest.raises(Unprocessable) as refused:
        set_rule(site_id=site.pk, kind="due soon", role="planner", reason=" ", actor=manager, now=now)
    assert refused.value.code == "reason_missing"


# --- escalation -------------------------------------------------------------------------------------------------------


def steps_told():
    return sorted(Intent.objects.filter(kind="escalated").values_list("role", flat=True))


@pytest.fixture
def late(dated, site):
    """A look that was due on 1 June; today is the 15th."""
    Intent.objects.all().delete()
    DueDate.objects.filter(programme=dated).update(due_on=date(2026, 6, 1))
    return dated


def test_a_look_that_stays_overdue_goes_up_step_by_step_and_each_role_hears_its_own(
    late, manager, engineer, planner, now
):
    seen = []
    for days in range(20):
        actions.raise_owed(now=now + timedelta(days=days))
        seen.append(steps_told())
    assert seen[0] == ["manager"]  # 14 days overdue
    assert seen[15] == ["manager"]
    assert seen[16:] == [["engineer", "manager"]] * 4  # 30 days; no step twice
    deliver.deliver_owed(now=now)
    hears = Delivery.objects.filter(intent__kind="escalated").values_list("person", flat=True)
    assert sorted(hears) == sorted([manager.pk, engineer.pk])


def test_a_site_sets_its_own_steps(late, site, manager, now):
    given(site, manager, now, kind="escalated", role="manager", is_on=False)
    given(site, manager, now, kind="escalated", role="planner", days=10)
    actions.raise_owed(now=now)
    assert steps_told() == ["planner"]


def test_once_somebody_sees_to_it_it_goes_up_no_further(late, site, planner, engineer, now):
    actions.raise_owed(now=now)
    deliver.deliver_owed(now=now)
    mine = Delivery.objects.get(person=planner, intent__kind="overdue", channel="in-app")
    actions.acknowledge(actor=planner, now=now, delivery_id=mine.pk)
    for days in range(1, 20):
        actions.raise_owed(now=now + timedelta(days=days))
    assert steps_told() == ["manager"]
    # ... but a look that falls due anew is another matter
    DueDate.objects.filter(programme=late).update(due_on=date(2026, 7, 20))
    actions.raise_owed(now=now + timedelta(days=60))
    assert steps_told() == ["manager", "manager"]


def test_a_flood_goes_up_as_one_count_a_week(late, site, manager, now, monkeypatch):
    monkeypatch.setattr("schedules.alerts.rules.MANY", 0)
    for days in range(8):
        actions.raise_owed(now=now + timedelta(days=days))
    keys = Intent.objects.filter(kind="escalated", role="manager").values_list("key", flat=True)
    assert sorted(keys) == [f"escalated:site {site.pk}:manager:2026-W{week}" for week in (25, 26)]


# --- acknowledge ------------------------------------------------------------------------------------------------------


def test_one_acknowledges_and_all_see_who_and_when(site, planner, manager, now):
    told(site, "overdue", now)
    actions.expand(now=now)
    mine, his = (Delivery.objects.get(person=who) for who in (planner, manager))
    with pytest.raises(NotFound):
        actions.acknowledge(actor=planner, now=now, delivery_id=his.pk)
    actions.acknowledge(actor=planner, now=now, delivery_id=mine.pk)
    intent = queries.mine(manager).get().intent
    assert (intent.acknowledged_by, intent.acknowledged_at) == (planner, now)
    assert queries.unseen_count(planner) == 0
    assert RecordEntry.objects.filter(deed="alert.acknowledged", actor=planner).count() == 1
    with pytest.raises(Exception, match="has acknowledged") as refused:
        actions.acknowledge(actor=manager, now=now, delivery_id=his.pk)
    assert refused.value.code == "already_acknowledged"


def test_who_lost_their_role_can_acknowledge_nothing(site, planner, now):
    told(site, "overdue", now)
    actions.expand(now=now)
    planner.roles.all().delete()
    with pytest.raises(NotFound):
        actions.acknowledge(actor=planner, now=now, delivery_id=Delivery.objects.get().pk)
