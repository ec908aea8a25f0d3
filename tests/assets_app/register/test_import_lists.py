"""Certificates and counters from a file: judged and recorded row by row as if typed, written whole or not at all."""

from __future__ import annotations

import time
from datetime import date

import pytest
from django.core.management import call_command
from django.urls import reverse

from assets_app import claims
from assets_app.models import Qualification, RecordEntry, RegisterImport
from assets_app.people.actions import withdraw_qualification
from assets_app.refusals import NotAllowed
from assets_app.register import importer, lists
from schedules.models import Counter, CounterForecast

pytestmark = pytest.mark.django_db

CERTIFICATES = "person,kind,method,level,process,welding_position,certificate,issued_on,expires_on,used_on\n"
MT = "kez,ndt,mt,2,,,LP-77,2024-03-01,2029-02-28,\n"
WELDER = 'bram,welder,,,135,"PA, pb",W-7,2026-01-10,10 Jan 2028,2026-05-01\n'
COUNTERS = "asset,name,unit,is_primary,rolls_over_at,expected_every_days\n"


@pytest.fixture
def manager(person, site):
    return person("manager", site, username="oriel")


@pytest.fixture
def crew(person, site):
    return person("technician", site, username="bram"), person("inspector", site, username="kez")


@pytest.fixture
def run_certificates(run_file, manager, crew):
    return lambda rows, **more: run_file(CERTIFICATES + rows, kind="certificates", **{"actor": manager, **more})


@pytest.fixture
def run_counters(run_file, asset):
    return lambda rows, **more: run_file(COUNTERS + rows, kind="counters", **more)


def told(row) -> list[tuple[int, str]]:
    return [(error["row"], error["column"]) for error in row.report["errors"]]


def test_each_certificate_is_on_file_and_recorded_as_if_typed(run_certificates, manager):
    row = run_certificates(MT + WELDER)
    assert (row.state, row.report["counts"]["certificate"]["new"]) == ("done", 2), row.report
    welder = Qualification.objects.get(kind="welder")
    assert (welder.welding_position, welder.last_used_on) == ("PA PB", date(2026, 5, 1))
    assert Qualification.objects.get(kind="ndt").method == "MT"
    deeds = ["qualification.added", "qualification.added", "qualification.continued", "list.imported"]
    entries = RecordEntry.objects.order_by("sequence")
    assert [entry.deed for entry in entries] == deeds
    assert {entry.actor_id for entry in entries} == {manager.pk}


def test_the_same_file_again_changes_nothing_and_what_was_ended_stays_ended(run_certificates, site, manager, now):
    run_certificates(MT + WELDER)
    ended = Qualification.objects.get(kind="ndt")
    by = {"site_id": site.pk, "actor": manager, "now": now}
    withdraw_qualification(qualification_id=ended.pk, ends_on=date(2026, 6, 1), reason="eyesight", **by)
    entries = RecordEntry.objects.count()
    again = run_certificates(MT + WELDER)
    assert again.report["counts"]["certificate"] == {"new": 0, "changed": 0, "unchanged": 2}
    (care,) = again.report["warnings"]
    assert (care["row"], care["column"]) == (2, "expires_on")
    assert RecordEntry.objects.count() == entries
    ended.refresh_from_db()
    assert ended.expires_on == date(2026, 6, 1)
    later = run_certificates(WELDER.replace("2026-05-01", "2026-06-10"))
    assert later.report["counts"]["certificate"]["changed"] == 1


@pytest.mark.parametrize("dry_run", [True, False])
def test_every_bad_row_and_field_is_named_and_nothing_is_written(run_certificates, dry_run):
    bad = [
        "kez,ndt,MT,4,,,LP-1,2024-03-01,2029-02-28,",
        "kez,ndt,XX,2,,,LP-2,2024-03-01,31/04/2029,",
        "nobody,engineer,,,,,E-1,2024-03-01,2029-02-28,",
        "bram,welder,,,135,PA 6G,W-8,2026-01-10,2028-01-10,",
        ",welder,,,135,PA,W-9,2026-01-10,2028-01-10,",
        "oriel,engineer,,,,,E-2,2024-03-01,2029-02-28,",  # one's own
        "kez,engineer,,,,,E-3,2024-03-01,2029-02-28,2026-05-01",  # continuity is a welder's
    ]
    row = run_certificates(MT + "".join(f"{each}\n" for each in bad), dry_run=dry_run)
    assert row.state == ("checked" if dry_run else "refused")
    assert told(row) == [
        (3, "level"), (4, "method"), (4, "expires_on"), (5, "person"), (6, "welding_position"), (7, "person"),
        (8, "person"), (9, "person"),
    ]  # fmt: skip
    assert (Qualification.objects.count(), RecordEntry.objects.count()) == (0, 0)


