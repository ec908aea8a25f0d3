"""A repair that welds is done by a named welder whose certificate covers it; what is not known says so."""

from datetime import date, timedelta

import pytest

from assets_app.models import Qualification, RecordEntry
from assets_app.record.sentences import sentence
from assets_app.refusals import NotAllowed, Unprocessable
from schedules.work import raising
from schedules.work.finishing import finish, verify
from schedules.work.holds import place_hold, release_hold
from schedules.work.welding import WeldInput
from tests.schedules.work.conftest import welds

pytestmark = pytest.mark.django_db


@pytest.fixture
def ready(repair_order, all_steps, planner, person, site):
    """A repair of a weld whose steps are done by somebody who does not weld."""
    return all_steps(repair_order, person("technician", site))


def done(order, actor, now, **told):
    return finish(order_id=order.pk, expected_version=order.version, actor=actor, now=now, weld=WeldInput(**told))


def why(refused) -> str:
    assert refused.value.code == "welder_not_qualified"
    return refused.value.message


def test_the_certificate_must_be_for_the_process_of_the_joint(ready, weld_joint, technician, person, site, now):
    weld_joint.weld.process = "111"
    weld_joint.weld.save()
    other = welds(person("technician", site), process="111")
    with pytest.raises(Unprocessable) as refused:
        done(ready, technician, now)
    assert "no certificate for process 111" in why(refused)
    assert refused.value.data["who_could"] == [other.display_name]
    ready.refresh_from_db()
    assert ready.state == "open"
    assert done(ready, technician, now, welder_id=other.pk).state == "done"


def test_the_process_told_goes_before_that_of_the_register(ready, weld_joint, technician, now):
    weld_joint.weld.process = "111"
    weld_joint.weld.save()
    done(ready, technician, now, process="135")
    assert RecordEntry.objects.get(deed="order.finished").facts["weld"]["process"] == "135"


def test_the_position_must_be_covered_where_it_is_told(ready, technician, now):
    with pytest.raises(Unprocessable) as refused:
        done(ready, technician, now, process="135", position="PE")
    assert "no certificate for position PE is on file, only PF" in why(refused)
    assert "Nobody at this site could" in refused.value.message
    with pytest.raises(Unprocessable) as refused:
        done(ready, technician, now, process="135", position="3G")
    assert (refused.value.code, refused.value.field) == ("unknown_position", "position")
    assert "3G is no welding position" in refused.value.message
    assert done(ready, technician, now, process="135", position="pf").state == "done"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"issued_on": date(2024, 1, 1), "expires_on": date(2026, 6, 14)}, "ran out on 14 Jun 2026"),
        ({"issued_on": date(2026, 6, 16)}, "only issued on 16 Jun 2026"),
        ({"issued_on": date(2025, 1, 1)}, "ended on 1 Jul 2025"),
        ({"issued_on": date(2025, 1, 1), "last_used_on": date(2025, 12, 14)}, "ended on 14 Jun 2026"),
    ],
)
def test_a_certificate_counts_within_its_end_and_its_six_months(ready, technician, now, changes, words):
    Qualification.objects.filter(person=technician, kind="welder").update(**changes)
    with pytest.raises(Unprocessable) as refused:
        done(ready, technician, now)
    assert words in why(refused)


def test_the_last_day_of_the_six_months_still_counts(ready, technician, now):
    Qualification.objects.filter(person=technician).update(issued_on=date(2025, 1, 1), last_used_on=date(2025, 12, 15))
    assert done(ready, technician, now).state == "done"


def test_who_has_no_certificate_cannot_answer_for_a_weld(ready, engineer, technician, now):
    with pytest.raises(Unprocessable) as refused:
        done(ready, engineer, now)
    assert "no welder's certificate is on file" in why(refused)
    assert technician.display_name in refused.value.data["who_could"]
    assert engineer.display_name not in refused.value.data["who_could"]


