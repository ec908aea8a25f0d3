"""What goes along to where there is no signal, and the doors it comes through."""

from __future__ import annotations

import io
import json

import pytest
from django.test import Client
from PIL import Image

from assets_app.inspections.actions import add_evidence
from schedules.models import Hold, WorkOrder
from schedules.work import actions
from schedules.work.steel import packing, pages, queries

BUNDLE = "/api/v1/steel/bundle/"


@pytest.fixture
def mine(look_order, technician, planner, now) -> WorkOrder:
    return actions.assign(
        order_id=look_order.pk,
        expected_version=look_order.version,
        assignee_id=technician.pk,
        actor=planner,
        now=now,
    )


@pytest.fixture
def signed_in(technician) -> Client:
    client = Client()
    client.force_login(technician, backend="assets_app.people.signed_in.PersonBackend")
    return client


def test_the_bundle_holds_my_order_with_its_steps_drawings_and_counters(mine, technician, counter, now):
    told = queries.bundle(technician, now=now)
    (order,) = told["orders"]
    assert (order["id"], order["version"], order["place"]) == (mine.pk, mine.version, "Gull Wheel")
    assert [step["kind"] for step in order["steps"]] == [step.kind for step in mine.steps.all()]
    joint = told["joints"][mine.joint_id]
    assert joint["drawing"]["svg"].startswith("<svg")
    assert (joint["touch"]["field"], joint["touch"]["diameter_mm"]) == ("clock_deg", 219.1)
    assert told["unmeasured"]["diameter_mm"] is None
    assert told["assets"][mine.asset_id]["tag"] == mine.asset.tag
    assert [row["name"] for row in told["counters"]] == ["cycles"]
    assert any(code == "101" for _, rows in told["kinds"]["weld"] for code, *_ in rows)


def test_the_bundle_says_who_could_sign_where_i_cannot(mine, technician, inspector, now):
    (order,) = queries.bundle(technician, now=now)["orders"]
    assert inspector.display_name in order["who_could"]


def test_a_bolted_joint_brings_its_sheet_along(bolted_joint, technician, planner, now):
    order = actions.raise_order_by_hand(
        joint_id=bolted_joint.pk, kind="tighten", why="after the storm", actor=planner, now=now
    )
    WorkOrder.objects.filter(pk=order.pk).update(assignee=technician)
    told = queries.bundle(technician, now=now)
    bolts = told["joints"][bolted_joint.pk]["bolts"]
    assert (bolts["count"], bolts["order"][:2], bolts["path"]) == (12, [1, 7], "single")
    assert len(bolts["points"]) == 12
    assert round(bolts["expected"]["torque_nm"]) == 549  # 0.2 * 137.2 kN * 20 mm
    (sent,) = told["orders"]
    assert sent["may_check_bolts"]
    assert not told["sites"][bolted_joint.asset.site_id]["may_look"]
    assert [step["sequence"] for step in sent["steps"] if step.get("sheet")] == [3, 4, 5]
    assert told["bolt_rules"]["order"][-1] == "hold now"


def test_open_findings_of_the_asset_s_other_joints_go_along_too(mine, finding, bolted_joint, technician, planner, now):
    crack = finding()
    told = queries.bundle(technician, now=now)
    assert [row["id"] for row in told["joints"][crack.joint_id]["findings"]] == [crack.pk]
    assert told["elsewhere"] == {}
    actions.place_hold(joint_id=crack.joint_id, reason="it cracked", actor=technician, now=now)
    WorkOrder.objects.filter(pk=mine.pk).update(state="done", done_by=technician, done_at=now)
    order = actions.raise_order_by_hand(joint_id=bolted_joint.pk, kind="tighten", why="loose", actor=planner, now=now)
    WorkOrder.objects.filter(pk=order.pk).update(assignee=technician)
    told = queries.bundle(technician, now=now)
    assert list(told["joints"]) == [bolted_joint.pk]
    assert [hold["where"] for hold in told["assets"][crack.joint.asset_id]["holds"]] == ["W-001 column foot"]
    assert [(joint, [row["id"] for row in rows]) for joint, rows in told["elsewhere"].items()] == [
        (crack.joint_id, [crack.pk])
    ]


