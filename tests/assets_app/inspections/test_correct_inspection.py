"""A correction is a new look that stands for the old one; nothing is overwritten."""

from datetime import timedelta

import pytest

from assets_app.inspections import queries
from assets_app.inspections.actions import FindingInput, close_finding, correct_inspection
from assets_app.models import Inspection, RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable


@pytest.fixture
def correct(inspector, now):
    def make(old, **more):
        facts = {
            "inspection_id": old.pk,
            "reason": "wrong day typed",
            "method": old.method,
            "inspected_at": old.inspected_at - timedelta(days=1),
            "result": "accepted",
            "actor": inspector,
            "now": now,
        }
        return correct_inspection(**{**facts, **more})

    return make


def test_the_old_look_stays_as_it_was_and_only_the_new_one_counts(look, correct, weld_joint):
    old = look(note="first")
    new = correct(old, note="second")
    old.refresh_from_db()
    assert old.note == "first"
    assert new.corrects == old
    assert list(queries.looks_that_count().filter(joint=weld_joint)) == [new]


def test_the_record_says_what_was_corrected_and_why(look, correct):
    old = look()
    correct(old)
    facts = RecordEntry.objects.get(deed="inspection.corrected").facts
    assert (facts["corrects"], facts["reason"]) == (old.pk, "wrong day typed")


def test_a_look_is_corrected_once_and_then_its_correction(look, correct):
    old = look()
    new = correct(old)
    with pytest.raises(Conflict) as refusal:
        correct(old)
    assert refusal.value.code == "already_corrected"
    assert correct(new).corrects == new


def test_a_look_does_not_become_clean_while_its_findings_are_open(look, correct, engineer, now):
    old = look(FindingInput(kind="5011", size="0.6"))
    with pytest.raises(Conflict) as refusal:
        correct(old)
    assert refusal.value.code == "findings_still_open"
    assert "found on" in refusal.value.message
    assert refusal.value.data["findings"] == [old.findings.get().pk]
    close_finding(finding_id=old.findings.get().pk, reason="another joint's", actor=engineer, now=now)
    assert correct(old).result == "accepted"


def test_a_size_measured_wrong_is_replaced_in_the_series_and_kept_on_file(look, correct):
    old = look(FindingInput(kind="101", size="40 mm"))
    finding = old.findings.get()
    correct(old, result="findings", findings=[FindingInput(finding_id=finding.pk, size="4.0 mm")])
    assert [size.length_mm for size in queries.sizes(finding)] == [4.0]
    assert finding.sizes.count() == 2


def test_a_correction_needs_a_reason_and_the_right(look, correct, person, site, other_site):
    old = look()
    with pytest.raises(Unprocessable) as refusal:
        correct(old, reason=" ")
    assert refusal.value.code == "reason_needed"
    with pytest.raises(NotAllowed):
        correct(old, actor=person("planner", site))
    with pytest.raises(NotFound):
        correct(old, actor=person("inspector", other_site))
    assert Inspection.objects.count() == 1


def test_the_desk_corrects_a_look_with_the_reason_and_the_old_one_stays_superseded(
    look, inspector, person, site, client
):
    old = look(FindingInput(kind="101", size="40 mm"))
    client.force_login(inspector)
    page = f"/looks/{old.pk}/correct/"
    assert 'name="findings-0-size" value="40 mm"' in client.get(page).content.decode()
    told = {"method": "MT", "inspected_at": "2026-06-14T09:00", "result": "findings", "conditions": "normal"}
    told |= {"findings-TOTAL_FORMS": "1", "findings-INITIAL_FORMS": "0"}
    told |= {"findings-0-finding_id": str(old.findings.get().pk), "findings-0-size": "4.0 mm", "note": "a slip"}
    refused = client.post(page, told)
    assert (refused.status_code, Inspection.objects.count()) == (422, 1)
    assert "a slip" in refused.content.decode(), "what was typed stays"
    sent = client.post(page, told | {"reason": "a figure too many"})
    new = Inspection.objects.get(corrects=old)
    assert sent["Location"] == f"/looks/{new.pk}/"
    before = client.get(f"/looks/{old.pk}/").content.decode()
    assert "Superseded: it no longer counts." in before
    assert "a figure too many" in before
    assert "correct it</a>" not in before
    assert f"/looks/{old.pk}/" in client.get(sent["Location"]).content.decode()
    assert client.get(page).status_code == 409
    client.force_login(person("planner", site))
    assert client.get(f"/looks/{new.pk}/correct/").status_code == 403


def test_length_and_depth_stand_each_in_its_field_when_a_look_is_corrected(look, inspector, client):
    old = look(FindingInput(kind="101", length="14 mm", depth="2.2 mm"))
    client.force_login(inspector)
    page = client.get(f"/looks/{old.pk}/correct/").content.decode()
    assert 'name="findings-0-size" value="14 mm"' in page
    assert 'name="findings-0-depth" value="2.2 mm"' in page
