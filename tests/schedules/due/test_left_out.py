"""An asset whose recompute breaks off stops no other, stays in sight, and is tried again."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.db import OperationalError
from django.urls import reverse

from assets_app.models import Asset, Joint
from schedules.alerts import actions as alerts
from schedules.due import actions, engine, left_out, measured_growth, store, sweeps
from schedules.models import Delivery, DueDate, Intent, NotComputed, Programme, StaleMark
from schedules.planning import joint_page

pytestmark = pytest.mark.django_db


@pytest.fixture
def three(site):
    """Three assets with a look owed each."""
    assets = []
    for number in range(3):
        asset = Asset.objects.create(
            site=site, tag=f"T-{number}", name="trailer", kind="trailer", commissioned_on="2020-01-01"
        )
        joint = Joint.objects.create(asset=asset, tag="J", kind="weld")
        Programme.objects.create(joint=joint, asset=asset, method="VT", calendar_months=12)
        assets.append(asset)
    return assets


@pytest.fixture
def broken(three, monkeypatch):
    """The second of them cannot be computed; ``.clear()`` mends it."""
    odd = {three[1].pk}
    whole = engine.gather

    def gather(read, *rest, **more):
        if odd.intersection(read["asset_id"].tolist()):
            raise ZeroDivisionError("of nobody's foresight")
        return whole(read, *rest, **more)

    monkeypatch.setattr(engine, "gather", gather)
    return odd


def computed() -> set[str]:
    return set(DueDate.objects.values_list("programme__asset__tag", flat=True))


def test_a_sweep_computes_the_others_and_says_so(three, broken, site, now):
    (sweep,) = sweeps.start_owed(now=now)
    assert sweeps.work_off(worker="one", now=now) == 1
    sweep.refresh_from_db()
    assert (computed(), sweep.state, sweep.ended_at) == ({"T-0", "T-2"}, "failed", now)
    row = NotComputed.objects.get()
    assert (row.asset_id, row.since, row.tries) == (three[1].pk, now, 1)
    assert row.error == "ZeroDivisionError: of nobody's foresight"
    assert StaleMark.objects.get().asset_id == three[1].pk
    assert sweeps.work_off(worker="one", now=now) == 0


def test_stale_marks_of_the_others_are_answered_and_its_own_waits_an_hour(three, broken, now):
    actions.mark_assets_stale(asset_ids=[each.pk for each in three], why="a change", now=now, rating_too=True)
    assert engine.recompute_stale(now=now).programmes == 2
    assert computed() == {"T-0", "T-2"}
    assert set(StaleMark.objects.values_list("asset_id", flat=True)) == {three[1].pk}
    assert engine.recompute_marked_batch(now=now + timedelta(minutes=59)) is None
    engine.recompute_stale(now=now + left_out.TRIED_AGAIN_AFTER)
    assert (NotComputed.objects.get().tries, NotComputed.objects.get().since) == (2, now)


def test_once_it_can_be_computed_nothing_of_it_is_left(three, broken, now):
    actions.mark_joints_stale(joint_ids=[three[1].joints.get().pk], why="a change", now=now)
    engine.recompute_stale(now=now)
    broken.clear()
    engine.recompute_stale(now=now + left_out.TRIED_AGAIN_AFTER)
    assert computed() == {"T-1"}
    assert not NotComputed.objects.exists()
    assert not StaleMark.objects.exists()


def test_it_is_told_once_a_day_for_as_long_as_it_stands(three, broken, site, person, now):
    manager, inspector = person("manager", site), person("inspector", site)
    broken.add(three[2].pk)
    sweeps.start_owed(now=now)
    sweeps.work_off(worker="one", now=now)
    engine.recompute_stale(now=now + left_out.TRIED_AGAIN_AFTER)
    alerts.raise_owed(now=now)
    first = Intent.objects.get(kind="not computed")
    assert (first.subject, first.link) == ("Not computed: T-1 trailer", "/recomputes/")
    alerts.expand(now=now)
    assert set(Delivery.objects.filter(intent=first).values_list("person_id", flat=True)) == {manager.pk}
    assert inspector.pk != manager.pk
    alerts.raise_owed(now=now + timedelta(days=1))
    second = Intent.objects.filter(kind="not computed").latest("pk")
    assert second.subject == "Not computed: T-1 trailer and 1 more"
    assert "T-1 trailer and of 1 more asset could" in second.text
    assert "Recomputes names all such assets" in first.text
    broken.clear()
    engine.recompute_stale(now=now + timedelta(days=1))
    alerts.raise_owed(now=now + timedelta(days=2))
    assert Intent.objects.filter(kind="not computed").count() == 2


def test_the_command_names_what_it_could_not_compute(three, broken, capsys):
    call_command("recompute_due", "--all")
    assert "T-1 at" in capsys.readouterr().err
    broken.clear()
    call_command("recompute_due", "--all")
    assert capsys.readouterr().err == ""
    assert computed() == {"T-0", "T-1", "T-2"}


def test_a_database_that_is_away_is_no_fault_of_an_asset(three, monkeypatch, now):
    def away(*_):
        raise OperationalError("the server closed the connection")

    monkeypatch.setattr(store, "read_live_and_dead", away)
    actions.mark_assets_stale(asset_ids=[three[0].pk], why="a change", now=now)
    sweeps.start_owed(now=now)
    with pytest.raises(OperationalError):
        engine.recompute_stale(now=now)
    with pytest.raises(OperationalError):
        sweeps.work_off(worker="one", now=now)
    assert not NotComputed.objects.exists()
    assert StaleMark.objects.count() == 1


def test_a_site_whose_sweep_cannot_be_laid_out_keeps_no_other_waiting(three, site, other_site, monkeypatch, now):
    laid_out = sweeps.start

    def start(*, site, **rest):
        if site.pk == min(three[0].site_id, other_site.pk):
            raise ZeroDivisionError
        return laid_out(site=site, **rest)

    monkeypatch.setattr(sweeps, "start", start)
    assert [sweep.site_id for sweep in sweeps.start_owed(now=now)] == [max(site.pk, other_site.pk)]


def test_a_crack_whose_fit_breaks_off_keeps_no_other_waiting(monkeypatch, now):
    class Crack:
        def __init__(self, pk):
            self.pk = pk

    class Owed:
        def select_related(self, *_):
            return [Crack(1), Crack(2)]

    fitted = []

    def fit_one(*, finding, now):
        if finding.pk == 1:
            raise ZeroDivisionError
        fitted.append(finding.pk)

    monkeypatch.setattr(measured_growth, "owed_fits", Owed)
    monkeypatch.setattr(measured_growth, "fit_one", fit_one)
    assert (measured_growth.fit_owed(now=now), fitted) == (1, [2])


def test_the_sheet_of_its_joints_says_so_once_it_can_be_drawn_at_all(three, broken, site, client, person, now):
    sweeps.start_owed(now=now)
    sweeps.work_off(worker="one", now=now)
    broken.clear()
    client.force_login(person("planner", site))
    page = client.get(reverse("joint", args=[three[1].joints.get().pk])).content.decode()
    assert "Not computed since" in page


def test_a_joint_whose_date_cannot_be_worked_out_keeps_its_sheet(three, site, client, person, monkeypatch):
    def explain(*_, **__):
        raise ZeroDivisionError

    monkeypatch.setattr(joint_page, "explain", explain)
    client.force_login(person("technician", site))
    page = client.get(reverse("joint", args=[three[1].joints.get().pk])).content.decode()
    assert "VT: the date could not be worked out" in page
    assert "No look is owed here" not in page


def test_the_list_the_page_of_recomputes_and_the_api_show_it(three, broken, site, client, person, now):
    sweeps.start_owed(now=now)
    sweeps.work_off(worker="one", now=now)
    client.force_login(person("planner", site))
    assert "1 asset not computed" in client.get(reverse("due"), {"weeks": "0"}).content.decode()
    page = client.get(reverse("sweeps")).content.decode()
    assert "done, but for some" in page
    assert "ZeroDivisionError" in page
    sheet = client.get(reverse("joint", args=[three[0].joints.get().pk])).content.decode()
    assert "Not computed since" not in sheet
    told = client.get(reverse("api-recomputes")).json()
    assert [(each["tag"], each["tries"]) for each in told["not_computed"]] == [("T-1", 1)]
    assert {each["state"] for each in told["newest"]} == {"failed"}
