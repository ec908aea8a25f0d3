"""A look that has committed stands, whatever goes wrong with the order that it answers; the order is found again."""

import logging
from datetime import UTC, date, datetime

import pytest
from rest_framework.test import APIClient

from assets_app.models import Inspection, Joint
from schedules.due import engine
from schedules.due.store import Scope
from schedules.models import Programme
from schedules.work import finishing, raising

AT = datetime(2026, 6, 16, 9, tzinfo=UTC)


def fails(**_):
    raise ValueError("no answer today")


@pytest.mark.django_db(transaction=True)
def test_an_order_that_cannot_be_answered_does_not_deny_the_look_and_is_answered_later(
    look_order, inspector, monkeypatch, caplog
):
    api = APIClient(raise_request_exception=False)
    api.force_login(inspector)
    look = {"joint": look_order.joint_id, "method": "MT", "inspected_at": "2026-06-15T09:30:00Z", "result": "accepted"}
    with monkeypatch.context() as broken:
        broken.setattr(finishing, "answer_by_look", fails)
        answer = api.post("/api/v1/inspections/", look, format="json")
    assert answer.status_code == 201, answer.content
    assert Inspection.objects.filter(pk=answer.data["id"]).exists()
    look_order.refresh_from_db()
    assert look_order.state == "open"
    assert any("no answer today" in str(each.exc_info[1]) for each in caplog.records if each.exc_info)

    assert finishing.answer_owed(now=AT) == 1
    look_order.refresh_from_db()
    assert (look_order.state, look_order.inspection_id) == ("done", answer.data["id"])


@pytest.mark.django_db
def test_one_order_that_cannot_be_answered_keeps_no_other_from_its_answer(
    look_order, planner, inspector, now, monkeypatch, caplog
):
    from assets_app.inspections.actions import record_inspection

    joint = Joint.objects.create(asset=look_order.asset, tag="W-99", kind="weld")
    programme = Programme.objects.create(
        joint=joint, asset=joint.asset, method="MT", calendar_months=12, last_look_on=date(2025, 6, 1)
    )
    engine.recompute(Scope(joint_ids=[joint.pk]), now=now)
    other = raising.raise_order_for_due_date(programme_id=programme.pk, actor=planner, now=now)
    for order in (look_order, other):
        record_inspection(
            joint_id=order.joint_id, method="MT", inspected_at=now, result="accepted", actor=inspector, now=now
        )
    truly = finishing.answer_by_look

    def fails_for_the_first(*, inspection_id, now):
        if Inspection.objects.get(pk=inspection_id).joint_id == look_order.joint_id:
            raise ValueError("no answer today")
        return truly(inspection_id=inspection_id, now=now)

    monkeypatch.setattr(finishing, "answer_by_look", fails_for_the_first)
    with caplog.at_level(logging.ERROR):
        assert finishing.answer_owed(now=now) == 1
    other.refresh_from_db()
    assert other.state == "done"
    assert str(look_order.number) in caplog.text
