"""The private calendar feed: all-day events of what the person sees, stable, and nothing behind a revoked link."""

from datetime import date, timedelta

import pytest
from icalendar import Calendar

from schedules.alerts import calendar
from schedules.alerts.setting_actions import make_calendar_link, revoke_calendar_link
from schedules.deferral.actions import sign_deferral
from schedules.models import CalendarLink, DueDate, WorkOrder
from schedules.work import actions as work

pytestmark = pytest.mark.django_db


def link_of(who, now):
    _, token = make_calendar_link(actor=who, now=now)
    return f"/calendar/{token}.ics"


def events(body):
    return {str(event["uid"]): event for event in Calendar.from_ical(body).walk("VEVENT")}


@pytest.fixture
def planned(look_order):
    """The look's order, planned for 20 June, given to nobody yet."""
    WorkOrder.objects.filter(pk=look_order.pk).update(planned_on=date(2026, 6, 20))
    return look_order


def test_a_planner_sees_due_dates_planned_orders_and_ends_of_deferrals(planned, dated, planner, manager, now):
    deferral = sign_deferral(
        order_id=planned.pk,
        expected_version=planned.version,
        ends_on=date(2026, 8, 1),
        reason="crane in July",
        interim_measure="weekly by eye",
        actor=manager,
        now=now,
    )
    found = events(calendar.feed(planner, now=now))
    due = DueDate.objects.get(programme=dated)
    assert {uid: (event["dtstart"].dt, event["dtend"].dt) for uid, event in found.items()} == {
        f"due-{dated.pk}@larkmoor-pier.soundjoint": (due.due_on, due.due_on + timedelta(days=1)),
        f"order-{planned.pk}@larkmoor-pier.soundjoint": (date(2026, 6, 20), date(2026, 6, 21)),
        f"deferral-{deferral.pk}@larkmoor-pier.soundjoint": (date(2026, 8, 1), date(2026, 8, 2)),
    }


def test_a_technician_sees_the_orders_given_to_them_and_no_others(planned, technician, now):
    assert events(calendar.feed(technician, now=now)) == {}
    WorkOrder.objects.filter(pk=planned.pk).update(assignee=technician)
    assert set(events(calendar.feed(technician, now=now))) == {f"order-{planned.pk}@larkmoor-pier.soundjoint"}


def test_nobody_sees_another_site(planned, dated, other_site, person, now):
    assert events(calendar.feed(person("planner", other_site), now=now)) == {}


def test_a_date_that_moves_moves_its_event(dated, planned, planner, now):
    before, later = events(calendar.feed(planner, now=now)), now + timedelta(hours=1)
    DueDate.objects.filter(programme=dated).update(due_on=date(2026, 9, 9), changed_at=later)
    moved = {"order_id": planned.pk, "expected_version": planned.version, "planned_on": date(2026, 9, 9)}
    work.plan(**moved, actor=planner, now=later)
    after = events(calendar.feed(planner, now=now))
    assert set(before) == set(after)
    for uid, event in after.items():
        assert event["dtstart"].dt == date(2026, 9, 9), uid
        assert event["dtstamp"].dt == later > before[uid]["dtstamp"].dt, uid
        assert event["sequence"] > before[uid]["sequence"], uid


def test_the_feed_keeps_the_form_of_rfc_5545(planned, planner, technician, now):
    title = "Schweißnähte; 溶接, am Turm\\Ost\x07 " * 4
    WorkOrder.objects.filter(pk=planned.pk).update(title=title)
    body = calendar.feed(planner, now=now)
    lines = body.split(b"\r\n")
    assert b"\n" not in b"".join(lines)
    assert max(map(len, lines)) <= 75  # octets
    assert all(line.decode().isprintable() for line in lines)  # no letter is cut in two, no control character
    assert title.replace("\x07", " ") in str(next(iter(events(body).values()))["summary"])
    nothing = Calendar.from_ical(calendar.feed(technician, now=now))
    assert [part.name for part in nothing.subcomponents] == ["VTIMEZONE"]  # never quite empty


def test_the_link_works_signed_out_and_names_nobody(planned, dated, planner, now, client):
    answer = client.get(link_of(planner, now))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer["Cache-Control"] == "private, no-cache"
    text = answer.content.decode()
    assert planner.username not in text
    assert planner.display_name not in text
    assert events(answer.content)


def test_what_the_reader_has_already_is_not_sent_again(dated, planner, now, client):
    url = link_of(planner, now)
    etag = client.get(url)["ETag"]
    again = client.get(url, headers={"if-none-match": etag})
    assert (again.status_code, again.content) == (304, b"")
    DueDate.objects.filter(programme=dated).update(due_on=date(2026, 9, 9))
    assert client.get(url, headers={"if-none-match": etag}).status_code == 200


def test_a_revoked_or_made_up_link_leads_nowhere(planner, manager, now, client):
    url = link_of(planner, now)
    made = CalendarLink.objects.get()
    assert made.token_hash not in url
    with pytest.raises(Exception, match="no such link") as refused:
        revoke_calendar_link(actor=manager, now=now, link_id=made.pk)
    assert refused.value.code == "not_found"
    assert client.get(url).status_code == 200
    revoke_calendar_link(actor=planner, now=now, link_id=made.pk)
    assert client.get(url).status_code == 404
    assert client.get(f"/calendar/{made.token_hash}.ics").status_code == 404
    assert client.get("/calendar/guess.ics").status_code == 404


def test_the_link_of_somebody_who_left_leads_nowhere_and_of_one_without_a_role_to_nothing(dated, planner, now, client):
    url = link_of(planner, now)
    planner.roles.all().delete()
    assert events(client.get(url).content) == {}
    planner.is_active = False
    planner.save()
    assert client.get(url).status_code == 404


def test_where_there_is_more_than_a_calendar_holds_it_says_so(dated, planner, now, monkeypatch):
    monkeypatch.setattr(calendar, "MOST_EVENTS", 1)
    assert "more-" not in str(calendar.feed(planner, now=now))
    twin = DueDate.objects.get(programme=dated)
    programme = dated
    programme.pk, programme.method = None, "PT"
    programme.save()
    twin.pk, twin.programme, twin.method = None, programme, "PT"
    twin.save(force_insert=True)
    found = events(calendar.feed(planner, now=now))
    assert len(found) == 2
    assert "later ones are not in this calendar" in str(found["more-due@larkmoor-pier.soundjoint"]["summary"])
