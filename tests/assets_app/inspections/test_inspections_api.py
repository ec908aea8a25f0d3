"""The API of looks, findings, assessments and photos."""

import io
from datetime import date

import pytest
from django.utils import timezone
from PIL import Image
from rest_framework.test import APIClient

from assets_app.inspections.actions import FindingInput
from assets_app.models import Evidence, Finding, Inspection, RecordEntry


@pytest.fixture(autouse=True)
def media(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def api(inspector):
    client = APIClient()
    client.force_authenticate(inspector)
    return client


def photo(name="IMG_1.jpg"):
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(out, "JPEG")
    out.seek(0)
    out.name = name
    return out


@pytest.fixture
def report(weld_joint):
    return {
        "joint": weld_joint.pk,
        "method": "MT",
        "inspected_at": "2026-06-15T08:00:00Z",
        "result": "findings",
        "findings": [{"kind": "101", "size": "3/8 in", "place": "toe", "clock_deg": 90}],
    }


@pytest.fixture(autouse=True)
def clock(monkeypatch, now):
    monkeypatch.setattr(timezone, "now", lambda: now)


def test_a_look_with_its_findings_is_posted_in_one_request(api, report):
    answer = api.post("/api/v1/inspections/", report)
    assert answer.status_code == 201, answer.data
    finding = answer.data["findings"][0]
    assert finding["severity"] == "hold now"
    assert finding["kind_words"] == "longitudinal crack (101)"
    assert finding["sizes"][0]["length_mm"] == 9.525


def test_the_same_look_sent_twice_with_one_key_is_one_look(api, report):
    first = api.post("/api/v1/inspections/", report, headers={"Idempotency-Key": "phone-1-77"})
    again = api.post("/api/v1/inspections/", report, headers={"Idempotency-Key": "phone-1-77"})
    assert first.data["id"] == again.data["id"]
    assert again["Idempotency-Replayed"] == "true"
    assert Inspection.objects.count() == 1
    other = api.post("/api/v1/inspections/", {**report, "note": "x"}, headers={"Idempotency-Key": "phone-1-77"})
    assert (other.status_code, other.data["code"]) == (422, "key_reused")


@pytest.mark.parametrize(
    ("change", "status", "code"),
    [
        ({"result": "accepted"}, 422, "result_contradicts"),
        ({"inspected_at": "2026-06-15T09:30:00Z"}, 422, "in_the_future"),
        ({"findings": [{"kind": "101", "size": "big"}]}, 422, "not_a_size"),
        ({"joint": 2**62}, 404, "not_found"),
        ({"joint": 2**70}, 400, "parse_error"),  # no column holds it: refused where JSON is read
        ({"method": "XX"}, 422, "fields"),
        ({"findings": "none"}, 422, "fields"),
        ({"findings": [{"kind": "101", "bolts": [0]}]}, 422, "fields"),
    ],
)
def test_a_refusal_is_a_problem_with_a_code(api, report, change, status, code):
    answer = api.post("/api/v1/inspections/", {**report, **change})
    assert (answer.status_code, answer.data["code"]) == (status, code)
    assert answer["Content-Type"] == "application/problem+json"
    assert Inspection.objects.count() == 0


def test_the_field_of_a_refusal_says_which_finding(api, report):
    answer = api.post(
        "/api/v1/inspections/", {**report, "findings": [*report["findings"], {"kind": "5011", "size": "?"}]}
    )
    assert answer.data["field"] == "findings[1].size"


def test_who_is_not_signed_in_gets_nothing(report):
    for address in (
        "inspections",
        "findings",
        "assessments",
        "evidence",
        "record",
        "people",
        "qualifications",
        "tokens",
    ):
        assert APIClient().get(f"/api/v1/{address}/").status_code == 401, address
    assert APIClient().post("/api/v1/inspections/", report).status_code == 401


def test_a_look_is_corrected_by_a_new_one(api, look):
    old = look()
    answer = api.post(
        f"/api/v1/inspections/{old.pk}/correct/",
        {"method": "MT", "inspected_at": "2026-06-14T08:00:00Z", "result": "accepted", "reason": "wrong day"},
    )
    assert (answer.status_code, answer.data["corrects"]) == (201, old.pk)


def test_findings_are_filtered(api, look, weld_joint):
    look(FindingInput(kind="101", size="4"), FindingInput(kind="5011", size="0.2"))
    Finding.objects.filter(kind="5011").update(state="closed", closed_on=date(2026, 6, 15))

    def kinds(query):
        return [row["kind"] for row in api.get(f"/api/v1/findings/?{query}").data["results"]]

    assert kinds("open=true") == ["101"]
    assert kinds("open=false") == ["5011"]
    assert kinds("severity=hold now") == ["101"]
    assert kinds(f"joint={weld_joint.pk}&accepted=true") == ["5011"]
    assert kinds("joint=999") == []


def test_the_deeds_on_a_finding(look, engineer, window):
    finding = look(FindingInput(kind="101", size="4")).findings.get()
    client = APIClient()
    client.force_authenticate(engineer)

    def do(deed, **facts):
        return client.post(f"/api/v1/findings/{finding.pk}/{deed}/", facts)

    assert do("raise", severity="watch", reason="x").data["code"] == "not_graver"
    assert do("lower", severity="watch", reason="x").data["code"] == "assessment_needed"
    assert do("assess", ends_on="2026-08-01", reason="x").data["code"] == "window_unknown"
    window(ends=date(2026, 9, 1))
    assert do("assess", ends_on="2026-08-01", reason="x").data["state"] == "assessed"
    assert do("raise", severity="hold now", reason="wet").data["severity"] == "hold now"
    assert do("close", reason="ground out, tested").data["state"] == "closed"
    assert do("close", reason="again").status_code == 409
    assert client.get(f"/api/v1/assessments/?finding={finding.pk}").data["results"][0]["ends_on"] == "2026-08-01"


def test_a_joints_life_is_assessed(engineer, weld_joint):
    client = APIClient()
    client.force_authenticate(engineer)
    answer = client.post(
        "/api/v1/assessments/", {"joint": weld_joint.pk, "ends_on": "2026-12-01", "reason": "UT clean"}
    )
    assert (answer.status_code, answer.data["finding"]) == (201, None)


def test_another_sites_rows_do_not_exist(look, certified, other_site):
    seen = look(FindingInput(kind="101", size="4"))
    client = APIClient()
    client.force_authenticate(certified("engineer", other_site))
    finding = seen.findings.get()
    for address in (f"inspections/{seen.pk}", f"findings/{finding.pk}"):
        assert client.get(f"/api/v1/{address}/").status_code == 404
    assert client.get("/api/v1/findings/").data["results"] == []
    assert client.get("/api/v1/record/").data["results"] == []
    assert client.post(f"/api/v1/findings/{finding.pk}/close/", {"reason": "x"}).status_code == 404


# Photos


def test_a_photo_is_uploaded_and_looked_at(api, weld_joint):
    answer = api.post(
        "/api/v1/evidence/", {"joint": weld_joint.pk, "photo": photo(), "caption": "toe"}, format="multipart"
    )
    assert answer.status_code == 201, answer.data
    shown = api.get(f"/api/v1/evidence/{answer.data['id']}/view.jpg/")
    assert shown["Content-Type"] == "image/jpeg"
    assert b"".join(shown.streaming_content).startswith(b"\xff\xd8")
    assert "private" in shown["Cache-Control"]
    shown.close()


def test_the_same_upload_sent_twice_with_one_key_is_one_photo(api, weld_joint):
    for _ in range(2):
        answer = api.post(
            "/api/v1/evidence/",
            {"joint": weld_joint.pk, "photo": photo()},
            format="multipart",
            headers={"Idempotency-Key": "p1"},
        )
        assert answer.status_code == 201
    assert Evidence.objects.count() == 1


def test_a_photo_page_is_shown_to_the_signed_in_of_the_site_only(
    api, client, weld_joint, inspector, certified, other_site
):
    made = api.post("/api/v1/evidence/", {"joint": weld_joint.pk, "photo": photo()}, format="multipart").data["id"]
    address = f"/evidence/{made}/view.jpg"
    assert client.get(address).status_code == 302
    client.force_login(certified("inspector", other_site))
    assert client.get(address).status_code == 404
    client.force_login(inspector)
    shown = client.get(address)
    assert (shown.status_code, shown["X-Content-Type-Options"]) == (200, "nosniff")
    shown.close()


def test_a_disguised_file_is_refused(api, weld_joint):
    file = io.BytesIO(b"<script>alert(1)</script>")
    file.name = "IMG_1.jpg"
    answer = api.post("/api/v1/evidence/", {"joint": weld_joint.pk, "photo": file}, format="multipart")
    assert (answer.status_code, answer.data["code"]) == (422, "photo_not_an_image")


# The record


def test_the_record_reads_as_sentences_and_cannot_be_written(api, look, weld_joint):
    look(FindingInput(kind="101", size="4"))
    rows = api.get(f"/api/v1/record/?joint={weld_joint.pk}&deed=inspection.recorded").data["results"]
    assert rows[0]["words"] == "Inspector recorded a look by MT: longitudinal crack (101) (hold now)"
    assert rows[0]["hash"] == RecordEntry.objects.get(deed="inspection.recorded").hash
    for verb in (api.post, api.put, api.patch, api.delete):
        assert verb(f"/api/v1/record/{rows[0]['id']}/").status_code == 405
