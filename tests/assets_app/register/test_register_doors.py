"""The register through its API and pages: who sees what, what is written, what is refused."""

from __future__ import annotations

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from assets_app.models import Asset, Joint, RecordEntry, RegisterImport
from assets_app.register import importer
from schedules.models import StaleMark
from tests.assets_app.register.test_import import HEAD, ONE

pytestmark = pytest.mark.django_db


@pytest.fixture
def planner_client(client, planner):
    client.force_login(planner)
    return client


def post(client, path, body, **more):
    return client.post(f"/api/v1/{path}", json.dumps(body), content_type="application/json", **more)


def patch(client, path, body):
    return client.patch(f"/api/v1/{path}", json.dumps(body), content_type="application/json")


# API ------------------------------------------------------------------------------------------------------------------


def test_an_asset_is_added_recorded_and_listed(planner_client, site):
    body = {"site": site.pk, "tag": "R-09", "name": "Puffin Slide", "kind": "ride"}
    response = post(planner_client, "assets/", body)
    assert response.status_code == 201, response.content
    assert RecordEntry.objects.get(deed="asset.created").asset_id == response.json()["id"]
    found = planner_client.get("/api/v1/assets/", {"kind": "ride", "site": site.pk}).json()["results"]
    assert [row["tag"] for row in found] == ["R-09"]


def test_a_joint_is_added_with_its_weld_in_units_people_write(planner_client, asset):
    body = {"asset": asset.pk, "tag": "W-9", "kind": "weld", "weld": {"leg_mm": "3/8 in", "wall_mm": 12}}
    response = post(planner_client, "joints/", body)
    assert response.status_code == 201, response.content
    assert response.json()["weld"]["leg_mm"] == 9.525
    assert response.json()["load_path"] == "unknown"
    assert StaleMark.objects.filter(joint_id=response.json()["id"], rating_too=True).exists()


def test_changing_one_field_keeps_the_others_and_tells_before_and_after(planner_client, weld_joint):
    response = patch(planner_client, f"joints/{weld_joint.pk}/", {"weld": {"leg_mm": "10 mm"}})
    assert response.status_code == 200, response.content
    weld_joint.weld.refresh_from_db()
    assert (weld_joint.weld.leg_mm, weld_joint.weld.wall_mm) == (10, 12)
    content = json.loads(RecordEntry.objects.get(deed="joint.changed").content)
    assert (content["before"]["steel"]["leg_mm"], content["after"]["steel"]["leg_mm"]) == (8, 10)


def test_the_same_again_leaves_no_entry(planner_client, weld_joint):
    patch(planner_client, f"joints/{weld_joint.pk}/", {"weld": {"leg_mm": 8}, "name": "column foot"})
    assert not RecordEntry.objects.exists()


@pytest.mark.parametrize(
    ("change", "code", "field"),
    [
        ({"weld": {"leg_mm": "thick"}}, "fields", "weld.leg_mm"),
        ({"weld": {"leg_mm": -1}}, "fields", "weld.leg_mm"),
        ({"weld": {"detail": "no-such-detail"}}, "fields", "weld.detail"),
        ({"kind": "bolted"}, "kind_fixed", "kind"),
        ({"bolt_group": {"bolt_count": 4}}, "wrong_kind", "kind"),
        ({"tag": ""}, "fields", None),
        ({"member": 99999}, "member_elsewhere", "member"),
        ({"tag": "B-001"}, "tag_taken", "tag"),
    ],
)
def test_a_change_that_cannot_be_is_refused_by_field(planner_client, weld_joint, bolted_joint, change, code, field):
    response = patch(planner_client, f"joints/{weld_joint.pk}/", change)
    assert response.status_code in (409, 422)
    assert response.json()["code"] == code
    assert field is None or response.json()["field"] == field
    assert not RecordEntry.objects.exists()


def test_a_tag_that_is_taken_says_by_whom_or_only_what_stands(planner_client, asset, weld_joint):
    first = {"asset": asset.pk, "tag": "M-1", "name": "column"}
    assert post(planner_client, "members/", first).status_code == 201
    told = post(planner_client, "members/", first).json()
    assert "Last: created by Planner on" in told["detail"]
    fixture = post(planner_client, "joints/", {"asset": asset.pk, "tag": weld_joint.tag, "kind": "weld"}).json()
    assert "column foot" in fixture["detail"]
    assert "by" not in fixture


def test_a_member_changes_and_the_joints_at_it_follow(planner_client, asset, weld_joint):
    made = post(planner_client, "members/", {"asset": asset.pk, "tag": "M-1", "section": "CHS 219.1x8"}).json()
    patch(planner_client, f"joints/{weld_joint.pk}/", {"member": made["id"]})
    StaleMark.objects.all().delete()
    assert patch(planner_client, f"members/{made['id']}/", {"steel_grade": "S355"}).status_code == 200
    assert StaleMark.objects.filter(joint=weld_joint).exists()


