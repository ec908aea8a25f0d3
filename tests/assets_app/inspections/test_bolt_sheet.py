"""The bolt-by-bolt sheet: worked out at once, recorded whole, never milder than what it showed."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from assets_app.inspections import bolt_loads
from assets_app.inspections.bolt_rules import BoltInput
from assets_app.inspections.bolt_sheet_actions import record_bolt_sheet, work_out_sheet
from assets_app.inspections.inputs import FindingInput
from assets_app.models import BoltReading, Finding, Inspection, RecordEntry
from assets_app.refusals import NotAllowed, NotFound, Unprocessable

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock(monkeypatch, now):
    monkeypatch.setattr(timezone, "now", lambda: now)


@pytest.fixture
def technician(person, site):
    return person("technician", site)


def sheet(count=12, **states):
    """Every bolt ok, save ``b3="loose"``."""
    return [BoltInput(number=n, state=states.get(f"b{n}", "ok")) for n in range(1, count + 1)]


@pytest.fixture
def recorded(bolted_joint, technician, now):
    def make(bolts, **more):
        facts = {"inspected_at": now - timedelta(hours=1), "actor": technician, "now": now}
        return record_bolt_sheet(joint_id=bolted_joint.pk, bolts=bolts, **{**facts, **more})

    return make


@pytest.fixture
def worked(bolted_joint, technician):
    def make(bolts, **more):
        return work_out_sheet(joint_id=bolted_joint.pk, bolts=bolts, **{"actor": technician, **more})

    return make


# Working out ----------------------------------------------------------------------------------------------------------


def test_nothing_is_written_when_a_sheet_is_worked_out(worked):
    answer = worked(sheet(b3="missing"))
    assert answer.lost == [3]
    assert answer.rise == pytest.approx(1.30, abs=0.005)
    assert (Inspection.objects.count(), BoltReading.objects.count(), Finding.objects.count()) == (0, 0, 0)


def test_what_is_recorded_is_as_grave_as_what_was_shown(worked, recorded):
    bolts = sheet(b3="missing", b4="broken", b9="loose")
    shown = {each.kind: (each.severity, each.reason) for each in worked(bolts).following}
    recorded(bolts)
    assert {one.kind: (one.severity, one.severity_reason) for one in Finding.objects.all()} == shown
    assert set(shown) == {"missing", "broken", "loose"}


def test_a_load_that_overtaxes_the_rest_makes_it_graver_in_the_record_too(worked, recorded, engineer):
    bolts = sheet(b3="loose")
    mild = worked(bolts).following[0].severity
    load = {"moment": "120 kN m", "actor": engineer}
    shown = worked(bolts, **load)
    # M20 8.8: 0.9 fub As / 1.25 = 141.1 kN; a ring of 12 on 400 mm carries 2 M/(n r) on its worst bolt: 100 kN
    assert shown.loaded.intact_use == pytest.approx(100 / 141.12, rel=1e-3)
    recorded(bolts, **load)
    order = ["record", "watch", "plan repair", "repair before use", "hold now"]
    assert order.index(Finding.objects.get().severity) >= order.index(mild)
    assert Finding.objects.get().severity == shown.following[0].severity
    assert shown.loaded.use > shown.loaded.intact_use


def test_only_an_engineer_gives_the_load(worked):
    with pytest.raises(NotAllowed) as refused:
        worked(sheet(), moment="5")
    assert refused.value.code == "role_lacks_right"


def test_bolts_on_one_line_carry_no_moment_and_that_is_named_and_not_blamed_on_the_loss():
    line = bolt_loads.GroupFacts(bolt_count=3, pattern="grid", rows=1, column_pitch_mm=60)
    facts = {"size": "M20", "property_class": "8.8", "preload_kn": None, "moment_nmm": 1e6, "pull_n": 0.0}
    told = bolt_loads.under_load(line, [2], **facts)
    assert (told.could_carry, told.use, told.parting) == (False, None, None)


def test_the_expected_torque_says_that_k_is_assumed(worked):
    told = worked(sheet()).tightening
    assert told.preload_kn == pytest.approx(137.2)  # 0.7 × 800 MPa × 245 mm², EN 1993-1-8:2005, 3.9.1
    assert told.torque_nm == pytest.approx(548.8)  # k d F = 0.2 × 20 mm × 137.2 kN
    assert "k = 0.2 assumed: common practice, no source" in told.source
    assert worked(sheet(), k=0.13).tightening.torque_nm == pytest.approx(356.72)


def test_an_unknown_size_gives_no_expected_torque(worked, bolted_joint):
    bolted_joint.bolt_group.size = ""
    bolted_joint.bolt_group.save()
    told = worked(sheet()).tightening
    assert told.torque_nm is None
    assert "no torque can be expected" in told.caution


def test_a_bolt_found_under_its_torque_is_named_and_changes_no_severity(worked):
    bolts = [BoltInput(number=1, state="ok", torque_found="320"), *sheet()[1:]]
    answer = worked(bolts)
    assert answer.remarks == ["Torque found under the expected 549 N·m: bolt 1 (58%)."]
    assert not answer.following


def test_an_open_loss_counts_though_the_sheet_finds_the_bolt_ok(worked, recorded):
    recorded(sheet(b3="missing"))
    answer = worked(sheet(b4="loose"))
    assert answer.lost == [3, 4]
    assert [one.bolts for one in answer.standing] == [[3]]


# Recording ------------------------------------------------------------------------------------------------------------


def test_the_look_its_findings_every_reading_and_the_record_are_written_together(recorded, bolted_joint):
    bolts = sheet(b3="loose", b7="missing")
    bolts[2] = BoltInput(number=3, state="loose", torque_found="90", torque_left="400 lbf ft", witness="moved")
    look = recorded(bolts)
    assert (look.method, look.result, look.counts_as_look) == ("BC", "findings", True)
    assert look.bolt_readings.count() == 12
    third = look.bolt_readings.get(number=3)
    assert (third.torque_found_nm, third.witness) == (90, "moved")
    assert third.torque_left_nm == pytest.approx(542.327, abs=0.001)  # 1 lbf·ft = 1.355 818 N·m (NIST SP 811)
    assert third.as_typed == "torque found 90; torque left 400 lbf ft"
    deeds = list(RecordEntry.objects.filter(joint=bolted_joint).order_by("sequence").values_list("deed", flat=True))
    assert {"inspection.recorded", "bolts.read"} <= set(deeds)


def test_a_sheet_with_a_bolt_left_out_is_no_look_but_its_findings_stand(recorded):
    look = recorded(sheet(count=11, b2="broken"))
    assert (look.result, look.counts_as_look) == ("incomplete", False)
    assert Finding.objects.get().bolts == [2]


def test_a_bolt_lost_before_is_the_same_finding_and_a_new_one_is_a_new_finding(recorded):
    recorded(sheet(b3="loose"))
    recorded(sheet(b3="loose", b8="loose"))
    assert [one.bolts for one in Finding.objects.order_by("pk")] == [[3], [8]]


def test_a_bolt_lost_later_makes_those_found_earlier_graver_too(recorded):
    recorded(sheet(b3="missing"))
    first = Finding.objects.get()
    Finding.objects.update(severity="plan repair", severity_computed="plan repair", state="assessed")
    recorded([BoltInput(number=4, state="loose")])
    first.refresh_from_db()
    assert first.severity == Finding.objects.get(kind="loose").severity == "hold now"
    assert (first.state, "More bolts are lost" in first.severity_reason) == ("open", True)
    said = RecordEntry.objects.filter(deed="inspection.recorded").last().facts["findings"]
    assert said[-1]["finding"] == first.pk


def test_what_an_engineer_lowered_stays_while_no_further_bolt_is_lost(recorded):
    recorded(sheet(b3="missing"))
    Finding.objects.update(severity="watch", state="assessed")
    recorded(sheet())
    assert (Finding.objects.get().severity, Finding.objects.get().state) == ("watch", "assessed")


def test_a_gap_goes_along_with_the_sheet_and_lost_bolts_come_from_it_alone(recorded):
    look = recorded(sheet(), findings=[FindingInput(kind="gap", size="2 mm")], result="findings")
    assert (look.result, look.findings.get().kind, look.bolt_readings.count()) == ("findings", "gap", 12)
    with pytest.raises(Unprocessable) as refused:
        recorded(sheet(b3="missing"), findings=[FindingInput(kind="missing", bolts=[3])])
    assert refused.value.code == "lost_by_the_sheet"


@pytest.mark.parametrize(("said", "fits"), [("findings", True), ("accepted", False), ("incomplete", True)])
def test_a_result_that_the_sheet_contradicts_is_refused(recorded, said, fits):
    if fits:
        assert recorded(sheet(b3="missing"), result=said).result == said
    else:
        with pytest.raises(Unprocessable) as refused:
            recorded(sheet(b3="missing"), result=said)
        assert refused.value.code == "result_contradicts"


def test_a_refusal_writes_nothing_at_all(recorded, now):
    with pytest.raises(Unprocessable) as refused:
        recorded(sheet(b3="loose"), inspected_at=now + timedelta(days=1))
    assert refused.value.code == "in_the_future"
    assert (Inspection.objects.count(), BoltReading.objects.count(), RecordEntry.objects.count()) == (0, 0, 0)


@pytest.mark.parametrize(
    ("bolts", "code", "field"),
    [
        ([BoltInput(number=13, state="ok")], "no_such_bolt", "bolts[0].number"),
        ([BoltInput(number=1, state="ok"), BoltInput(number=1, state="ok")], "bolt_twice", "bolts[1].number"),
        ([BoltInput(number=1, state="rusty")], "unknown_state", "bolts[0].state"),
        ([BoltInput(number=1, torque_left="90")], "state_missing", "bolts[0].state"),
        ([BoltInput(number=1, state="missing", torque_found="9")], "found_on_a_lost_bolt", "bolts[0].torque_found"),
        ([BoltInput(number=1, state="ok", torque_left="tight")], "not_a_size", "bolts[0].torque_left"),
        ([BoltInput(number=1, state="ok", tension_left="90 kg")], "not_a_size", "bolts[0].tension_left"),
        ([BoltInput(number=1, state="ok", torque_left="-5")], "out_of_range", "bolts[0].torque_left"),
        ([BoltInput(number=1, state="ok", witness="gone")], "unknown_witness", "bolts[0].witness"),
        ([BoltInput(number=1)], "nothing_checked", "bolts"),
    ],
)
def test_what_cannot_be_so_is_refused_beside_its_field(worked, bolts, code, field):
    with pytest.raises(Unprocessable) as refused:
        worked(bolts)
    assert (refused.value.code, refused.value.field) == (code, field)


def test_a_planner_and_a_stranger_record_no_sheet(recorded, person, site, other_site):
    with pytest.raises(NotAllowed):
        recorded(sheet(), actor=person("planner", site))
    with pytest.raises(NotFound):
        recorded(sheet(), actor=person("technician", other_site))


# The page -------------------------------------------------------------------------------------------------------------


def typed(**more):
    data = {"inspected_at": "2026-06-15T09:30", "conditions": "normal"}
    return {**data, **{f"b{n}-state": "ok" for n in range(1, 13)}, **more}


@pytest.fixture
def page(client, technician, bolted_joint):
    client.force_login(technician)
    return f"/joints/{bolted_joint.pk}/bolts/"


def test_the_page_lists_the_bolts_across_the_ring(client, page):
    answer = client.get(page)
    order = [row["form"].number for row in answer.context["rows"]]
    assert order == [1, 7, 4, 10, 2, 8, 5, 11, 3, 9, 6, 12]
    assert "549 N·m" in answer.content.decode()
    assert "Overturning moment" not in answer.content.decode()  # a technician gives no load


def test_the_page_works_out_and_keeps_what_was_typed(client, page):
    told = client.post(page, typed(work="1", **{"b3-state": "broken", "b4-torque_left": "500"}))
    html = told.content.decode()
    assert "the worst load on a remaining bolt is 1.3 times what it was" in html
    assert "Worked out, not recorded yet" in html
    assert 'value="500"' in html
    assert not Inspection.objects.exists()


def test_the_rest_is_said_to_be_ok_without_touching_what_was_said(client, page):
    told = client.post(
        page, {"inspected_at": "2026-06-15T09:30", "conditions": "normal", "b3-state": "loose", "rest": "1"}
    )
    states = {row["form"].number: row["form"]["state"].value() for row in told.context["rows"]}
    assert states.pop(3) == "loose"
    assert set(states.values()) == {"ok"}


def test_the_page_records_and_leads_back_to_the_joint(client, page, bolted_joint):
    told = client.post(page, typed(record="1", **{"b3-state": "loose"}))
    assert told.headers["Location"] == f"/joints/{bolted_joint.pk}/"
    assert Inspection.objects.get().bolt_readings.count() == 12
    again = client.get(page).content.decode()
    assert "loose since 15 Jun 2026" in again


def test_an_error_stands_beside_its_bolt(client, page):
    told = client.post(page, typed(record="1", **{"b3-torque_left": "tight"}))
    assert told.status_code == 422
    assert told.context["in_error"] == [3]
    assert "field-error" in told.content.decode()


def test_a_joint_without_a_number_of_bolts_says_so(client, page, bolted_joint):
    bolted_joint.bolt_group.bolt_count = None
    bolted_joint.bolt_group.save()
    assert "How many bolts there are is not on file" in client.get(page).content.decode()


def test_a_weld_has_no_bolt_sheet(client, page, weld_joint):
    assert client.get(f"/joints/{weld_joint.pk}/bolts/").status_code == 404


# The API --------------------------------------------------------------------------------------------------------------


@pytest.fixture
def body(bolted_joint):
    bolts = [{"number": n, "state": "ok"} for n in range(1, 13)]
    bolts[2] = {"number": 3, "state": "missing"}
    return {"joint": bolted_joint.pk, "inspected_at": "2026-06-15T08:00:00Z", "bolts": bolts}


def test_a_dry_run_over_the_api_writes_nothing(client, page, body):
    told = client.post("/api/v1/bolt-sheets/", {**body, "dry_run": True}, content_type="application/json")
    assert told.status_code == 200
    assert told.json()["inspection"] is None
    assert told.json()["rise"] == pytest.approx(1.30, abs=0.005)
    assert told.json()["order"][:4] == [1, 7, 4, 10]
    assert not Inspection.objects.exists()


def test_the_same_sheet_sent_twice_is_one_look(client, page, body):
    for _ in range(2):
        told = client.post(
            "/api/v1/bolt-sheets/", body, content_type="application/json", headers={"Idempotency-Key": "sheet-1"}
        )
        assert told.status_code == 201
    assert Inspection.objects.count() == 1
    rows = client.get("/api/v1/bolt-sheets/", {"state": "missing"}).json()["results"]
    assert [row["number"] for row in rows] == [3]


def test_more_lost_than_the_rest_can_carry_is_told_without_a_number(client, page, body):
    for bolt in body["bolts"][:8]:
        bolt["state"] = "missing"
    told = client.post("/api/v1/bolt-sheets/", {**body, "dry_run": True}, content_type="application/json").json()
    assert (told["can_carry"], told["rise"]) == (False, None)
    assert told["following"][0]["severity"] == "hold now"


def test_a_strangers_joint_is_not_there(client, person, other_site, body):
    client.force_login(person("technician", other_site))
    assert client.post("/api/v1/bolt-sheets/", body, content_type="application/json").status_code == 404
