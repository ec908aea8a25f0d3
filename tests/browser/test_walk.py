"""The main job from end to end, in a real browser and through the API, as its people do it.

The register is imported; a reading brings a due date forward; the joint's page says why; the order is closed on a phone
with a photo; the new date and the record follow; other work is put off and stands on the backlog; and a wrong role, a
wrong file and a wrong reading each get a clear refusal.
"""

from __future__ import annotations

import io
import os
from datetime import UTC, date, datetime, timedelta

import pytest
from django.utils import timezone
from PIL import Image
from rest_framework.test import APIClient

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]

HEAD = (
    "asset_tag,asset_name,asset_kind,asset_commissioned_on,asset_place,member_tag,member_section,member_steel_grade,"
    "joint_tag,joint_name,joint_load_path,joint_access,joint_member,weld_joint_type,weld_weld_type,weld_leg,weld_wall,"
    "programme_method,programme_calendar_months,programme_last_look_on,programme_source\n"
)


def register(today: date) -> str:
    """One ride with two welds: MT of the first is years away by the calendar, VT of the second is overdue."""
    looked, late = today - timedelta(days=60), today - timedelta(days=400)
    same = "R-01,Gull Wheel,ride,2019-04-01,north end,M-01,CHS 219.1x8,S355J2"
    weld = "single,easy,M-01,tee,fillet,3/8 in,8 mm"
    return (
        HEAD
        + f"{same},W-001,column foot,{weld},MT,60,{looked.isoformat()},maker's manual 4.2\n"
        + f"{same},W-002,spoke 1,{weld},VT,12,{late.isoformat()},maker's manual 4.3\n"
    )


