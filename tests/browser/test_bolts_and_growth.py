"""The bolt sheet and the growth of a crack in a real browser, at both widths, one of them dark."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime
from math import isfinite

import pytest

pytestmark = pytest.mark.django_db(transaction=True)
WAYS = [("phone", "dark"), ("desk", "light")]


def keep(page, name: str) -> None:
    """Keeps a picture where SHOTS says, for whoever wants to look."""
    if os.environ.get("SHOTS"):
        page.screenshot(path=f"{os.environ['SHOTS']}/{name}.png", full_page=True)


@pytest.mark.parametrize(("size", "scheme"), WAYS)
def test_bolts_are_touched_worked_out_and_recorded(
    open_page, axe, no_sideways_scroll, person, site, bolted_joint, size, scheme
):
    from assets_app.models import Finding, Inspection

    page = open_page(f"/joints/{bolted_joint.pk}/bolts/", size=size, scheme=scheme, person=person("engineer", site))
    no_sideways_scroll(page)
    axe(page)
    third = page.locator('[data-bolt-sheet] [data-bolt="3"] .touch')
    for _ in range(3):
        third.click()
    assert page.locator("#bolt-3").get_by_label("missing").is_checked()
    page.locator("#bolt-4").get_by_label("loose").check()
    page.locator("#bolt-4").get_by_label("Torque found").fill("180")
    keep(page, f"bolts-{size}-{scheme}")
    page.get_by_role("button", name="All the rest ok").click()
    page.get_by_label("Overturning moment").fill("60")
    page.get_by_role("button", name="Work it out").click()
    page.get_by_role("status").get_by_text("Worked out, not recorded yet").wait_for()
    no_sideways_scroll(page)
    axe(page)
    keep(page, f"bolts-out-{size}-{scheme}")
    assert not Inspection.objects.exists()
    page.get_by_role("button", name="Record it").first.click()
    page.wait_for_url(f"**/joints/{bolted_joint.pk}/")
    assert Inspection.objects.get().bolt_readings.count() == 12
    assert {one.kind: one.bolts for one in Finding.objects.all()} == {"missing": [3], "loose": [4]}


def _stored(edges: tuple[float, float, float]) -> list[float | None]:
    return [edge if isfinite(edge) else None for edge in edges]


@pytest.fixture
def grown(weld_joint, counter, person, site):
    """A crack measured four times on a counter that runs 1000 a day, with a fit as the engine makes one."""
    from assets_app.models import Finding, FindingSize, Inspection
    from engineering import growth_fit
    from schedules.duty.actions import post_reading
    from schedules.models import Counter, CrackGrowth

    Counter.objects.update(is_primary=True)
    who, engineer, finding = person("inspector", site), person("engineer", site), None
    for month in range(1, 7):
        at = datetime(2026, month, 1, 18, tzinfo=UTC)
        post_reading(
            counter_id=counter.pk, value=4_100_000 + 30_000 * month, read_at=at, actor=engineer,
            now=datetime.now(UTC), source="file", confirmed=True,
        )  # fmt: skip
    for month, depth in ((1, 1.2), (3, 1.6), (4, 1.9), (6, 2.6)):
        at, day = datetime(2026, month, 1, 18, tzinfo=UTC), date(2026, month, 1)
        look = Inspection.objects.create(
            joint=weld_joint, method="MT", inspected_at=at, inspected_on=day, result="findings", inspector=who,
            recorded_at=at, counter_total=4_100_000 + 30_000 * month,
        )  # fmt: skip
        finding = finding or Finding.objects.create(
            joint=weld_joint, inspection=look, kind="100", severity="watch", severity_computed="hold now",
            severity_reason="crack", found_on=day, state="assessed",
        )  # fmt: skip
        FindingSize.objects.create(
            finding=finding, inspection=look, measured_on=day, depth_mm=depth, counter_total=look.counter_total
        )
    totals = [size.counter_total for size in finding.sizes.all()]
    fit = growth_fit.fit(totals, [size.depth_mm for size in finding.sizes.all()])
    early, middle, late = fit.cycles_to(6.0)
    grid = [totals[0] + k * (middle - totals[0]) / 23 for k in range(24)]
    CrackGrowth.objects.create(
        finding=finding, sizes=4, last_total=totals[-1], critical_mm=6.0, early_total=early, middle_total=middle,
        late_total=late, due_total=totals[-1] + (early - totals[-1]) / 3,
        band=[[at, *_stored(fit.size_at(at))] for at in grid], fitted_at=datetime.now(UTC),
    )  # fmt: skip
    return finding


@pytest.mark.parametrize(("size", "scheme"), WAYS)
def test_the_growth_of_a_crack_reads_well(open_page, axe, no_sideways_scroll, person, site, grown, size, scheme):
    page = open_page(f"/findings/{grown.pk}/growth/", size=size, scheme=scheme, person=person("planner", site))
    assert page.locator("svg.growth:visible").count() == 1
    assert "By its own growth the next look is due at" in page.inner_text("main")
    no_sideways_scroll(page)
    axe(page)
    keep(page, f"growth-{size}-{scheme}")
    page.goto(f"/joints/{grown.joint_id}/")
    axe(page)
    keep(page, f"growth-joint-{size}-{scheme}")
