"""Large reports: asked for, written by a worker once, fetched by who may see the site, forgotten after thirty days."""

import itertools
from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.utils import timezone
from rest_framework.test import APIClient

from assets_app import claims
from assets_app.models import Role
from assets_app.refusals import Conflict, NotFound
from schedules.models import WrittenReport
from schedules.reports import pdf, queries, written_actions, written_queries
from schedules.reports.tasks import write_reports

pytestmark = pytest.mark.django_db
SINCE, UNTIL = date(2026, 6, 1), date(2026, 6, 30)
PERIOD = {"since": "2026-06-01", "until": "2026-06-30"}


def ask(story, now, **more):
    told = {"joint_id": story.joint.pk, "since": SINCE, "until": UNTIL, "actor": story.inspector} | more
    return written_actions.ask_for_report(now=now, **told)


def files(media):
    return sorted(path.name for path in (media / "reports").glob("*")) if (media / "reports").exists() else []


def bytes_of(story):
    return pdf.inspection_report(queries.gather(queries.wanted(story.inspector, SINCE, UNTIL, joint_id=story.joint.pk)))


def test_a_large_report_is_offered_written_and_fetched_through_the_page(client, story, stranger, monkeypatch):
    monkeypatch.setattr(queries, "LOOKS_AT_ONCE", 1)
    client.force_login(story.inspector)
    address = f"/joints/{story.joint.pk}/report/"
    offered = client.get(address, PERIOD)
    assert offered.status_code == 422
    assert "2 looks and 2 photos are too many" in offered.content.decode()
    waits = client.post(address, PERIOD, follow=True)
    row = WrittenReport.objects.get()
    assert waits.redirect_chain == [(f"/reports/{row.pk}/", 302)]
    assert "Waiting for its turn" in waits.content.decode()
    assert client.get(f"/reports/{row.pk}/report.pdf").status_code == 409
    write_reports()
    done = client.get(f"/reports/{row.pk}/progress/")
    assert done.status_code == 286
    assert "kept until" in done.content.decode()
    assert client.get(f"/reports/{row.pk}/report.pdf").content == bytes_of(story)
    assert f"/reports/{row.pk}/" in client.get(address).content.decode()
    client.force_login(stranger)
    for part in ("", "progress/", "report.pdf"):
        assert client.get(f"/reports/{row.pk}/{part}").status_code == 404


def test_the_api_refuses_a_large_one_at_once_and_has_it_written(story, stranger, monkeypatch):
    monkeypatch.setattr(queries, "PHOTOS_AT_ONCE", 1)
    api = APIClient()
    api.force_authenticate(story.inspector)
    refused = api.get(f"/api/v1/joints/{story.joint.pk}/report.pdf", PERIOD)
    assert (refused.status_code, refused.data["code"], refused.data["photos"]) == (422, "report_large", 2)
    asked = api.post("/api/v1/reports/", {"joint": story.joint.pk, **PERIOD}, format="json")
    assert (asked.status_code, asked.data["state"]) == (201, "waiting")
    again = api.post("/api/v1/reports/", {"joint": story.joint.pk, **PERIOD}, format="json")
    assert again.data["id"] == asked.data["id"]
    write_reports()
    one = f"/api/v1/reports/{asked.data['id']}/"
    assert (api.get(one).data["state"], api.get(one).data["done_percent"]) == ("done", 100)
    fetched = api.get(f"{one}file.pdf")
    assert (fetched.status_code, fetched["Content-Type"]) == (200, "application/pdf")
    assert fetched.content == bytes_of(story)
    for wrong in (PERIOD, {**PERIOD, "joint": story.joint.pk, "asset": story.joint.asset_id}):
        assert api.post("/api/v1/reports/", wrong, format="json").status_code == 422
    api.force_authenticate(stranger)
    assert api.get(f"{one}file.pdf").status_code == 404
    assert api.post("/api/v1/reports/", {"joint": story.joint.pk, **PERIOD}, format="json").status_code == 404


def test_written_twice_it_is_one_file_and_progress_never_runs_back(story, now, media):
    row = ask(story, now)
    heard = []
    written_actions.write_report(report_id=row.pk, now=now, told=lambda told: heard.append(told.done_percent))
    assert heard[-1] == 100
    assert heard == sorted(heard)
    assert len(heard) > 3
    kept = files(media)
    written_actions.write_report(report_id=row.pk, now=now + timedelta(days=1))
    assert files(media) == kept
    assert len(kept) == 1


