"""The pages of looks and findings, as a person with a browser and no script meets them."""

import io
import re
from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from PIL import Image

from assets_app.inspections.actions import FindingInput
from assets_app.models import Finding, Inspection


@pytest.fixture(autouse=True)
def media(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture(autouse=True)
def clock(monkeypatch, now):
    monkeypatch.setattr(timezone, "now", lambda: now)


@pytest.fixture
def browser(client, inspector):
    client.force_login(inspector)
    return client


def photo():
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(out, "JPEG")
    out.seek(0)
    out.name = "IMG_1.jpg"
    return out


def typed(*findings, **look):
    """What the form sends."""
    data = {
        "method": "MT",
        "inspected_at": "2026-06-15T09:30",
        "result": "findings" if findings else "accepted",
        "conditions": "normal",
        "findings-TOTAL_FORMS": max(1, len(findings)),
        "findings-INITIAL_FORMS": 0,
        **look,
    }
    for row, finding in enumerate(findings):
        data |= {f"findings-{row}-{name}": value for name, value in finding.items()}
    return data


@pytest.fixture
def address(weld_joint):
    return f"/joints/{weld_joint.pk}/looks/new/"


def text(response) -> str:
    return re.sub(r"\s+", " ", response.content.decode())


def test_the_form_asks_for_everything_with_words_and_numbers(browser, address):
    page = text(browser.get(address))
    assert "longitudinal crack (101)" in page
    assert "bolt missing" not in page, "that is no kind of a weld"
    assert "any crack is a hold" in page
    assert 'value="2026-06-15T10:00"' in page, "now, on the site's clock (British summer time)"
    assert "<script>" not in page
    assert not re.search(r"<[^>]+\son\w+=", page)


def test_a_look_with_two_findings_and_photos_is_recorded_and_leads_to_the_first(browser, address):
    answer = browser.post(
        address,
        typed(
            {"kind": "101", "size": "3/8 in", "place": "toe", "clock_deg": "90", "photos": [photo(), photo()]},
            {"kind": "5011", "size": "0.3 mm"},
        ),
    )
    seen = Inspection.objects.get()
    crack, undercut = seen.findings.order_by("pk")
    assert (
        answer["Location"]
        == f"/findings/{undercut.pk if answer['Location'].endswith(f'{undercut.pk}/') else crack.pk}/"
    )
    assert crack.sizes.get().length_mm == 9.525
    assert (crack.clock_deg, undercut.severity) == (90, "record")
    assert crack.evidence.count() == 1, "the same photo twice is one"
    assert seen.inspected_at.hour == 8, "half past nine in summer is half past eight in UTC"


def test_nothing_found_leads_back_to_the_joint(browser, address, weld_joint):
    assert browser.post(address, typed())["Location"] == f"/joints/{weld_joint.pk}/"
    assert Inspection.objects.get().result == "accepted"


def test_one_more_finding_keeps_what_was_typed(browser, address):
    page = text(browser.post(address, typed({"kind": "101", "size": "3/8 in"}, note="after rain", add="1")))
    assert "Finding 2" in page
    assert 'value="3/8 in"' in page
    assert "after rain" in page
    assert re.search(r'value="findings"[^>]*checked', page)
    assert Inspection.objects.count() == 0


@pytest.mark.parametrize(
    ("change", "beside", "words"),
    [
        ({"findings-0-size": "huge"}, "id_findings-0-size", "is no number"),
        ({"inspected_at": "2026-06-15T10:30"}, "id_inspected_at", "lies ahead"),
        ({"result": "accepted"}, "id_result", "so the result is findings"),
        ({"inspected_at": "yesterday"}, "id_inspected_at", "valid date"),
    ],
)
def test_a_refusal_stands_beside_its_field_and_what_was_typed_stays(browser, address, change, beside, words):
    answer = browser.post(address, {**typed({"kind": "101", "size": "4 mm", "finding_note": "left side"}), **change})
    page = text(answer)
    assert answer.status_code == 422
    error = re.search(rf'id="{beside}_error">([^<]*)', page)
    assert error, page
    assert words in error[1]
    assert "left side" in page
    assert Inspection.objects.count() == 0


def test_bolts_are_typed_by_number(client, person, site, bolted_joint):
    client.force_login(person("technician", site))
    address = f"/joints/{bolted_joint.pk}/looks/new/"
    wrong = client.post(address, typed({"kind": "loose", "bolts": "three"}, method="BC"))
    assert "Write the numbers of the bolts" in text(wrong)
    client.post(address, typed({"kind": "loose", "bolts": "3, 4"}, method="BC"))
    assert Finding.objects.get().bolts == [3, 4]


def test_the_form_measures_an_open_finding_again(browser, address, look, now):
    crack = look(FindingInput(kind="101", size="4"), inspected_at=now - timedelta(days=9)).findings.get()
    assert "measured again" in text(browser.get(address))
    browser.post(address, typed({"finding_id": str(crack.pk), "size": "6 mm"}))
    assert list(crack.sizes.values_list("length_mm", flat=True)) == [4, 6]


def test_who_may_not_look_is_told_who_could(client, person, site, address):
    client.force_login(person("planner", site))
    answer = client.get(address)
    assert answer.status_code == 403
    assert "Inspector or engineer could" in text(answer)


def test_who_is_not_qualified_is_told_before_filling_in_and_refused_after(client, person, site, address, inspector):
    client.force_login(person("inspector", site))
    assert "You cannot sign VT here today. Inspector could." in text(client.get(address))
    answer = client.post(address, typed())
    assert answer.status_code == 403
    assert "no MT certificate" in text(answer)


def test_pages_of_another_site_do_not_exist(client, certified, other_site, address, look):
    finding = look(FindingInput(kind="101", size="4")).findings.get()
    client.force_login(certified("engineer", other_site))
    assert client.get(address).status_code == 404
    assert client.get(f"/findings/{finding.pk}/").status_code == 404
    assert client.post(f"/findings/{finding.pk}/close/", {"reason": "x"}).status_code == 404
    assert client.post(f"/findings/{finding.pk}/photos/", {"photos": photo()}).status_code == 404


# A finding


@pytest.fixture
def crack(look, weld_joint):
    weld_joint.load_path = "multiple"
    weld_joint.save()
    return look(FindingInput(kind="101", size="3/8 in", place="toe")).findings.get()


def test_a_finding_says_what_where_how_large_how_grave_and_why(browser, crack):
    page = text(browser.get(f"/findings/{crack.pk}/"))
    for words in (
        "Longitudinal crack (101) at W-001",
        "repair before use",
        "3/8 in",
        "growth window",
        "ISO 5817",
        "toe",
    ):
        assert words in page, words
    assert "not known" in page, "the depth was not measured, and says so"


@pytest.mark.parametrize(
    ("role", "offered"),
    [
        ("auditor", []),
        ("technician", ["Call it graver"]),
        ("inspector", ["Call it graver", "Close without a repair"]),
        ("engineer", ["Call it graver", "Call it milder", "Sign an assessment", "Close without a repair"]),
    ],
)
def test_each_role_is_offered_what_it_may_do(client, person, site, crack, role, offered):
    client.force_login(person(role, site))
    page = text(client.get(f"/findings/{crack.pk}/"))
    assert re.findall(r"<summary>([^<]*)</summary>", page) == offered
    assert ("Measure it again" in page) == (role in ("inspector", "engineer")), "to the others it would be refused"


def test_a_deed_from_the_page_is_done_and_shown_in_the_record(browser, crack):
    answer = browser.post(
        f"/findings/{crack.pk}/raise/", {"severity": "hold now", "reason": "rust bleeds"}, follow=True
    )
    page = text(answer)
    assert "Done, and in the record." in page
    assert "raised longitudinal crack (101) from repair before use to hold now: rust bleeds" in page


def test_a_deed_refused_says_why_beside_the_form(client, engineer, crack):
    client.force_login(engineer)
    answer = client.post(
        f"/findings/{crack.pk}/assess/", {"ends_on": "2026-09-01", "severity": "watch", "reason": "low stress"}
    )
    assert answer.status_code == 422
    assert "is not known, so nothing can be signed" in text(answer)
    assert "low stress" in text(answer)
    assert client.post(f"/findings/{crack.pk}/raise/", {"severity": "watch"}).status_code == 422
    assert client.post(f"/findings/{crack.pk}/explode/", {}).status_code == 404


def test_a_deed_without_the_right_is_refused(client, person, site, crack):
    client.force_login(person("technician", site))
    assert client.post(f"/findings/{crack.pk}/close/", {"reason": "x"}).status_code == 403
    crack.refresh_from_db()
    assert crack.is_open


def test_photos_are_added_to_a_finding_and_shown(browser, crack):
    page = text(browser.post(f"/findings/{crack.pk}/photos/", {"photos": photo()}, follow=True))
    shown = re.search(r'src="(/evidence/\d+/view.jpg)" width="40" height="30"', page)
    assert shown
    # A phone sends the photos of a look after it; they are of no finding of it.
    crack.evidence.update(finding=None, inspection=crack.inspection)
    assert "of the look" in browser.get(f"/findings/{crack.pk}/").content.decode()
    answer = browser.get(shown[1])
    assert answer.status_code == 200
    answer.close()


def test_an_assessment_shows_who_signed_it_and_until_when(browser, client, engineer, crack, window):
    window(ends=date(2026, 12, 1))
    client.force_login(engineer)
    client.post(f"/findings/{crack.pk}/assess/", {"ends_on": "2026-09-01", "severity": "watch", "reason": "low stress"})
    assert "may stand as watch until 1 Sep 2026" in text(client.get(f"/findings/{crack.pk}/"))


def test_the_record_page_filters_and_says_sentences(browser, crack, bolted_joint):
    page = text(browser.get("/record/"))
    assert "recorded a look by MT: longitudinal crack (101) (repair before use)" in page
    assert "Nothing recorded here yet" in text(browser.get(f"/record/?joint={bolted_joint.pk}"))
    assert "recorded a look" not in text(browser.get("/record/?deed=qualification"))
    assert browser.get("/record/?joint=all").status_code == 422


def test_pages_behind_the_sign_in(client, address, crack):
    for page in (address, f"/findings/{crack.pk}/", "/record/", "/people/1/"):
        assert client.get(page)["Location"].startswith("/sign-in/"), page


def test_a_refused_photo_keeps_the_caption_and_says_what_to_do_on_the_same_page(client, look, inspector):
    finding = look(FindingInput(kind="101", size="4 mm")).findings.get()
    client.force_login(inspector)
    address = f"/findings/{finding.pk}/photos/"
    stray = SimpleUploadedFile("notes.jpg", b"no photo at all")
    refused = client.post(address, {"photos": [photo(), stray], "caption": "the toe, south side"})
    said = refused.content.decode()
    assert refused.status_code == 422
    assert 'value="the toe, south side"' in said
    assert "notes.jpg: " in said
    assert "standing above: 1." in said
    sent = client.post(address, {"photos": photo(), "caption": "the toe, south side"}, follow=True)
    assert f"added by {inspector} on 15 Jun 2026 at " in sent.content.decode().split("<main")[1], "and who, when"
    assert finding.evidence.count() == 1, "the same photo once"
