"""The list of due looks: pages by key, filters, and the same sentence as the joint's own page."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from schedules.due import engine, list_counts, queries
from schedules.due.life_data import facts_of_rows
from schedules.due.list_counts import due_counts
from schedules.due.list_queries import DueFilter, due_page, due_row
from schedules.due.store import Scope
from schedules.models import DueDate, Programme

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)


def make_rows(asset, dates, now, **fields):
    """One joint and VT programme a date (None: undated), with the due row as the engine would leave it."""
    from assets_app.models import Joint

    made = []
    for place, day in enumerate(dates):
        joint = Joint.objects.create(asset=asset, tag=f"J-{asset.pk}-{place:04d}", kind="weld")
        programme = Programme.objects.create(joint=joint, asset=asset, method="VT", calendar_months=12)
        made.append(
            DueDate.objects.create(
                programme=programme,
                joint=joint,
                asset=asset,
                site_id=asset.site_id,
                method="VT",
                due_on=day,
                governing="calendar" if day else "",
                calendar_on=day,
                unrated=day is None,
                code_version="1",
                computed_on=TODAY,
                changed_at=now,
                **fields,
            )
        )
    return made


def walk(asked, size):
    after, seen = "", []
    while True:
        page = due_page(asked, after=after, size=size)
        assert len(page.rows) <= size
        seen += page.rows
        after = page.after
        if not after:
            return seen


@pytest.mark.parametrize("by_asset", [False, True])
@pytest.mark.parametrize("size", [1, 3, 7, 50])
def test_every_row_comes_once_and_in_order_though_days_repeat(asset, site, now, by_asset, size):
    from assets_app.models import Asset

    second = Asset.objects.create(site=site, tag="R-02", name="Tide Swing", kind="ride")
    days = [TODAY + timedelta(days=k // 3) for k in range(10)]
    made = make_rows(asset, [*days, None, None], now) + make_rows(second, [*reversed(days), None], now)
    seen = walk(DueFilter([site.pk], TODAY, by_asset=by_asset), size)
    assert sorted(row.programme_id for row in seen) == sorted(row.pk for row in made)
    assert [row.due_on is None for row in seen] == [False] * 20 + [True] * 3
    dated = [(row.asset_id if by_asset else 0, row.due_on, row.programme_id) for row in seen if row.due_on]
    assert dated == sorted(dated)


def test_a_row_added_meanwhile_shifts_no_page(asset, site, now):
    make_rows(asset, [TODAY + timedelta(days=k) for k in range(6)], now)
    asked = DueFilter([site.pk], TODAY)
    first = due_page(asked, size=3)
    make_rows_before = DueDate.objects.get(pk=first.rows[0].programme_id)
    make_rows_before.due_on = TODAY - timedelta(days=400)
    make_rows_before.save()
    second = due_page(asked, after=first.after, size=3)
    assert not {row.programme_id for row in first.rows} & {row.programme_id for row in second.rows}
    assert len(second.rows) == 3


@pytest.mark.parametrize("key", ["nonsense", "1.2.3.4", "u", "99999999999.1", "-5.1", "u-"])
def test_a_key_that_makes_no_sense_starts_afresh(asset, site, now, key):
    make_rows(asset, [TODAY], now)
    assert len(due_page(DueFilter([site.pk], TODAY), after=key).rows) == 1


def test_filters_narrow_and_a_site_not_in_sight_never_shows(asset, site, other_site, now):
    late, today, far, undated = make_rows(
        asset, [TODAY - timedelta(days=1), TODAY, TODAY + timedelta(weeks=9), None], now
    )

    def found(**asked):
        return {row.programme_id for row in due_page(DueFilter([site.pk], TODAY, **asked)).rows}

    assert found(overdue=True) == {late.pk}
    assert found(weeks=8) == {late.pk, today.pk}
    assert found(unrated=True) == {undated.pk}
    assert found(asset="r-0") == {late.pk, today.pk, far.pk, undated.pk}
    assert found(asset="X") == set()
    assert found(governing="damage") == set()
    assert found(site_id=other_site.pk) == set()
    assert due_page(DueFilter([other_site.pk], TODAY)).rows == []


def test_counts_say_overdue_soon_and_unrated_without_any_date(asset, site, now):
    make_rows(asset, [TODAY - timedelta(days=1), TODAY, TODAY + timedelta(weeks=9), None, None], now)
    counts = due_counts([site.pk], today=TODAY, soon_weeks=8, weeks=10)
    assert (counts.overdue, counts.soon, counts.unrated, counts.unrated_undated) == (1, 1, 2, 2)
    assert counts.unprotected == 0
    assert list(counts.weeks) == [1, 0, 0, 0, 0, 0, 0, 0, 0, 1]
    assert not any(count.more for count in (counts.overdue, counts.soon, *counts.weeks))


def test_the_first_week_counts_from_today_and_ends_on_sunday(asset, site, now):
    wednesday, sunday = TODAY + timedelta(days=2), TODAY + timedelta(days=6)
    make_rows(asset, [TODAY, wednesday, sunday, sunday + timedelta(days=1)], now)
    assert list(due_counts([site.pk], today=wednesday, soon_weeks=8, weeks=2).weeks) == [2, 1]


def test_a_count_stops_where_nobody_reads_on_and_says_so(asset, site, now, monkeypatch):
    monkeypatch.setattr(list_counts, "MOST", 2)
    monkeypatch.setattr(list_counts, "MOST_A_WEEK", 1)
    make_rows(asset, [TODAY - timedelta(days=1)] * 3 + [TODAY] * 2, now)
    counts = due_counts([site.pk], today=TODAY, soon_weeks=8, weeks=1)
    assert (str(counts.overdue), str(counts.soon), str(counts.weeks[0])) == ("more than 2", "2", "more than 1")
    assert (counts.overdue.more, counts.soon.more) == (True, False)


def test_nobody_s_sites_hold_nothing(db):
    assert due_counts([], today=TODAY, soon_weeks=8, weeks=2).weeks == (0, 0)


@pytest.mark.parametrize(
    "fields",
    [
        {"conditions": "good", "calendar_months": 240, "last_look_on": date(2026, 6, 1)},
        {"calendar_months": 12, "last_look_on": date(2026, 1, 10)},
        {"calendar_months": 240, "duty_count": 20_000, "last_look_on": date(2026, 3, 1), "source": "maker"},
        {"calendar_months": 240},
    ],
)
def test_the_list_gives_the_same_sentence_as_the_joint_s_page(
    programme, steady_counter, spectrum, steel, now, today, fields
):
    made = programme("MT", **fields)
    engine.recompute(Scope(joint_ids=[made.joint_id]), now=now)
    row = due_row(made.pk)
    facts = facts_of_rows([row], today={row.site_id: today})[made.pk]
    told = queries.explain(made.pk, now=now)
    assert facts.sentence == told.sentence
    assert facts.life.due is None or facts.life.due.on == told.due_on
    if facts.life.window:
        assert (facts.life.window.opens, facts.life.window.closes) == (told.window_opens_on, told.window_closes_on)


def test_an_unrated_row_names_what_is_missing(programme, now, today):
    made = programme("MT", calendar_months=12)
    engine.recompute(Scope(joint_ids=[made.joint_id]), now=now)
    row = due_row(made.pk)
    facts = facts_of_rows([row], today={row.site_id: today})[made.pk]
    assert row.unrated
    assert facts.missing
    assert facts.life.window is None
    assert facts.life.missing.endswith("not known")


def test_a_page_of_rows_takes_a_fixed_number_of_queries(asset, site, now, today, django_assert_max_num_queries):
    make_rows(asset, [TODAY + timedelta(days=k) for k in range(30)], now)
    for size in (5, 30):
        with django_assert_max_num_queries(6):
            page = due_page(DueFilter([site.pk], TODAY), size=size)
            facts_of_rows(page.rows, today={site.pk: today})
