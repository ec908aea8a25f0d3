"""Who is at the steel, and orders for them, where the network may fail at any moment."""

from __future__ import annotations

from datetime import date
from functools import partial

import pytest


@pytest.fixture
def open_page(open_page):
    """As everywhere, save that requests fail here at any moment: that is what these tests are about."""
    return partial(open_page, provoked=["Failed to load resource"])


@pytest.fixture
def inspector(person, site):
    from assets_app.models import Qualification

    who = person("inspector", site)
    for method in ("VT", "MT"):
        Qualification.objects.create(
            person=who, kind="ndt", method=method, level=2, issued_on=date(2024, 1, 1), expires_on=date(2099, 1, 1)
        )
    return who


@pytest.fixture
def order_for(now):
    """``order_for(joint, who, kind="inspect", method="MT")`` raises an order and gives it to somebody."""
    from schedules.models import WorkOrder
    from schedules.work import actions

    def make(joint, who, kind="inspect", method="MT") -> WorkOrder:
        planner = who.roles.first()
        method = method if kind == "inspect" else ""
        planner = type(planner).objects.get_or_create(person=who, site=planner.site, name="planner")[0].person
        order = actions.raise_order_by_hand(
            joint_id=joint.pk, kind=kind, method=method, why="rust", actor=planner, now=now
        )
        WorkOrder.objects.filter(pk=order.pk).update(assignee=who)
        order.refresh_from_db()
        return order

    return make
