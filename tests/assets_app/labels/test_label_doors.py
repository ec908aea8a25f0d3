"""Labels by page and API: who may, what a scan opens, what a copied code tells nobody."""

import re
import zlib
from urllib.parse import urlparse

import pytest
from rest_framework.test import APIClient

from assets_app.labels.actions import issue_labels, reissue_label
from assets_app.labels.pages import address_of
from assets_app.models import Joint, JointLabel, RecordEntry
from assets_app.refusals import NotAllowed, NotFound, Unprocessable

pytestmark = pytest.mark.django_db
SHEET = {"layout": "a4-21", "start_at": "1"}


@pytest.fixture
def planner(person, site):
    return person("planner", site)


@pytest.fixture
def stranger(person, other_site):
    return person("engineer", other_site)


@pytest.fixture
def label(weld_joint, planner, now):
    return issue_labels(joint_ids=[weld_joint.pk], actor=planner, now=now)[0]


@pytest.fixture
def page(client, planner):
    client.force_login(planner)
    return client


def path_of(label):
    return urlparse(address_of(label)).path


def api(who):
    client = APIClient()
    client.force_authenticate(who)
    return client


def test_printing_issues_a_label_once_and_prints_the_same_one_again(page, weld_joint, bolted_joint):
    sent = SHEET | {"joints": [weld_joint.pk, bolted_joint.pk]}
    first = page.post(f"/assets/{weld_joint.asset_id}/labels/", sent)
    assert (first.status_code, first["Content-Type"]) == (200, "application/pdf")
    assert JointLabel.objects.count() == 2
    again = page.post(f"/assets/{weld_joint.asset_id}/labels/", sent)
    assert again.content == first.content
    assert RecordEntry.objects.filter(deed="label.issued").count() == 2


def test_the_code_is_a_random_address_and_no_more(label, weld_joint):
    path = path_of(label)
    assert re.fullmatch(r"/j/[A-Za-z0-9_-]{22}/", path)  # 128 bits
    assert weld_joint.tag not in path
    assert label.token not in RecordEntry.objects.get(deed="label.issued").content


def test_scanning_opens_the_joint(page, label, weld_joint):
    answer = page.get(path_of(label))
    assert (answer.status_code, answer["Location"]) == (302, f"/joints/{weld_joint.pk}/")
    assert "no-store" in answer["Cache-Control"]


def test_signed_out_a_scan_asks_to_sign_in_names_nothing_and_goes_on_afterwards(client, label, weld_joint, planner):
    answer = client.get(path_of(label), follow=True)
    text = answer.content.decode()
    for secret in (weld_joint.tag, weld_joint.name, weld_joint.asset.tag, weld_joint.asset.name, "Larkmoor"):
        assert secret not in text
    where = answer.redirect_chain[-1][0]
    made_up = client.get("/j/" + "x" * 22 + "/", follow=True)
    assert made_up.redirect_chain[-1][0].replace("x" * 22, label.token) == where  # a guess looks just the same
    signed_in = client.post(
        where, {"username": planner.username, "password": "a-good-password", "next": path_of(label)}
    )
    assert signed_in["Location"] == path_of(label)


def test_without_a_role_a_copied_code_is_nothing(client, label, stranger):
    client.force_login(stranger)
    copied, guessed = client.get(path_of(label)), client.get("/j/" + "x" * 22 + "/")
    assert copied.status_code == guessed.status_code == 404
    masked = [re.sub(rb"[A-Za-z0-9]{64}", b"", answer.content) for answer in (copied, guessed)]
    assert masked[0] == masked[1]
    assert api(stranger).get(f"/api/v1/labels/scanned/{label.token}/").status_code == 404


def test_a_new_label_withdraws_the_old_one_which_opens_nothing(page, label, weld_joint, planner, now):
    new = reissue_label(joint_id=weld_joint.pk, reason="copied", actor=planner, now=now)
    old = page.get(path_of(label))
    assert old.status_code == 410
    assert weld_joint.tag not in old.content.decode()  # it may have been stuck on the wrong joint
    assert page.get(path_of(new)).status_code == 302
    assert RecordEntry.objects.get(deed="label.withdrawn").facts["reason"] == "copied"
    assert api(planner).get(f"/api/v1/labels/scanned/{label.token}/").data["code"] == "label_withdrawn"


def test_who_may_issue_and_who_may_withdraw(weld_joint, person, site, stranger, now):
    for role in ("manager", "auditor"):
        with pytest.raises(NotAllowed):
            issue_labels(joint_ids=[weld_joint.pk], actor=person(role, site), now=now)
    with pytest.raises(NotFound):
        issue_labels(joint_ids=[weld_joint.pk], actor=stranger, now=now)
    assert not JointLabel.objects.exists()
    technician = person("technician", site)
    issue_labels(joint_ids=[weld_joint.pk], actor=technician, now=now)
    with pytest.raises(NotAllowed):
        reissue_label(joint_id=weld_joint.pk, reason="torn", actor=technician, now=now)
    with pytest.raises(NotFound):
        reissue_label(joint_id=weld_joint.pk, reason="torn", actor=stranger, now=now)
    auditor = person("auditor", site)
    assert issue_labels(joint_ids=[weld_joint.pk], actor=auditor, now=now)  # it exists: printing it writes nothing


def test_one_joint_of_another_site_among_many_issues_none(weld_joint, bolted_joint, other_site, planner, now):
    from assets_app.models import Asset

    far = Joint.objects.create(
        asset=Asset.objects.create(site=other_site, tag="T-1", name="Trailer", kind="trailer"), tag="X", kind="weld"
    )
    with pytest.raises(NotFound):
        issue_labels(joint_ids=[weld_joint.pk, far.pk], actor=planner, now=now)
    assert not JointLabel.objects.exists()


