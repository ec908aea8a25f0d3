"""A counter in a real browser: read it on a phone, be refused, confirm, see the line move."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from django.utils import timezone

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def technician(person, site):
    return person("technician", site)


@pytest.fixture
def busy_counter(counter, site, technician):
    from schedules.duty import actions
    from schedules.models import Season

    Season.objects.create(site=site, name="summer", opens_month=4, opens_day=1, closes_month=10, closes_day=31)
    now, chance = timezone.now(), np.random.default_rng(3)
    entries, total = [], 120_000.0
    for week in range(200, 0, -1):
        at = now - timedelta(weeks=week) + timedelta(days=3)
        total += float(chance.poisson(900)) if 4 <= at.month <= 10 else 0.0
        entries.append(actions.Entry(week, counter.pk, total, at))
    actions.post_readings(entries=entries, actor=technician, now=now, source="api")
    return counter, total


@pytest.mark.parametrize(("size", "scheme"), [("phone", "dark"), ("desk", "light")])
def test_a_counter_reads_well_and_is_accessible(
    open_page, axe, no_sideways_scroll, busy_counter, technician, size, scheme
):
    page = open_page(f"/counters/{busy_counter[0].pk}/", size=size, scheme=scheme, person=technician)
    assert page.get_by_role("img", name="cycles of R-01 Gull Wheel").count() == 1  # the other width is hidden
    no_sideways_scroll(page)
    axe(page)


def test_a_technician_posts_on_a_phone_is_refused_and_puts_it_right(open_page, busy_counter, technician):
    counter, total = busy_counter
    page = open_page(f"/counters/{counter.pk}/", size="phone", person=technician)
    page.get_by_label("What the counter shows").fill("12")
    page.get_by_role("button", name="Store the reading").click()
    assert page.get_by_text("Look at the meter again").is_visible()
    assert page.get_by_label("What the counter shows").input_value() == "12"
    assert any("422" in fault for fault in page.faults)
    page.faults.clear()
    page.get_by_label("What the counter shows").fill(str(total + 400))
    page.get_by_role("button", name="Store the reading").click()
    assert page.get_by_text("stored.").is_visible()
