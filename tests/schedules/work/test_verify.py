"""Another person than the doer closes an order."""

import pytest

from assets_app.models import RecordEntry
from assets_app.refusals import Conflict, NotAllowed
from schedules.work.finishing import LookInput, finish, verify

pytestmark = pytest.mark.django_db


@pytest.fixture
def done_order(look_order, all_steps, inspector, now):
    order = all_steps(look_order, inspector)
    return finish(
        order_id=order.pk, expected_version=order.version, actor=inspector, now=now, look=LookInput(result="accepted")
    )


def test_another_inspector_or_engineer_verifies_and_it_is_closed(done_order, engineer, now):
    order = verify(order_id=done_order.pk, expected_version=done_order.version, actor=engineer, now=now)
    assert (order.state, order.verified_by, order.closed_at) == ("closed", engineer, now)
    assert RecordEntry.objects.order_by("pk").last().deed == "order.verified"


def test_never_the_doer(done_order, inspector, now):
    with pytest.raises(NotAllowed) as refused:
        verify(order_id=done_order.pk, expected_version=done_order.version, actor=inspector, now=now)
    assert refused.value.code == "did_the_work"


def test_nor_who_did_a_step_of_it(done_order, engineer, now):
    done_order.steps.filter(sequence=1).update(done_by=engineer)
    with pytest.raises(NotAllowed) as refused:
        verify(order_id=done_order.pk, expected_version=done_order.version, actor=engineer, now=now)
    assert refused.value.code == "did_the_work"


def test_a_technician_verifies_nothing(done_order, technician, now):
    with pytest.raises(NotAllowed) as refused:
        verify(order_id=done_order.pk, expected_version=done_order.version, actor=technician, now=now)
    assert refused.value.code == "role_lacks_right"


def test_a_closed_order_is_not_verified_again(done_order, engineer, now):
    order = verify(order_id=done_order.pk, expected_version=done_order.version, actor=engineer, now=now)
    with pytest.raises(Conflict) as refused:
        verify(order_id=order.pk, expected_version=order.version, actor=engineer, now=now)
    assert refused.value.code == "order_state"
    assert refused.value.data["by"] == engineer.display_name
    assert f"verified by {engineer.display_name} on" in refused.value.message