def test_nobody_from_elsewhere_is_named(ready, technician, stranger, now):
    with pytest.raises(Unprocessable) as refused:
        done(ready, technician, now, welder_id=welds(stranger).pk)
    assert refused.value.code == "no_such_welder"


def test_a_process_and_a_position_that_nobody_knows_are_said_to_be_unknown(ready, technician, now, client):
    done(ready, technician, now)
    entry = RecordEntry.objects.get(deed="order.finished")
    assert (entry.facts["weld"]["process"], entry.facts["weld"]["position"]) == (None, None)
    assert entry.facts["weld"]["certificates"] == ["W-7"]
    said = sentence(entry.deed, entry.facts)
    assert "process not known, so not checked, position not known, so not checked" in said
    client.force_login(technician)
    page = client.get(f"/orders/{ready.pk}/").content.decode()
    assert page.count("not known, so not checked") == 2
    assert Qualification.objects.get(person=technician).last_used_on is None, "of no known process: extends nothing"


def test_a_weld_counts_for_the_welders_continuity_and_the_record_says_why(ready, technician, now, today):
    done(ready, technician, now, process="135")
    row = Qualification.objects.get(person=technician)
    assert row.last_used_on == today
    entry = RecordEntry.objects.get(deed="qualification.continued")
    assert (entry.subject_id, entry.facts["why"]) == (row.pk, f"order {ready.number}")


def test_the_welder_neither_verifies_the_order_nor_lifts_the_hold(ready, technician, person, site, weld_joint, now):
    welder = welds(person("engineer", site, authority=True))
    hold = place_hold(joint_id=weld_joint.pk, reason="cracked", actor=technician, now=now)
    order = done(ready, technician, now + timedelta(hours=1), welder_id=welder.pk)
    later = now + timedelta(hours=2)
    with pytest.raises(NotAllowed) as refused:
        verify(order_id=order.pk, expected_version=order.version, actor=welder, now=later)
    assert refused.value.code == "did_the_work"
    with pytest.raises(NotAllowed) as refused:
        release_hold(hold_id=hold.pk, reason="good again", evidence="report 7", actor=welder, now=later)
    assert refused.value.code == "did_the_work"


def test_an_order_that_welds_nothing_asks_for_no_welder(bolted_joint, planner, engineer, technician, all_steps, now):
    order = raising.raise_order_by_hand(joint_id=bolted_joint.pk, kind="tighten", why="loose", actor=planner, now=now)
    order = all_steps(order, engineer)
    with pytest.raises(Unprocessable) as refused:
        done(order, engineer, now, welder_id=technician.pk)
    assert refused.value.code == "weld_not_asked"
    assert done(order, engineer, now).state == "done"


def test_page_and_api_name_the_welder_and_keep_what_was_typed(ready, technician, engineer, client):
    from django.utils import timezone

    day = timezone.now().date()
    Qualification.objects.update(issued_on=day - timedelta(days=9), expires_on=day + timedelta(days=9))
    client.force_login(technician)
    assert "who welded it?" not in client.get(f"/orders/{ready.pk}/").content.decode(), "who may weld is chosen"
    client.force_login(engineer)
    assert "who welded it?" in client.get(f"/orders/{ready.pk}/").content.decode(), "who may not is asked"
    told = {"version": ready.version, "welder_id": engineer.pk, "weld_process": "135", "done_note": "ground flush"}
    answer = client.post(f"/orders/{ready.pk}/finish/", told)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert f"{technician.display_name} could." in page
    assert "ground flush" in page
    sent = {"version": ready.version, "weld": {"welder_id": engineer.pk}}
    refused = client.post(f"/api/v1/orders/{ready.pk}/finish/", sent, content_type="application/json")
    assert (refused.status_code, refused.json()["code"]) == (422, "welder_not_qualified")
    assert client.post(f"/orders/{ready.pk}/finish/", told | {"welder_id": technician.pk}).status_code == 302
    ready.refresh_from_db()
    assert (ready.state, ready.done_by) == ("done", engineer)
