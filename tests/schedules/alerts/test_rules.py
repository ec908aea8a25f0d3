"""Which drafts follow from a state, and how long a message is tried."""

from datetime import UTC, date, datetime, timedelta

import pytest

from assets_app.people.models import RoleName
from schedules.alerts import rules
from schedules.models import Intent

TODAY = date(2026, 6, 15)


def test_every_kind_is_heard_by_some_role():
    assert set(rules.HEARS) == set(Intent.Kind.values)
    assert all(roles <= set(RoleName.values) for roles in [*rules.HEARS.values(), set(rules.STEPS)])
    assert [kind for kind, roles in rules.HEARS.items() if not roles] == [rules.ESCALATED]  # its steps name the roles


def test_an_overdue_look_has_one_key_a_date():
    facts = {"programme_id": 7, "joint_id": 3, "what": "MT of W-001", "today": TODAY}
    one = rules.overdue(due_on=date(2026, 6, 1), **facts)
    assert one.key == "overdue:7:2026-06-01"
    assert one.text == "MT of W-001 was due on 1 Jun 2026, 14 days ago."
    assert rules.overdue(due_on=date(2026, 6, 14), **facts).text.endswith("1 day ago.")


@pytest.mark.parametrize(
    ("ends_on", "key"),
    [
        (TODAY + timedelta(days=15), None),
        (TODAY + timedelta(days=14), "deferral ending:4:2026-06-29"),
        (TODAY, "deferral ending:4:2026-06-15"),
        (TODAY - timedelta(days=1), "deferral ended:4:2026-06-14"),
    ],
)
def test_a_deferral_is_told_before_its_end_and_once_more_when_it_has_passed(ends_on, key):
    draft = rules.deferral(deferral_id=4, order_id=9, what="x", ends_on=ends_on, signed_by_id=1, today=TODAY)
    assert (draft.key if draft else None) == key


@pytest.mark.parametrize(
    ("as_of", "key"),
    [(TODAY - timedelta(days=15), "counter silent:5:2026-05-31"), (None, "counter silent:5:never")],
)
def test_a_silent_counter_is_named_by_its_last_reading(as_of, key):
    assert rules.counter_silent(counter_id=5, what="cycles", as_of=as_of, every_days=14).key == key


@pytest.mark.parametrize(("days", "told"), [(-1, False), (0, True), (60, True), (61, False)])
def test_a_qualification_is_told_of_before_it_ends_not_after(days, told):
    draft = rules.qualification_ending(
        qualification_id=1, site_id=1, person_id=1, who="A", what="MT", expires_on=TODAY + timedelta(days), today=TODAY
    )
    assert (draft is not None) == told


@pytest.mark.parametrize(("days", "told"), [(-1, False), (0, True), (60, True), (61, False)])
def test_a_welder_s_six_months_that_end_before_the_certificate_are_told(days, told):
    ends_on = TODAY + timedelta(days)
    facts = {"qualification_id": 1, "site_id": 1, "person_id": 1, "who": "A", "what": "135", "today": TODAY}
    draft = rules.qualification_ending(expires_on=TODAY + timedelta(400), unused_ends_on=ends_on, **facts)
    assert (draft is not None) == told
    if draft:
        assert (draft.for_day, draft.key) == (ends_on, f"qualification ending:1:1:{ends_on}")
        assert "six months since A last used the process" in draft.text


@pytest.mark.parametrize(("reason", "said"), [("crack seen at the toe ", "toe. Placed"), ("Stop!", "Stop! Placed")])
def test_what_somebody_wrote_ends_before_the_next_sentence(reason, said):
    draft = rules.hold_placed(hold_id=1, what="W-001", reason=reason, by="Ada", joint_id=None)
    assert said in draft.text


def test_counts_in_alerts_are_written_as_on_pages():
    facts = {"site_id": 1, "count": 1725, "today": TODAY}
    told = (rules.unrated(**facts), rules.many(kind="overdue", **facts))
    told += (rules.many_escalated(days=30, role="manager", **facts),)
    assert all("1\u202f725 looks" in one.text and "1\u202f725 " in one.subject for one in told)


def test_unrated_is_told_once_a_week_while_there_are_any():
    assert rules.unrated(site_id=1, count=0, today=TODAY) is None
    keys = {rules.unrated(site_id=1, count=3, today=TODAY + timedelta(days)).key for days in range(7)}
    assert keys == {"unrated:1:2026-W25"}


@pytest.mark.parametrize(("shift", "again"), [(0, False), (13, False), (-13, False), (14, True), (-14, True)])
def test_a_date_that_a_reading_moves_a_little_is_no_news(shift, again):
    assert rules.is_told_already(TODAY.toordinal() + shift, [TODAY.toordinal()]) is not again


def test_a_message_is_tried_for_about_a_day_with_growing_pauses_and_then_given_up():
    waits = []
    while (wait := rules.retry_after(len(waits) + 1)) is not None:
        waits.append(wait)
    assert waits == sorted(waits)
    assert waits[:3] == [timedelta(minutes=1), timedelta(minutes=2), timedelta(minutes=4)]
    assert max(waits) == timedelta(hours=1), "a mail server that is back is found within the hour"
    assert timedelta(hours=24) < sum(waits, timedelta()) < timedelta(hours=30)


@pytest.mark.parametrize(
    ("said", "seconds"),
    [
        ("120", 120),
        (" 0 ", 0),
        ("Mon, 15 Jun 2026 10:00:00 GMT", 3600),
        ("Mon, 15 Jun 2026 08:00:00 GMT", 0),
        ("9" * 400, 86400),
        ("Fri, 31 Dec 9999 23:59:59 GMT", 86400),
        ("", 0),
        ("soon", 0),
        ("-5", 0),
        ("\u00b2", 0),
        ("99 99 9999 99", 0),
    ],
)
def test_how_long_a_receiver_asks_to_be_left_alone(said, seconds):
    assert rules.asked_to_wait(said, datetime(2026, 6, 15, 9, tzinfo=UTC)) == timedelta(seconds=seconds)


def test_a_receiver_is_asked_again_within_the_hour_or_when_it_asked_for():
    assert rules.post_again_after(1) == timedelta(minutes=1)
    assert rules.post_again_after(10**6) == timedelta(hours=1)
    assert rules.post_again_after(1, timedelta(hours=5)) == timedelta(hours=5)
    assert rules.post_again_after(5, timedelta(seconds=1)) == timedelta(minutes=16)