def test_orders_of_others_stay_at_home(look_order, technician, now):
    assert queries.bundle(technician, now=now)["orders"] == []


def test_an_order_that_is_done_stays_at_home(mine, technician, now):
    WorkOrder.objects.filter(pk=mine.pk).update(state="done", done_by=technician, done_at=now)
    assert queries.bundle(technician, now=now)["orders"] == []


def test_a_long_list_takes_the_most_urgent_along_and_says_how_many_stay(mine, technician, now, monkeypatch):
    monkeypatch.setattr(queries, "MOST_ORDERS", 0)
    told = queries.bundle(technician, now=now)
    assert told["orders"] == []
    assert told["left_out"] == 1


def test_the_number_of_queries_does_not_grow_with_the_orders(
    mine, technician, planner, bolted_joint, now, django_assert_max_num_queries
):
    for why in ("rust", "noise", "paint"):
        order = actions.raise_order_by_hand(joint_id=bolted_joint.pk, kind="tighten", why=why, actor=planner, now=now)
        WorkOrder.objects.filter(pk=order.pk).update(assignee=technician)
    with django_assert_max_num_queries(20):
        assert len(queries.bundle(technician, now=now)["orders"]) == 4


def test_the_same_bundle_is_not_sent_twice(mine, signed_in):
    first = signed_in.get(BUNDLE)
    again = signed_in.get(BUNDLE, headers={"If-None-Match": first["ETag"]})
    assert (first.status_code, again.status_code, again.content) == (200, 304, b"")
    WorkOrder.objects.filter(pk=mine.pk).update(version=9)
    assert signed_in.get(BUNDLE, headers={"If-None-Match": first["ETag"]}).status_code == 200


def test_signed_out_there_is_no_bundle(client, db):
    assert client.get(BUNDLE).status_code == 401


def test_who_is_signed_in_comes_with_a_token_that_lets_the_device_write(mine, signed_in, technician):
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = signed_in.cookies
    who = strict.get("/api/v1/steel/who/").json()
    assert who["id"] == technician.pk
    told = {"version": mine.version}
    path = f"/api/v1/orders/{mine.pk}/steps/1/"
    refused = strict.post(path, told, content_type="application/json")
    assert refused.status_code == 403
    assert refused.json()["detail"].startswith("CSRF")
    done = strict.post(path, told, content_type="application/json", headers={"X-CSRFToken": who["csrf"]})
    assert done.status_code == 200


def test_a_past_photo_goes_along_small_and_only_where_i_have_a_role(
    mine, signed_in, technician, stranger, settings, tmp_path, now
):
    settings.MEDIA_ROOT = tmp_path
    out = io.BytesIO()
    Image.effect_noise((1600, 1200), 60).convert("RGB").save(out, "JPEG")
    photo = add_evidence(joint_id=mine.joint_id, data=out.getvalue(), name="a.jpg", actor=technician, now=now)
    joint = queries.bundle(technician, now=now)["joints"][mine.joint_id]
    assert [row["id"] for row in joint["photos"]] == [photo.pk]
    response = signed_in.get(f"/api/v1/steel/photos/{photo.pk}.jpg")
    assert Image.open(io.BytesIO(response.content)).size == (480, 360)
    outside = Client()
    outside.force_login(stranger, backend="assets_app.people.signed_in.PersonBackend")
    assert outside.get(f"/api/v1/steel/photos/{photo.pk}.jpg").status_code == 404


def test_the_shell_holds_nobodys_data_and_lists_files_that_exist(client, db):
    page = client.get("/steel/")
    assert page.status_code == 200
    assert "csrf" not in page.content.decode().lower()
    assert all((pages.STATIC / name).is_file() for name in pages.SHELL)
    folder = {f"soundjoint/steel/{file.name}" for file in (pages.STATIC / "soundjoint/steel").glob("*.js")}
    workers = {"soundjoint/steel/sw.js", "soundjoint/steel/sw-sync.js", "soundjoint/steel/leave.js"}
    assert folder - workers == set(pages.MODULES)


def test_the_manifest_names_an_icon_that_exists(client, db):
    told = json.loads(client.get("/steel/manifest.webmanifest").content)
    assert told["start_url"] == "/steel/"
    assert told["display"] == "standalone"
    for icon in told["icons"]:
        assert (pages.STATIC / icon["src"].removeprefix("/static/")).is_file()


