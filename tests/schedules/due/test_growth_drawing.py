"""The growth of a crack drawn: its page, the joint's page and life line, the API, and what is said without a fit."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from assets_app.models import Inspection
from schedules.due import measured_growth
from schedules.due.growth_drawing import BandPoint, Growth, Mark, Measured, growth_drawing, growth_words
from schedules.due.life_data import life_of
from schedules.due.queries import explain
from schedules.models import CrackGrowth
from tests.schedules.due.test_measured_growth import GROWING, measured, rated  # noqa: F401 - fixtures

DAY = date(2026, 6, 1)


@pytest.fixture
def clock(monkeypatch, now):
    monkeypatch.setattr(timezone, "now", lambda: now)


@pytest.fixture
def fitted(rated, measured, now):  # noqa: F811
    finding = measured(*GROWING)
    measured_growth.fit_owed(now=now)
    return finding


def text(svg: str) -> str:
    return " | ".join(re.findall(r"<text[^>]*>([^<]*)</text>", svg))


# Drawing --------------------------------------------------------------------------------------------------------------

sizes = st.floats(0.05, 60)
totals = st.floats(0, 5e8)


@given(
    st.lists(st.tuples(totals, sizes), max_size=6),
    st.lists(st.tuples(totals, sizes, sizes, sizes), max_size=24),
    st.lists(totals, max_size=3),
    st.one_of(st.none(), sizes),
    st.booleans(),
)
def test_any_growth_can_be_drawn_within_the_paper(points, band, reaches, critical, narrow):
    growth = Growth(
        measured=[Measured(DAY, *point) for point in points],
        band=sorted(BandPoint(total, *sorted(rest)) for total, *rest in band),
        reaches=[
            Mark(name, total, DAY) for name, total in zip(("early", "middle", "late"), sorted(reaches), strict=False)
        ],
        critical_mm=critical,
    )
    drawing = growth_drawing(growth, narrow=narrow)
    width = 360 if narrow else 960
    for x in re.findall(r' (?:x|cx|x1|x2)="([^"]*)"', drawing.svg):
        assert 0 <= float(x) <= width
    for y in re.findall(r' (?:y|cy|y1|y2)="([^"]*)"', drawing.svg):
        assert -5 <= float(y) <= 360
    assert drawing.words


def test_a_band_whose_upper_edge_has_run_away_is_drawn_to_the_top_of_the_paper():
    band = [BandPoint(0.0, 1.0, 1.0, 1.0), BandPoint(50.0, 1.5, 2.0, 9.0), BandPoint(60.0, 1.6, 2.2, float("inf"))]
    drawing = growth_drawing(Growth(measured=[Measured(DAY, 0.0, 1.0)], band=band, critical_mm=4.0))
    assert 'class="band"' in drawing.svg
    assert "inf" not in drawing.svg


def test_a_crack_beyond_its_early_edge_by_todays_count_is_said_first():
    growth = Growth(
        measured=[Measured(DAY, 10.0, 3.0)],
        reaches=[Mark("early", 90.0, DAY)],
        critical_mm=4.0,
        today=Mark("today", 95.0, DAY),
    )
    assert growth_words(growth)[0] == "By today's count the early edge is passed: it may be critical already"


def test_a_problem_is_the_first_thing_said():
    drawing = growth_drawing(Growth(problem="the size is not known"))
    assert drawing.words[0] == "No growth can be given: the size is not known"
    assert "No growth can be given" in drawing.svg


def test_a_crack_that_may_have_been_critical_already_is_said_before_its_figures():
    reaches = [Mark("early", 90.0, DAY), Mark("middle", 140.0, DAY), Mark("late", 200.0, None)]
    words = growth_words(Growth(measured=[Measured(DAY, 100.0, 3.0)], reaches=reaches, critical_mm=4.0))
    assert words[0].startswith("By the early edge it may have been critical already")


# From the database ----------------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_the_page_shows_sizes_band_critical_and_the_due_mark(client, person, site, fitted, clock):
    client.force_login(person("planner", site))
    answer = client.get(f"/findings/{fitted.pk}/growth/")
    assert answer.status_code == 200
    page = answer.content.decode()
    wide = answer.context["wide"].svg
    fit = CrackGrowth.objects.get()
    assert wide.count('r="4.5"') == 4
    assert 'class="band"' in wide
    assert f"critical {fit.critical_mm:.1f}".rstrip("0").rstrip(".") in text(wide)
    assert all(name in text(wide) for name in ("early", "middle", "look due", "today"))
    assert "80 %" in page
    assert "By its own growth the next look is due at" in page


@pytest.mark.django_db
def test_without_a_fit_the_page_says_why_and_draws_the_sizes(client, person, site, rated, measured, clock):  # noqa: F811
    finding = measured(GROWING[0])
    client.force_login(person("planner", site))
    answer = client.get(f"/findings/{finding.pk}/growth/")
    assert "sizes at two different counts are needed" in answer.content.decode()
    assert answer.context["wide"].svg.count('r="4.5"') == 1
    assert 'class="band"' not in answer.context["wide"].svg


@pytest.mark.django_db
def test_an_asset_without_a_counter_is_said_plainly(client, person, site, measured, clock):  # noqa: F811
    finding = measured(*GROWING)
    client.force_login(person("planner", site))
    assert "no counter that can be forecast" in client.get(f"/findings/{finding.pk}/growth/").content.decode()


@pytest.mark.django_db
def test_a_stranger_finds_no_growth_page_and_no_api(client, person, other_site, fitted, clock):
    client.force_login(person("planner", other_site))
    assert client.get(f"/findings/{fitted.pk}/growth/").status_code == 404
    assert client.get(f"/api/v1/findings/{fitted.pk}/growth/").status_code == 404


@pytest.mark.django_db
def test_the_finding_page_leads_to_the_growth_of_a_crack(client, person, site, fitted, clock):
    client.force_login(person("planner", site))
    assert f"/findings/{fitted.pk}/growth/" in client.get(f"/findings/{fitted.pk}/").content.decode()


@pytest.mark.django_db
def test_the_api_tells_what_the_page_draws(client, person, site, fitted, clock):
    client.force_login(person("planner", site))
    told = client.get(f"/api/v1/findings/{fitted.pk}/growth/").json()
    fit = CrackGrowth.objects.get()
    assert told["problem"] == ""
    assert [each["depth_mm"] for each in told["measured"]] == [depth for _, depth in GROWING]
    assert told["early"]["total"] == fit.early_total
    assert told["due"]["total"] == fit.due_total
    assert told["due"]["on"] <= told["early"]["on"]
    assert len(told["band"]) == len(fit.band)
    assert [each["high_mm"] for each in told["band"]] == [row[3] for row in fit.band]


@pytest.mark.django_db
def test_the_life_line_of_the_joint_carries_the_band_over_days(weld_joint, rated, fitted, now):  # noqa: F811
    life = life_of(explain(rated.pk, now=now), weld_joint)
    assert len(life.band) > 5
    assert [point.on for point in life.band] == sorted({point.on for point in life.band})
    assert all(point.low <= point.middle <= point.high for point in life.band)
    assert life.band[0].on <= GROWING[-1][0] <= life.band[-1].on


@pytest.mark.django_db
def test_the_joint_page_draws_the_growth_of_its_crack(client, person, site, rated, fitted, clock):  # noqa: F811
    client.force_login(person("planner", site))
    page = client.get(f"/joints/{rated.joint_id}/").content.decode()
    assert "Growth of" in page
    assert f"/findings/{fitted.pk}/growth/" in page


@pytest.mark.django_db
def test_a_corrected_size_leaves_the_fit_and_asks_for_a_new_one(rated, fitted, now):  # noqa: F811
    before = CrackGrowth.objects.get()
    wrong = fitted.sizes.order_by("-measured_on").first().inspection
    Inspection.objects.create(
        joint=wrong.joint, method="MT", inspected_at=wrong.inspected_at, inspected_on=wrong.inspected_on,
        result="findings", inspector=wrong.inspector, corrects=wrong, recorded_at=now + timedelta(hours=1),
    )  # fmt: skip
    later = now + timedelta(hours=2)
    assert measured_growth.fit_owed(now=later) == 1
    assert measured_growth.fit_owed(now=later) == 0
    after = CrackGrowth.objects.get()
    assert (before.sizes, after.sizes) == (4, 3)
    assert after.last_total < before.last_total