def test_a_clean_check_is_written_by_one_more_step_and_a_run_that_died_is_taken_up(run_certificates, manager, now):
    checked = run_certificates(MT, dry_run=True)
    assert (checked.state, Qualification.objects.count()) == ("checked", 0)
    written = importer.write_checked(import_id=checked.pk, actor=manager, now=now)
    RegisterImport.objects.filter(pk=written.pk).update(state="running", claim="dead", claimed_at=now)
    assert importer.run_import(import_id=written.pk, now=now).state == "running", "the other run may live"
    assert importer.run_import(import_id=written.pk, now=now + claims.SILENT_AFTER * 2).state == "done"
    assert Qualification.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_run_that_can_tell_of_no_progress_shows_all_the_same_that_it_lives(start, planner, asset, now, monkeypatch):
    row, read, seen = start(COUNTERS + "R-01,cycles,cycles,,,\n", kind="counters"), importer.reading.read, []

    def slowly(content, **more):
        until = time.monotonic() + 5
        while RegisterImport.objects.get(pk=row.pk).claimed_at == now and time.monotonic() < until:
            time.sleep(0.01)
        seen.append(RegisterImport.objects.get(pk=row.pk).claimed_at)
        return read(content, **more)

    RegisterImport.objects.filter(pk=row.pk).update(state="waiting", claim="", claimed_at=None, attempts=0)  # it ran
    monkeypatch.setattr(claims, "SIGN_EVERY_S", 0.01)
    monkeypatch.setattr(importer.reading, "read", slowly)
    assert importer.run_import(import_id=row.pk, now=now).state == "done"
    assert seen[0] > now


def test_counters_are_set_up_and_changed_by_the_desks_rules(run_counters, asset):
    row = run_counters("R-01,cycles,cycles,yes,1000000,7\nR-01,hours,hours,no,,\n")
    assert (row.state, row.report["counts"]["counter"]["new"]) == ("done", 2), row.report
    assert CounterForecast.objects.count() == 2
    changed = run_counters("R-01,cycles,cycles,,,30\nR-01,hours,hours,,,\n")
    assert changed.report["counts"]["counter"] == {"new": 0, "changed": 1, "unchanged": 1}
    cycles = Counter.objects.get(name="cycles")
    assert (cycles.rolls_over_at, cycles.expected_every_days) == (1_000_000, 30)
    refused = run_counters("R-01,cycles,hours,,,\nR-01,lifts,lifts,yes,,\nR-09,km,km,,a lot,\nR-09,km,km,,,\n")
    assert told(refused) == [(2, "unit"), (3, "is_primary"), (4, "rolls_over_at"), (5, "asset")]
    assert Counter.objects.count() == 2


def test_each_kind_has_its_own_right(start, planner, manager, crew):
    start(COUNTERS, kind="counters")
    for kind, actor in (("certificates", planner), ("counters", manager), ("register", manager)):
        with pytest.raises(NotAllowed):
            start(CERTIFICATES, kind=kind, actor=actor)


def test_page_and_command_take_a_template_that_was_filled_in(client, site, manager, crew, tmp_path, capsys):
    client.force_login(manager)
    page = client.get(reverse("imports")).content.decode()
    assert ("certificates</option>" in page, "counters</option>" in page) == (True, False)
    assert client.get("/imports/templates/rides.csv").status_code == 404
    empty = client.get(reverse("import-template", args=["certificates"])).content.decode()
    assert empty.strip().split(",") == list(lists.known("certificates").fields)
    path = tmp_path / "certificates.csv"
    path.write_text(empty + MT)
    with path.open("rb") as file:
        sent = client.post(reverse("imports"), {"site": site.pk, "kind": "certificates", "file": file, "dry_run": "on"})
    assert sent.status_code == 302
    assert importer.run_import(import_id=RegisterImport.objects.get().pk, now=RegisterImport.objects.get().started_at)
    assert "<dd>1 new, 0 changed, 0 unchanged</dd>" in client.get(sent["Location"]).content.decode()
    call_command("import_register", str(path), "--kind", "certificates", "--site", site.slug, "--as", manager.username)
    assert "certificates: 1 new" in capsys.readouterr().out
    assert Qualification.objects.count() == 1
    call_command("import_register", "--template", "certificates")
    assert capsys.readouterr().out.strip() == empty.strip()
