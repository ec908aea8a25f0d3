"""What is sent to the workers after a deed."""

import pytest
from kombu.exceptions import OperationalError

from assets_app import dispatch
from schedules.due import actions as due
from schedules.due.tasks import recompute_stale
from schedules.models import StaleMark


@pytest.fixture
def broker_away(monkeypatch):
    def refuse(*_, **__):
        raise OperationalError("connection refused")

    monkeypatch.setattr(recompute_stale, "apply_async", refuse)


def test_a_deed_stands_while_the_broker_is_away_and_leaves_its_mark(
    broker_away, site, asset, now, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        due.mark_site_stale(site_id=site.pk, why="test", now=now)
    assert StaleMark.objects.filter(asset=asset).count() == 1


def test_that_nothing_was_sent_is_said(broker_away, caplog):
    assert dispatch.send(recompute_stale) is False
    assert "the broker does not answer" in caplog.text


def test_a_fault_of_our_own_is_not_swallowed(monkeypatch):
    monkeypatch.setattr(recompute_stale, "apply_async", lambda *_, **__: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        dispatch.send(recompute_stale)