def test_a_run_that_was_killed_is_said_to_be_silent_found_again_and_leaves_one_file(story, media, client):
    now = timezone.now()
    row = ask(story, now)
    WrittenReport.objects.filter(pk=row.pk).update(state="running", claim="dead", claimed_at=now, attempts=1)
    default_storage.save(f"reports/{row.pk}-dead.pdf", ContentFile(b"half"))
    assert list(written_actions.owed(now + timedelta(minutes=2))) == []
    client.force_login(story.inspector)
    assert "No sign of life" not in client.get(f"/reports/{row.pk}/").content.decode()
    WrittenReport.objects.filter(pk=row.pk).update(claimed_at=timezone.now() - timedelta(seconds=40), attempts=2)
    said = " ".join(client.get(f"/reports/{row.pk}/progress/").content.decode().split())
    assert "No sign of life since" in said
    assert "attempt 2 of 3" in said
    later = timezone.now() + timedelta(minutes=3)
    assert list(written_actions.owed(later)) == [row]
    written = written_actions.write_report(report_id=row.pk, now=later)
    assert (written.state, len(files(media))) == ("done", 1)
    assert written_queries.file_of(story.inspector, row.pk)[1] == bytes_of(story)


def test_a_run_that_was_thought_dead_leaves_the_file_of_the_one_that_took_over(story, now, media):
    row = ask(story, now)
    later = now + timedelta(minutes=21)
    taken = []

    def overtaken(told):
        if not taken:
            taken.append(True)
            written_actions.write_report(report_id=row.pk, now=later)

    slow = written_actions.write_report(report_id=row.pk, now=now, told=overtaken)
    assert (slow.state, slow.ended_at, slow.attempts) == ("done", later, 2)
    assert files(media) == [slow.file.name.removeprefix("reports/")]


def test_a_run_at_work_shows_a_sign_of_life_with_every_per_cent(story, now, monkeypatch):
    row, seconds, seen = ask(story, now), itertools.count(step=100), []
    monkeypatch.setattr(claims, "time", SimpleNamespace(monotonic=lambda: next(seconds)))

    def heard(told):
        seen.append(bool(told.state == "running" and written_actions.owed(now + timedelta(seconds=100 * len(seen)))))

    written = written_actions.write_report(report_id=row.pk, now=now, told=heard)
    assert (written.state, written.attempts) == ("done", 1)
    assert len(seen) > 3
    assert not any(seen), "taken for dead while it was at work"


def test_whatever_goes_wrong_is_said_with_what_to_do(story, now, monkeypatch, client):
    row = ask(story, now)
    monkeypatch.setattr(pdf, "inspection_report", lambda report, told: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        written_actions.write_report(report_id=row.pk, now=now)
    client.force_login(story.inspector)
    said = client.get(f"/reports/{row.pk}/").content.decode()
    assert "Nothing was written." in said
    assert "not in the record. Ask again" in said
    broken = ask(story, now)
    WrittenReport.objects.filter(pk=broken.pk).update(attempts=3)
    assert "broke off three times" in written_actions.write_report(report_id=broken.pk, now=now).why


def test_who_lost_the_site_meanwhile_gets_no_report(story, now, media):
    row = ask(story, now)
    Role.objects.filter(person=story.inspector).delete()
    assert written_actions.write_report(report_id=row.pk, now=now).state == "refused"
    assert files(media) == []
    with pytest.raises(NotFound):
        written_queries.file_of(story.inspector, row.pk)


def test_a_person_cannot_fill_the_queue(story, now, monkeypatch):
    monkeypatch.setattr(written_actions, "MOST_WAITING", 1)
    ask(story, now)
    with pytest.raises(Conflict) as refused:
        ask(story, now, joint_id=None, asset_id=story.joint.asset_id)
    assert refused.value.code == "reports_waiting"


def test_an_old_file_goes_and_the_page_says_so(story, now, media, client):
    row = ask(story, now)
    written_actions.write_report(report_id=row.pk, now=now)
    assert written_actions.forget_old_files(now=now + timedelta(days=29)) == 0
    assert written_actions.forget_old_files(now=now + timedelta(days=31)) == 1
    assert files(media) == []
    with pytest.raises(Conflict) as refused:
        written_queries.file_of(story.inspector, row.pk)
    assert refused.value.code == "report_gone"
    client.force_login(story.inspector)
    assert "no longer kept" in client.get(f"/reports/{row.pk}/").content.decode()


def test_a_file_that_was_altered_is_not_handed_out(story, now, media):
    row = ask(story, now)
    row = written_actions.write_report(report_id=row.pk, now=now)
    (media / row.file.name).write_bytes(b"%PDF other")
    with pytest.raises(Conflict):
        written_queries.file_of(story.inspector, row.pk)


def test_the_command_writes_the_same_file(story, tmp_path, capsys):
    there = tmp_path / "out.pdf"
    period = ["--since", "2026-06-01", "--until", "2026-06-30"]
    call_command("write_report", str(there), "--joint", str(story.joint.pk), *period, "--as", story.inspector.username)
    assert there.read_bytes() == bytes_of(story)
    assert "2 looks, 2 photos" in capsys.readouterr().out
