"""Joints like one found bad, the looks owed there, and looks withdrawn."""

from __future__ import annotations

from datetime import date

import pytest

from assets_app.models import Asset, Joint, RecordEntry, Weld
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from schedules.due import actions
from schedules.due.alike import alike
from schedules.due.alike_actions import owe_sweep
from schedules.models import DueDate, OwedLook, Programme

pytestmark = pytest.mark.django_db
BY = date(2026, 6, 29)
WHY = "crack at R-01 / W-001"


@pytest.fixture
def sister(site, weld_joint):
    """Makes a weld on another asset: of the kind, tag and detail asked for, with a look owed unless told."""
    weld_joint.weld.detail = "cruciform"
    weld_joint.weld.save()
    made = []

    def make(*, tag="W-001", detail="", kind=None, at=None, owed=True, **weld) -> Joint:
        made.append(tag)
        asset = Asset.objects.create(
            site=at or site, tag=f"S-{len(made):02d}", name="sister", kind=kind or weld_joint.asset.kind
        )
        joint = Joint.objects.create(asset=asset, tag=tag, kind="weld")
        Weld.objects.create(joint=joint, detail=detail, **weld)
        if owed:
            Programme.objects.create(joint=joint, asset=asset, method="MT")
        return joint

    return make


def test_alike_are_the_same_tag_or_detail_on_assets_of_the_same_kind(sister, weld_joint, site):
    same_tag = sister(wall_mm=12)
    same_detail = sister(tag="W-777", detail="cruciform", wall_mm=16)
    both = sister(detail="cruciform")
    other_detail = sister(detail="butt")
    nothing_owed = sister(owed=False)
    for unlike in ({"tag": "W-002"}, {"kind": "crane"}, {"tag": "W-9", "detail": "butt"}):
        sister(**unlike)
    retired = sister()
    retired.asset.status = "retired"
    retired.asset.save()
    found = alike(weld_joint, [site.pk])
    told = {each.joint: each for each in found.joints}
    assert told.keys() == {same_tag, same_detail, both, other_detail, nothing_owed}
    assert told[same_tag].same == ("tag", "wall")
    assert told[same_detail].other == ("wall",)
    assert [each.joint for each in found.joints if not each.chosen] == [other_detail, nothing_owed]
    assert {each.joint for each in found.joints[:3]} == {same_tag, same_detail, both}


def test_bolts_are_alike_by_size_and_class(bolted_joint, site):
    asset = Asset.objects.create(site=site, tag="S-1", name="sister", kind=bolted_joint.asset.kind)
    group = bolted_joint.bolt_group
    twin, smaller = (Joint.objects.create(asset=asset, tag=tag, kind="bolted") for tag in ("B-9", "B-8"))
    for joint, size in ((twin, group.size), (smaller, "M12")):
        type(group).objects.create(joint=joint, size=size, property_class=group.property_class)
    assert [each.joint for each in alike(bolted_joint, [site.pk]).joints] == [twin]


def test_a_sweep_dates_the_like_joints_and_a_look_ends_it(
    sister, weld_joint, person, site, now, django_capture_on_commit_callbacks
):
    joints = [sister(), sister()]
    inspector = person("inspector", site)
    with django_capture_on_commit_callbacks(execute=True):
        made = owe_sweep(
            joint_id=weld_joint.pk, joint_ids=[j.pk for j in joints], due_on=BY, why=WHY, actor=inspector, now=now
        )
    assert len(made) == 2
    dates = DueDate.objects.filter(joint__in=joints).values_list("due_on", "governing")
    assert set(dates) == {(BY, "sweep")}
    assert set(RecordEntry.objects.filter(deed="sweep.owed").values_list("joint_id", flat=True)) == {
        joint.pk for joint in joints
    }
    assert alike(weld_joint, [site.pk]).owing == 2
    again = owe_sweep(
        joint_id=weld_joint.pk, joint_ids=[j.pk for j in joints], due_on=BY, why=WHY, actor=inspector, now=now
    )
    assert again == []
    sooner = owe_sweep(
        joint_id=weld_joint.pk, joint_ids=[joints[0].pk], due_on=date(2026, 6, 20), why=WHY, actor=inspector, now=now
    )
    assert len(sooner) == 1


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"due_on": date(2026, 6, 14)}, "day_passed"),
        ({"why": " "}, "reason_missing"),
        ({"joint_ids": []}, "no_joints"),
        ({"joint_ids": range(1, 2003)}, "too_many_joints"),
        ({"method": "UT"}, "method_not_owed"),
    ],
)
def test_a_sweep_that_would_bind_nothing_is_refused(changed, code, sister, weld_joint, person, site, now):
    asked = {"joint_ids": [sister().pk], "due_on": BY, "why": WHY} | changed
    with pytest.raises(Unprocessable) as refused:
        owe_sweep(joint_id=weld_joint.pk, actor=person("planner", site), now=now, **asked)
    assert refused.value.code == code
    assert not OwedLook.objects.exists()