def test_the_modules_travel_as_one_script_that_is_not_sent_twice(client, db):
    first = client.get("/steel/app.js")
    assert first.content.decode().count("packed.app = ") == 1
    assert all(f"packed.{name.split('/')[-1][:-3]} = " in first.content.decode() for name in pages.MODULES)
    assert client.get("/steel/app.js", headers={"If-None-Match": first["ETag"]}).status_code == 304
    assert ".steel-state" in client.get("/steel/app.css").content.decode()


@pytest.mark.parametrize(
    ("text", "wrong"), [("import x from './y.js';\n", "import"), ("export default 3;\n", "export")]
)
def test_a_form_of_import_or_export_that_is_not_understood_is_refused(tmp_path, text, wrong):
    (tmp_path / "app.js").write_text(text)
    with pytest.raises(ValueError, match=f"this form of {wrong} is not understood"):
        packing.script(tmp_path, "app")


def test_modules_in_a_ring_are_refused(tmp_path):
    (tmp_path / "one.js").write_text('import { b } from "./two.js";\n')
    (tmp_path / "two.js").write_text('import { a } from "./one.js";\n')
    with pytest.raises(ValueError, match="one -> two -> one"):
        packing.script(tmp_path, "one")


@pytest.mark.parametrize("name", ["sw.js", "sw-sync.js"])
def test_a_service_worker_is_a_script_that_may_serve_the_page(client, db, name):
    response = client.get(f"/steel/{name}")
    assert response["Content-Type"] == "text/javascript"
    assert response["Service-Worker-Allowed"] == "/steel/"
    assert pages.edition() in response.content.decode()


def test_a_repair_that_welds_brings_who_may_weld_along(repair_order, technician, person, site, now):
    WorkOrder.objects.filter(pk=repair_order.pk).update(assignee=technician)
    told = queries.bundle(technician, now=now)
    assert told["orders"][0]["welds"]
    holds = {welder["id"]: welder["holds"] for welder in told["sites"][site.pk]["welders"]}
    assert [row[:2] for row in holds[technician.pk]] == [["135", "PF"]]
    assert person("technician", site).pk not in holds
    assert ["PF", "vertical up"] in [list(row) for row in told["positions"]]


def typed(site, asset_tag="gw 1", joint_tag="w-001", **more):
    return {"site": site.pk, "asset_tag": asset_tag, "joint_tag": joint_tag, **more}


def test_a_tag_typed_by_hand_is_matched_whatever_its_capitals_and_spaces(weld_joint, site, signed_in):
    weld_joint.asset.tag = "GW1"
    weld_joint.asset.save()
    held = signed_in.post("/api/v1/steel/holds/", typed(site, reason="cracked"), content_type="application/json")
    assert (held.status_code, held.json()["joint"]) == (201, weld_joint.pk)
    whole = typed(site, joint_tag="", reason="cracked")
    held = signed_in.post("/api/v1/steel/holds/", whole, content_type="application/json")
    assert (held.json()["asset"], held.json()["joint"]) == (weld_joint.asset_id, None)


@pytest.mark.parametrize(
    ("tags", "field"), [({"asset_tag": "Bear 9"}, "asset_tag"), ({"joint_tag": "w-01"}, "joint_tag")]
)
def test_a_tag_that_matches_nothing_is_refused_with_the_nearest_and_holds_nothing(
    weld_joint, site, signed_in, tags, field
):
    sent = typed(site, **{"asset_tag": weld_joint.asset.tag, **tags}, reason="cracked")
    refused = signed_in.post("/api/v1/steel/holds/", sent, content_type="application/json")
    told = refused.json()
    assert (refused.status_code, told["code"], told["field"]) == (422, "tag_unknown", field)
    assert ("Is it W-001?" in told["detail"]) is (field == "joint_tag")
    assert not Hold.objects.exists()


def test_a_tag_of_a_site_out_of_sight_is_not_matched(weld_joint, other_site, signed_in):
    sent = typed(other_site, asset_tag=weld_joint.asset.tag, reason="cracked")
    assert signed_in.post("/api/v1/steel/holds/", sent, content_type="application/json").status_code == 404