def test_an_asset_out_of_service_makes_its_due_dates_follow(planner_client, asset, weld_joint):
    assert patch(planner_client, f"assets/{asset.pk}/", {"status": "out of service"}).status_code == 200
    assert StaleMark.objects.filter(joint=weld_joint).exists()


@pytest.mark.parametrize("role", ["technician", "inspector", "manager", "auditor"])
def test_other_roles_read_and_do_not_write(client, person, site, asset, weld_joint, role):
    client.force_login(person(role, site))
    assert client.get(f"/api/v1/joints/{weld_joint.pk}/").status_code == 200
    assert patch(client, f"joints/{weld_joint.pk}/", {"name": "x"}).json()["code"] == "role_lacks_right"
    assert post(client, "assets/", {"site": site.pk, "tag": "X", "name": "X", "kind": "ride"}).status_code == 403


def test_nothing_of_another_site_is_there(client, person, other_site, asset, weld_joint):
    client.force_login(person("engineer", other_site))
    for path in (f"assets/{asset.pk}/", f"joints/{weld_joint.pk}/", f"sites/{asset.site_id}/"):
        assert client.get(f"/api/v1/{path}").status_code == 404
    assert patch(client, f"joints/{weld_joint.pk}/", {"name": "x"}).status_code == 404
    assert client.get("/api/v1/joints/").json()["results"] == []
    for path in (f"/assets/{asset.pk}/", f"/joints/{weld_joint.pk}/change/", f"/assets/{asset.pk}/change/"):
        assert client.get(path).status_code == 404


def test_the_same_key_sent_twice_adds_one_asset(planner_client, site):
    body = {"site": site.pk, "tag": "R-09", "name": "Puffin Slide", "kind": "ride"}
    for _ in range(2):
        assert post(planner_client, "assets/", body, headers={"Idempotency-Key": "k1"}).status_code == 201
    assert Asset.objects.count() == 1


def test_a_file_is_sent_and_asked_for_through_the_api(planner_client, site, now):
    upload = SimpleUploadedFile("register.csv", ONE.encode())
    response = planner_client.post("/api/v1/imports/", {"site": site.pk, "file": upload, "dry_run": "true"})
    assert response.status_code == 202, response.content
    row = response.json()
    assert row["state"] == "waiting"
    importer.run_import(import_id=row["id"], now=now)
    told = planner_client.get(f"/api/v1/imports/{row['id']}/").json()
    assert (told["state"], told["rows_done"], told["report"]["counts"]["joint"]["new"]) == ("checked", 1, 1)
    assert planner_client.post(f"/api/v1/imports/{row['id']}/write/").status_code == 202
    assert RegisterImport.objects.filter(dry_run=False, state="waiting").count() == 1


def test_joints_are_found_by_site_kind_and_detail(planner_client, site, weld_joint, bolted_joint):
    found = planner_client.get("/api/v1/joints/", {"site": site.pk, "kind": "bolted"}).json()["results"]
    assert [row["tag"] for row in found] == ["B-001"]
    assert planner_client.get("/api/v1/joints/", {"has_detail": "true"}).json()["results"] == []


# Pages ----------------------------------------------------------------------------------------------------------------


def test_the_asset_list_finds_counts_and_pages_by_key(planner_client, site, weld_joint, monkeypatch):
    monkeypatch.setattr("assets_app.register.pages.SHOWN", 2)
    for n in range(4):
        Asset.objects.create(site=site, tag=f"T-{n}", name="trailer", kind="trailer")
    first = planner_client.get("/assets/").content.decode()
    assert "R-01 Gull Wheel" in first
    assert "T-1" not in first
    assert "after=T-0~" in first
    assert "T-2" in planner_client.get("/assets/", {"find": "t-2"}).content.decode()


def test_an_empty_register_says_what_to_do_first(planner_client):
    assert "Import a register" in planner_client.get("/assets/").content.decode()


def test_the_asset_page_lists_its_joints_with_what_is_not_known(planner_client, weld_joint, bolted_joint):
    text = planner_client.get(f"/assets/{weld_joint.asset_id}/").content.decode()
    assert f'href="/joints/{weld_joint.pk}/"' in text
    assert "12 × M20" in text
    assert "not known" in text


def test_the_number_of_queries_does_not_grow_with_the_joints(planner_client, asset, django_assert_max_num_queries):
    for n in range(30):
        Joint.objects.create(asset=asset, tag=f"W-{n}", kind="weld")
    with django_assert_max_num_queries(12):
        planner_client.get(f"/assets/{asset.pk}/")