def test_a_joint_out_of_sight_refuses_the_whole_sweep(sister, weld_joint, person, site, other_site, now):
    joints = [sister().pk, sister(at=other_site).pk]
    planner = person("planner", site)
    with pytest.raises(NotFound):
        owe_sweep(joint_id=weld_joint.pk, joint_ids=joints, due_on=BY, why=WHY, actor=planner, now=now)
    with pytest.raises(NotAllowed, match="could"):
        owe_sweep(
            joint_id=weld_joint.pk, joint_ids=joints[:1], due_on=BY, why=WHY, actor=person("manager", site), now=now
        )
    assert not OwedLook.objects.exists()


def test_the_page_proposes_the_like_joints_and_asks_for_their_looks(client, sister, weld_joint, person, site):
    joint = sister()
    sister(owed=False)
    client.force_login(person("inspector", site))
    address = f"/joints/{weld_joint.pk}/like/"
    page = client.get(address).content.decode()
    assert f'value="{joint.pk}" checked' in page
    assert "say what is owed first" in page
    refused = client.post(address, {"joints": [joint.pk], "due_on": "2090-01-01", "why": ""})
    assert refused.status_code == 422
    assert f'value="{joint.pk}" checked' in refused.content.decode(), "what was ticked stays ticked"
    assert client.post(address, {"joints": [joint.pk], "due_on": "2090-01-01", "why": WHY}).status_code == 302
    assert OwedLook.objects.get().joint == joint
    assert "1 like joint owes a look" in client.get(address).content.decode()


def test_a_load_change_is_said_on_the_page_of_what_is_owed(client, person, site, weld_joint, programme):
    programme("MT")
    client.force_login(person("engineer", site))
    address = f"/joints/{weld_joint.pk}/programme/"
    sent = {"deed": "fixed", "limit": "load change", "due_on": "2026-07-15", "why": "two bolts lost at the next flange"}
    assert client.post(address, sent).status_code == 302
    owed = OwedLook.objects.get()
    assert owed.limit == "load change"
    assert client.post(address, {"deed": "withdraw", "owed_id": owed.pk, "reason": ""}).status_code == 422
    assert client.post(address, {"deed": "withdraw", "owed_id": owed.pk, "reason": "other joint"}).status_code == 302
    owed.refresh_from_db()
    assert owed.withdrawn_why == "other joint"


def test_only_an_engineer_withdraws_and_never_a_look_after_work_nor_twice(weld_joint, programme, person, site, now):
    programme("MT")
    planner, engineer = person("planner", site), person("engineer", site)
    fixed = actions.fix_day(joint_id=weld_joint.pk, due_on=BY, why="insurer", actor=planner, now=now)
    after = OwedLook.objects.create(joint=weld_joint, limit="after work", due_on=BY, why="repair", owed_since=BY)
    with pytest.raises(NotAllowed):
        actions.withdraw_owed_look(owed_id=fixed.pk, reason="typed wrong", actor=planner, now=now)
    with pytest.raises(Unprocessable) as refused:
        actions.withdraw_owed_look(owed_id=after.pk, reason="typed wrong", actor=engineer, now=now)
    assert refused.value.code == "after_work_stands"
    actions.withdraw_owed_look(owed_id=fixed.pk, reason="typed wrong", actor=engineer, now=now)
    with pytest.raises(Conflict, match="typed wrong"):
        actions.withdraw_owed_look(owed_id=fixed.pk, reason="again", actor=engineer, now=now)