def test_a_reason_is_needed_to_withdraw(page, label, weld_joint, planner, now):
    with pytest.raises(Unprocessable) as refused:
        reissue_label(joint_id=weld_joint.pk, reason=" ", actor=planner, now=now)
    assert (refused.value.code, refused.value.field) == ("reason_needed", "reason")
    for nothing in ("", "\x00", " ", "x" * 201):
        assert page.post(f"/joints/{weld_joint.pk}/label/reissue/", {"reason": nothing}).status_code == 422


@pytest.mark.parametrize("made_up", ["%00", "..%2f", "x" * 3000, "'--", "é"])
def test_an_address_that_was_never_one_of_ours_is_nothing(page, made_up, weld_joint):
    assert page.get(f"/j/{made_up}/").status_code == 404


def test_a_sheet_that_does_not_fit_is_refused_beside_the_field_and_issues_nothing(page, weld_joint):
    own = {
        "layout": "custom",
        "page": "A4",
        "label_width_mm": "80",
        "label_height_mm": "40",
        "columns": "3",
        "rows": "7",
    }
    answer = page.post(f"/assets/{weld_joint.asset_id}/labels/", own | {"start_at": "1", "joints": [weld_joint.pk]})
    assert answer.status_code == 422
    assert "240.0 mm" in " ".join(answer.context["form"].errors["columns"])
    assert 'value="80"' in answer.content.decode()  # what was typed stays
    assert not JointLabel.objects.exists()


def test_a_sheet_of_ones_own_needs_its_figures(page, weld_joint):
    answer = page.post(
        f"/assets/{weld_joint.asset_id}/labels/", {"layout": "custom", "start_at": "1", "joints": [weld_joint.pk]}
    )
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"label_width_mm", "label_height_mm", "columns", "rows"}


def test_the_page_of_another_site_is_not_there(client, stranger, weld_joint):
    client.force_login(stranger)
    assert client.get(f"/assets/{weld_joint.asset_id}/labels/").status_code == 404
    assert client.post(f"/joints/{weld_joint.pk}/label/reissue/", {"reason": "x"}).status_code == 404


def test_the_asset_and_the_joint_lead_to_the_labels(page, weld_joint):
    assert f"/assets/{weld_joint.asset_id}/labels/" in page.get(f"/assets/{weld_joint.asset_id}/").content.decode()
    joint = page.get(f"/joints/{weld_joint.pk}/").content.decode()
    assert f"/assets/{weld_joint.asset_id}/labels/?joint={weld_joint.pk}" in joint
    chosen = page.get(f"/assets/{weld_joint.asset_id}/labels/?joint={weld_joint.pk}")
    assert chosen.context["form"]["joints"].value() == [weld_joint.pk]


def test_the_api_issues_lists_prints_and_replaces(weld_joint, bolted_joint, planner, stranger):
    client = api(planner)
    sheet = f"/api/v1/labels/sheet.pdf?joint={weld_joint.pk}&layout=a4-24"
    assert client.get(sheet).data["code"] == "label_not_issued"
    sent = {"joints": [weld_joint.pk]}
    issued = client.post("/api/v1/labels/", sent, headers={"Idempotency-Key": "k1"})
    assert issued.status_code == 200, issued.data
    assert client.post("/api/v1/labels/", sent, headers={"Idempotency-Key": "k1"}).data == issued.data
    assert client.get(sheet).content.startswith(b"%PDF")
    assert client.get(sheet, headers={"Accept": "application/pdf"}).status_code == 200
    replaced = client.post(f"/api/v1/joints/{weld_joint.pk}/label/reissue/", {"reason": "torn"})
    assert replaced.status_code == 201
    assert replaced.data["address"] != issued.data[0]["address"]
    assert len(client.get("/api/v1/labels/?in_use=true").data["results"]) == 1
    far = api(stranger)
    assert far.get("/api/v1/labels/").data["results"] == []
    assert far.get(sheet).status_code == 404
    assert far.get(sheet, headers={"Accept": "application/pdf"}).status_code == 404
    assert far.post(f"/api/v1/joints/{weld_joint.pk}/label/reissue/", {"reason": "torn"}).status_code == 404


def test_a_sheet_by_the_api_names_the_figure_at_fault(label, weld_joint, planner):
    client = api(planner)
    own = "label_width_mm=80&label_height_mm=40&columns=3&rows=7"
    answer = client.get(f"/api/v1/labels/sheet.pdf?joint={weld_joint.pk}&{own}")
    assert (answer.status_code, answer.data["code"], answer.data["field"]) == (422, "labels_do_not_fit", "columns")
    for bad in ("nan", "inf", "-1", "abc"):
        asked = f"/api/v1/labels/sheet.pdf?joint={weld_joint.pk}&{own.replace('80', bad)}"
        assert client.get(asked).status_code == 422, bad


def test_the_words_on_the_sheet_are_the_tag(label, weld_joint, planner):
    answer = api(planner).get(f"/api/v1/labels/sheet.pdf?joint={weld_joint.pk}&layout=a4-21")
    assert shown(answer.content, weld_joint.tag)


def shown(content: bytes, words: str) -> bool:
    """Whether a page of the PDF draws ``words``: the typeface's first codes are plain ASCII."""
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", content, re.S):
        try:
            drawn = zlib.decompress(stream)
        except (ValueError, zlib.error):
            continue
        if words.encode() in drawn:
            return True
    return False