def test_a_joint_is_changed_on_its_page_and_a_bad_size_stays_beside_its_field(planner_client, weld_joint):
    path = f"/joints/{weld_joint.pk}/change/"
    given = {"tag": "W-001", "load_path": "single", "active": "on", "weld.leg_mm": "thick", "weld.wall_mm": "12"}
    response = planner_client.post(path, given)
    assert response.status_code == 422
    assert 'value="thick"' in response.content.decode()
    assert "is no number" in response.content.decode()
    response = planner_client.post(path, given | {"weld.leg_mm": "3/8 in"})
    assert response.status_code == 302
    weld_joint.weld.refresh_from_db()
    assert weld_joint.weld.leg_mm == 9.525


def test_opening_and_sending_a_form_unchanged_changes_nothing(planner_client, weld_joint, bolted_joint, asset):
    for path in (
        f"/joints/{weld_joint.pk}/change/",
        f"/joints/{bolted_joint.pk}/change/",
        f"/assets/{asset.pk}/change/",
    ):
        form = planner_client.get(path).context["form"]
        given = {field.html_name: field.value() for field in form if field.value() not in (None, "", False)}
        response = planner_client.post(path, given)
        assert response.status_code == 302, response.context["form"].errors
    assert not RecordEntry.objects.exists()


def test_assets_and_joints_are_added_on_pages(planner_client, site):
    given = {"site": site.pk, "tag": "L-01", "name": "scissor lift", "kind": "lift", "currency": "GBP"}
    given |= {"status": "in service", "consequence": "high"}
    assert planner_client.post("/assets/new/", given).status_code == 302
    asset = Asset.objects.get()
    given = {"tag": "B-1", "load_path": "unknown", "active": "on", "bolt_group.size": "M16"}
    assert planner_client.post(f"/assets/{asset.pk}/joints/new/?kind=bolted", given).status_code == 302
    assert asset.joints.get().bolt_group.size == "M16"


def test_a_file_goes_through_the_pages_from_check_to_written(planner_client, site, now):
    upload = SimpleUploadedFile("register.csv", ONE.encode())
    response = planner_client.post("/imports/", {"kind": "register", "site": site.pk, "file": upload, "dry_run": "on"})
    row = RegisterImport.objects.get()
    assert response["Location"] == f"/imports/{row.pk}/"
    waiting = planner_client.get(f"/imports/{row.pk}/progress/")
    assert waiting.status_code == 200
    assert "hx-get" in waiting.content.decode()
    importer.run_import(import_id=row.pk, now=now)
    over = planner_client.get(f"/imports/{row.pk}/progress/")
    assert over.status_code == 286
    assert "hx-get" not in over.content.decode()
    assert "Write it" in over.content.decode()
    written = planner_client.post(f"/imports/{row.pk}/write/")
    importer.run_import(import_id=int(written["Location"].split("/")[2]), now=now)
    assert "<strong>Done.</strong>" in planner_client.get(written["Location"]).content.decode()
    assert Joint.objects.count() == 1


def test_a_refused_file_shows_row_column_value_and_cure_and_no_button(planner_client, site, now, start):
    row = start(HEAD + "R-01,ride,W-1,weld,single,<b>thick</b>,\n", dry_run=True)
    importer.run_import(import_id=row.pk, now=now)
    text = planner_client.get(f"/imports/{row.pk}/").content.decode()
    assert "&lt;b&gt;thick" in text
    assert "<b>thick" not in text
    assert "weld_leg" in text
    assert "Write it" not in text


def test_a_technician_is_told_who_could_import(client, person, site):
    client.force_login(person("technician", site))
    text = client.get("/imports/").content.decode()
    assert "Planner or engineer could" in text


def test_a_mapping_that_is_no_toml_is_refused_beside_its_field(planner_client, site):
    files = {"file": SimpleUploadedFile("r.csv", ONE.encode()), "mapping": SimpleUploadedFile("m.toml", b"[asset")}
    response = planner_client.post("/imports/", {"kind": "register", "site": site.pk, "dry_run": "on", **files})
    assert response.status_code == 422
    assert "no TOML" in response.content.decode()


def test_the_form_offers_the_catalogue_and_keeps_a_detail_it_does_not_have(planner_client, weld_joint):
    path = f"/joints/{weld_joint.pk}/change/"
    assert 'value="bolt-tension"' in planner_client.get(path).content.decode()
    weld_joint.weld.detail = "an-older-detail"
    weld_joint.weld.save()
    assert "an-older-detail (not in the catalogue)" in planner_client.get(path).content.decode()