def photo() -> dict:
    out = io.BytesIO()
    Image.new("RGB", (1600, 1200), "dimgray").save(out, "JPEG")
    return {"name": "IMG_0042.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def keep(page, name: str) -> None:
    """Keeps a picture where SHOTS says, for whoever wants to look."""
    if os.environ.get("SHOTS"):
        page.screenshot(path=f"{os.environ['SHOTS']}/walk-{name}.png", full_page=True)


@pytest.fixture
def people(person, site):
    from assets_app.models import Qualification

    made = {role: person(role, site) for role in ("planner", "technician", "inspector", "manager", "engineer")}
    for method in ("VT", "MT"):
        Qualification.objects.create(
            person=made["inspector"], kind="ndt", method=method, level=2, issued_on=date(2024, 1, 1),
            expires_on=date(2099, 1, 1),
        )  # fmt: skip
    return made


@pytest.fixture
def api(people):
    def as_(role: str) -> APIClient:
        client = APIClient()
        client.force_authenticate(people[role])
        return client

    return as_


def import_register(page, today: date) -> None:
    page.get_by_label("File (CSV").set_input_files(
        {"name": "broken.csv", "mimeType": "text/csv", "buffer": (HEAD + "R-01,,boat\n").encode()}
    )
    page.get_by_role("button", name="Read the file").click()
    page.wait_for_url("**/imports/*/")
    assert "Nothing was written" in page.inner_text("main")
    assert "boat" in page.inner_text("main")
    keep(page, "1-wrong-file")
    page.goto("/imports/")
    page.get_by_label("File (CSV").set_input_files(
        {"name": "pier.csv", "mimeType": "text/csv", "buffer": register(today).encode()}
    )
    page.get_by_role("button", name="Read the file").click()
    page.wait_for_url("**/imports/*/")
    assert "Checked and clean" in page.inner_text("main")
    page.get_by_role("button", name="Write it").click()
    page.wait_for_url("**/imports/*/")
    assert "Done." in page.inner_text("main")
    keep(page, "2-imported")


def post_readings(api, counter: int, today: date) -> None:
    """Ten quiet weeks."""
    for week in range(10, 0, -1):
        at = datetime.combine(today - timedelta(days=7 * week), datetime.min.time(), UTC) + timedelta(hours=18)
        sent = {"counter": counter, "value": 1000 + (10 - week) * 700, "read_at": at.isoformat()}
        assert api.post("/api/v1/readings/", sent).status_code == 201


def due_on(api, joint: int) -> dict:
    (row,) = api.get(f"/api/v1/due-dates/?joint={joint}").json()["results"]
    return row


def test_the_main_job_from_the_register_to_the_backlog(open_page, people, api, site, settings, tmp_path):
    from assets_app.models import Asset, Joint

    settings.MEDIA_ROOT = tmp_path
    today = timezone.localdate(timezone=UTC)
    planner = api("planner")

    import_register(open_page("/imports/", person=people["planner"]), today)
    asset = Asset.objects.get(tag="R-01")
    first, second = Joint.objects.get(tag="W-001"), Joint.objects.get(tag="W-002")
    assert due_on(planner, first.pk)["governing"] == "calendar"

    # what the joint works, and what its method may count between looks
    counter = planner.post("/api/v1/counters/", {"asset": asset.pk, "name": "cycles", "unit": "cycles"}).json()["id"]
    post_readings(planner, counter, today)
    set_ = planner.post("/api/v1/programmes/", {"joint": first.pk, "method": "MT", "duty_count": 12_000})
    assert set_.status_code == 200
    before = due_on(planner, first.pk)
    assert before["governing"] == "duty"

    # a wrong reading is refused with the reason; a busy one brings the date forward
    yesterday = (datetime.combine(today, datetime.min.time(), UTC) - timedelta(hours=6)).isoformat()
    backwards = planner.post("/api/v1/readings/", {"counter": counter, "value": 900, "read_at": yesterday})
    assert (backwards.status_code, backwards.json()["code"]) == (422, "reading_runs_backwards")
    busy = planner.post("/api/v1/readings/", {"counter": counter, "value": 10_500, "read_at": yesterday})
    assert busy.status_code == 201
    after = due_on(planner, first.pk)
    assert after["due_on"] < before["due_on"]

    page = open_page("/due/", person=people["planner"])
    page.goto(f"/joints/{first.pk}/")
    text = page.inner_text("main")
    assert "Duty governs: 12" in text
    assert "allowed between looks" in text
    assert "stress spectrum" in text  # unrated, and it says what is missing
    keep(page, "3-joint")

    # the planner raises and assigns the order of the overdue look
    page.goto("/due/?weeks=0")
    page.get_by_role("button", name="Raise order for VT of W-002").click()
    order = planner.get("/api/v1/orders/").json()["results"][0]
    assigned = planner.post(
        f"/api/v1/orders/{order['id']}/assign/",
        {"version": order["version"], "assignee_id": people["inspector"].pk},
    )
    assert assigned.status_code == 200, assigned.json()

    # a technician may not sign a look by VT, and is told who could
    refused = api("technician").post(
        "/api/v1/inspections/",
        {"joint": second.pk, "method": "VT", "inspected_at": yesterday, "result": "accepted"},
    )
    assert (refused.status_code, refused.json()["code"]) == (403, "role_lacks_right")
    assert "nspector" in refused.json()["detail"]

    close_on_the_phone(open_page("/my-work/", size="phone", person=people["inspector"]), settings)
    new = due_on(planner, second.pk)
    assert new["due_on"] > (today + timedelta(days=360)).isoformat()
    page.goto(f"/joints/{second.pk}/")
    assert "recorded a look by VT" in page.inner_text("main")
    keep(page, "6-after")

    put_off(open_page, people, planner, first)


def close_on_the_phone(page, settings) -> None:
    assert "W-002" in page.inner_text(".ticket")
    keep(page, "4-my-work")
    page.get_by_role("link", name="Start").click()
    page.wait_for_url("**/orders/*/")
    for number in range(page.locator("ol.steps > li").count()):
        step = page.locator("ol.steps > li").nth(number)
        if step.locator("input[type=file]").count():
            step.locator("input[type=file]").set_input_files(photo())
        elif step.locator("input[name=value]").count():
            step.locator("input[name=value]").fill("500")
        if step.locator("button").count():
            step.locator("button").click()
            page.wait_for_load_state()
    page.get_by_label("nothing beyond the limits").check()
    page.get_by_label("Minutes spent").first.fill("25")
    keep(page, "5-order")
    page.get_by_role("button", name="Record the look and finish").click()
    page.wait_for_load_state()
    assert "Done by" in page.inner_text("main")


def put_off(open_page, people, planner, joint) -> None:
    """The manager puts off the other look with reason, measure and end; it stands on the backlog."""
    row = due_on(planner, joint.pk)
    raised = planner.post("/api/v1/orders/", {"programme": row["programme"]})
    assert raised.status_code == 201, raised.json()
    number, pk = raised.json()["number"], raised.json()["id"]
    page = open_page(f"/orders/{pk}/put-off/", person=people["manager"])
    until = date.fromisoformat(row["due_on"]) + timedelta(days=14)
    page.get_by_label("Until").fill(until.isoformat())
    page.get_by_label("Why it is put off").fill("The lift for the column is away until then.")
    page.get_by_label("What keeps it safe meanwhile").fill("Looked at from the ground every morning.")
    page.get_by_role("button", name="I sign for it").click()
    page.goto("/put-off/")
    text = page.inner_text("main")
    assert "W-001" in text
    assert "The lift for the column is away until then." in text
    assert number
    keep(page, "7-put-off")
