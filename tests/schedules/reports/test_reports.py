"""Inspection report and return-to-service certificate: what they say, and that the same record gives the same bytes."""

import os
import pickle
import re
import subprocess
import sys
import zlib
from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.db import connection
from rest_framework.test import APIClient

from assets_app.inspections.actions import correct_inspection
from assets_app.inspections.marks_models import PhotoMark
from assets_app.models import Evidence, Finding, Inspection, RecordEntry
from assets_app.record import triggers
from assets_app.refusals import Conflict, NotFound, Unprocessable
from schedules.models import Hold, WorkOrder
from schedules.reports import certificate_queries, pdf, printed_photos, queries
from schedules.reports.content import content_hash
from schedules.work.holds import place_hold

pytestmark = pytest.mark.django_db
SINCE, UNTIL = date(2026, 6, 1), date(2026, 6, 30)


def report_of(story):
    return queries.joint_report(story.inspector, story.joint.pk, SINCE, UNTIL)


def certificate_of(story):
    return certificate_queries.certificate(story.inspector, story.hold.pk)


def pages(content: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b", content))


def drawn(content: bytes) -> str:
    """Everything the pages draw, as far as it is plain ASCII: the typeface's first codes are."""
    said = b""
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", content, re.S):
        try:
            said += zlib.decompress(stream)
        except (ValueError, zlib.error):
            continue
    return said.decode("latin-1").replace("\\(", "(").replace("\\)", ")")


# What they say


def test_the_report_says_what_the_record_holds_of_looks_findings_photos_and_signatures(story):
    report = report_of(story)
    (part,) = report.joints
    first, second = part.looks
    assert (first.day, first.result, second.result) == ("15 Jun 2026", "findings recorded", "nothing beyond the limits")
    (crack,) = first.findings
    assert (crack.words, crack.where, crack.size) == ("longitudinal crack (101)", "toe, 3:10 o'clock", "18 mm long")
    assert crack.severity == "hold now"
    assert "Ends here".lower() in part.photos[0].caption.lower()
    assert part.photos[0].sha256 == Evidence.objects.order_by("pk").first().original_sha256
    signed = {one.what: one for one in report.signatures}
    look = signed["Look by MT, W-001"]
    entry = RecordEntry.objects.get(sequence=look.sequence)
    assert (look.name, look.hash) == (entry.actor_name, entry.hash)
    assert look.certificate == "MT level 2, LK-204, to 31 Dec 2028"
    assert {"Did the work, W-001", "Verified the work, W-001", "Lifted a hold, W-001"} <= set(signed)
    newest = RecordEntry.objects.order_by("sequence").last()
    assert (report.head.sequence, report.head.hash) == (newest.sequence, newest.hash)


def test_the_report_of_an_asset_names_the_joints_nobody_looked_at(story, bolted_joint):
    report = queries.asset_report(story.inspector, story.joint.asset_id, SINCE, UNTIL)
    assert report.without == ("B-001",)
    assert [part.tag for part in report.joints] == ["W-001"]


def test_a_period_without_a_look_says_so_and_not_that_all_is_well(story):
    report = queries.joint_report(story.inspector, story.joint.pk, date(2025, 1, 1), date(2025, 12, 31))
    assert (report.joints, report.without, report.head.sequence) == ((), ("W-001",), 0)
    assert "not the same as nothing being wrong" in " ".join(drawn(pdf.inspection_report(report)).split())


def test_a_corrected_look_is_printed_as_no_longer_counting_even_when_corrected_later(story, now):
    first = Inspection.objects.order_by("pk").last()
    correct_inspection(
        inspection_id=first.pk,
        reason="wrong day",
        method="MT",
        inspected_at=now + timedelta(days=40),
        result="accepted",
        findings=[],
        actor=story.inspector,
        now=now + timedelta(days=41),
    )
    report = report_of(story)
    entry = RecordEntry.objects.get(deed="inspection.corrected")
    assert [look.corrected_by for look in report.joints[0].looks] == ["", f"entry {entry.sequence}"]
    assert report.head.sequence == entry.sequence


def test_the_certificate_tells_why_it_was_held_what_was_done_and_who_lifted_it_on_what(story):
    told = certificate_of(story)
    assert told.released.who == story.authority.display_name
    assert (told.release_reason, told.release_evidence) == ("Repaired, nothing found by MT.", "MT look of 16 June 2026")
    assert dict(told.finding)["Finding"] == "1: longitudinal crack (101)"
    assert [one.what for one in told.signatures] == [
        "Placed the hold",
        "Did the work",
        "Verified the work",
        "Look by MT",
        "Lifted the hold",
    ]
    names = [one.name for one in told.signatures]
    assert len({names[1], names[2], names[4]}) == 3  # four eyes, and two more
    assert "release authority" in told.signatures[-1].role
    assert told.standing == ()


def test_a_certificate_says_loudly_that_another_hold_stands(story, now):
    place_hold(asset_id=story.joint.asset_id, reason="gate broken", actor=story.inspector, now=now)
    told = certificate_of(story)
    assert "gate broken" in told.standing[0]
    assert "ANOTHER HOLD STANDS" in drawn(pdf.return_to_service(told))


def test_a_hold_lifted_without_any_work_says_that_no_work_is_recorded(asset, weld_joint, person, site, inspector, now):
    from schedules.work.holds import release_hold

    hold = place_hold(joint_id=weld_joint.pk, reason="it creaks", actor=inspector, now=now)
    authority = person("manager", site, authority=True)
    release_hold(hold_id=hold.pk, reason="a dry hinge", evidence="seen", actor=authority, now=now)
    told = certificate_queries.certificate(inspector, hold.pk)
    assert any("no repair" in line for line in told.limits)
    assert pdf.return_to_service(told).startswith(b"%PDF")


def test_a_standing_hold_has_no_certificate(held, inspector):
    with pytest.raises(Conflict) as refused:
        certificate_queries.certificate(inspector, held.pk)
    assert refused.value.code == "hold_stands"
    assert "Who lifts holds here:" in refused.value.message


# From the record, and from nothing else


def test_nothing_is_printed_from_an_entry_that_was_altered(story):
    entry = RecordEntry.objects.get(deed="hold.released")
    triggers.lift(connection)
    try:
        RecordEntry.objects.filter(pk=entry.pk).update(content=entry.content.replace("MT look", "UT look"))
    finally:
        triggers.install(connection)
    for call in (lambda: certificate_of(story), lambda: report_of(story)):
        with pytest.raises(Conflict) as refused:
            call()
        assert (refused.value.code, refused.value.data["entry"]) == ("record_broken", entry.sequence)


def test_a_certificate_says_what_the_record_says_whatever_the_rows_say(story, now):
    place_hold(asset_id=story.joint.asset_id, reason="gate broken", actor=story.inspector, now=now)
    before = certificate_of(story)
    number = RecordEntry.objects.get(deed="finding.repaired").sequence
    assert dict(before.finding)["When the hold was lifted"] == f"repaired; severity hold now (entry {number})"
    Hold.objects.filter(pk=story.hold.pk).update(release_reason="all fine", released_at=now, finding=None)
    Hold.objects.exclude(pk=story.hold.pk).update(released_at=now, reason="nothing")
    Finding.objects.update(state="open", severity="record", kind="5011", place="root")
    WorkOrder.objects.update(title="Paint", number=99, done_at=None)
    PhotoMark.objects.update(text="nothing here", x=0.1)
    assert certificate_of(story) == before
    said = " ".join(drawn(pdf.return_to_service(before)).split())
    assert "What here is not from the record" in said


def test_a_certificate_tells_what_became_of_the_finding_after_the_hold_was_lifted(story, now):
    assert certificate_of(story).since == ()
    first = Inspection.objects.order_by("pk").first()
    correct_inspection(
        inspection_id=first.pk,
        reason="wrong joint",
        method="MT",
        inspected_at=first.inspected_at,
        result="accepted",
        findings=[],
        actor=story.inspector,
        now=now + timedelta(days=9),
    )
    told = certificate_of(story)
    assert [one.words for one in told.since] == ["corrected a look by MT: wrong joint"]
    assert told.head.sequence == told.since[0].sequence
    assert "THE RECORD SAYS MORE" in drawn(pdf.return_to_service(told))


# Bytes


def test_the_same_record_gives_the_same_bytes_here_and_in_another_process(story, media):
    def gathered():
        return {"inspection_report": report_of(story), "return_to_service": certificate_of(story)}

    here = {name: getattr(pdf, name)(said) for name, said in gathered().items()}
    assert here == {name: getattr(pdf, name)(said) for name, said in gathered().items()}
    code = (
        "import pickle, sys, django; django.setup();"
        "from django.conf import settings; from schedules.reports import pdf;"
        f"settings.MEDIA_ROOT = {str(media)!r};"
        "made = {name: getattr(pdf, name)(said) for name, said in pickle.load(sys.stdin.buffer).items()};"
        "pickle.dump(made, sys.stdout.buffer)"
    )
    environment = os.environ | {
        "DJANGO_SETTINGS_MODULE": "config.settings.test",
        "PYTHONHASHSEED": "7",
        "TZ": "Asia/Tokyo",
    }
    there = subprocess.run(
        [sys.executable, "-c", code],
        input=pickle.dumps(gathered()),
        capture_output=True,
        check=True,
        env=environment,
    )
    assert pickle.loads(there.stdout) == here


def test_an_entry_elsewhere_at_the_site_changes_nothing_and_one_here_does(story, bolted_joint, now):
    before = pdf.inspection_report(report_of(story))
    place_hold(joint_id=bolted_joint.pk, reason="nut gone", actor=story.inspector, now=now)
    assert pdf.inspection_report(report_of(story)) == before
    place_hold(joint_id=story.joint.pk, reason="rattles", actor=story.inspector, now=now)
    assert pdf.inspection_report(report_of(story)) != before


def test_every_page_carries_the_caution_the_records_hash_and_its_number(story):
    report = report_of(story)
    long = replace(report, joints=report.joints * 4)
    content = pdf.inspection_report(long)
    count = pages(content)
    said = drawn(content)
    assert count >= 4
    assert said.count("These figures support a decision; they do not make it.") >= count
    assert said.count(f"SHA-256 {report.head.hash}") >= count
    assert said.count(content_hash(long)) == count
    for number in range(1, count + 1):
        assert f"page {number} of {count}" in said


@pytest.mark.parametrize(
    "note",
    ["x" * 8000, "word " * 2000, "<b>&amp;<script>", "\x00\x07", "中文 Ж ś Δσ", "a\n" * 500, "‮reversed"],
    ids=["one long word", "long", "markup", "control", "other scripts", "many lines", "direction marks"],
)
def test_whatever_was_typed_can_be_printed(story, note):
    report = report_of(story)
    (part,) = report.joints
    look = replace(part.looks[0], note=note, findings=(replace(part.looks[0].findings[0], note=note),))
    content = pdf.inspection_report(replace(report, joints=(replace(part, name=note[:160], looks=(look,)),)))
    assert content.startswith(b"%PDF")


def test_the_words_of_forty_marks_run_on_to_the_next_page(story):
    report = report_of(story)
    (part,) = report.joints
    photo = replace(part.photos[0], caption="Arrow to 10 % from the left. " * 400)
    content = pdf.inspection_report(replace(report, joints=(replace(part, photos=(photo,)),)))
    assert pages(content) > pages(pdf.inspection_report(report))


def test_a_photo_whose_file_is_gone_is_said_and_not_left_out(story, media):
    for file in media.rglob("*.jpg"):
        file.unlink()
    assert "the file of this photo is missing" in drawn(pdf.inspection_report(report_of(story)))


def test_photos_beyond_what_a_report_holds_are_counted_and_not_silently_left_out(story, monkeypatch):
    all_of_them = len(report_of(story).joints[0].photos)
    assert all_of_them >= 2
    monkeypatch.setattr(printed_photos, "MOST_PHOTOS_IN_ALL", 0)
    (part,) = report_of(story).joints
    assert (part.photos, part.photos_left_out) == ((), all_of_them)
    assert f"{all_of_them} photos are in the register and not printed here" in drawn(
        pdf.inspection_report(report_of(story))
    )


# Doors


def test_pages_and_api_give_the_same_file_to_who_may_see_it(client, story, stranger):
    client.force_login(story.inspector)
    api = APIClient()
    api.force_authenticate(story.inspector)
    period = "?since=2026-06-01&until=2026-06-30"
    for page, door in (
        (f"/joints/{story.joint.pk}/report/{period}", f"/api/v1/joints/{story.joint.pk}/report.pdf{period}"),
        (
            f"/assets/{story.joint.asset_id}/report/{period}",
            f"/api/v1/assets/{story.joint.asset_id}/report.pdf{period}",
        ),
        (f"/holds/{story.hold.pk}/certificate.pdf", f"/api/v1/holds/{story.hold.pk}/certificate.pdf"),
    ):
        shown = client.get(page)
        assert (shown.status_code, shown["Content-Type"]) == (200, "application/pdf")
        assert api.get(door).content == shown.content
        assert api.get(door, headers={"Accept": "application/pdf"}).content == shown.content
    client.force_login(stranger)
    api.force_authenticate(stranger)
    for address in (
        f"/joints/{story.joint.pk}/report/",
        f"/joints/{story.joint.pk}/report/{period}",
        f"/assets/{story.joint.asset_id}/report/{period}",
        f"/holds/{story.hold.pk}/certificate.pdf",
    ):
        assert client.get(address).status_code == 404, address
    for door in (f"joints/{story.joint.pk}/report.pdf{period}", f"holds/{story.hold.pk}/certificate.pdf"):
        assert api.get(f"/api/v1/{door}").status_code == 404
        assert api.get(f"/api/v1/{door}", headers={"Accept": "application/pdf"}).status_code == 404
    client.logout()
    assert client.get(f"/holds/{story.hold.pk}/certificate.pdf").status_code == 302


def test_a_period_that_cannot_be_is_refused_beside_its_field(client, story):
    client.force_login(story.inspector)
    for period, field in (
        ("since=2026-06-30&until=2026-06-01", "until"),
        ("since=1900-01-01&until=2026-06-01", "since"),
        ("since=soon&until=2026-06-01", "since"),
        ("since=2026-06-01", "until"),
    ):
        answer = client.get(f"/joints/{story.joint.pk}/report/?{period}")
        assert (answer.status_code, list(answer.context["form"].errors)) == (422, [field])
    api = APIClient()
    api.force_authenticate(story.inspector)
    answer = api.get(f"/api/v1/joints/{story.joint.pk}/report.pdf?since=2026-06-30&until=2026-06-01")
    assert (answer.status_code, answer.data["field"]) == (422, "until")


def test_too_many_looks_are_refused_rather_than_cut(story, monkeypatch):
    monkeypatch.setattr(queries, "MOST_LOOKS", 1)
    with pytest.raises(Unprocessable) as refused:
        report_of(story)
    assert refused.value.code == "too_many_looks"


def test_the_pages_lead_to_the_documents(client, story):
    client.force_login(story.inspector)
    assert f"/joints/{story.joint.pk}/report/" in client.get(f"/joints/{story.joint.pk}/").content.decode()
    assert f"/assets/{story.joint.asset_id}/report/" in client.get(f"/assets/{story.joint.asset_id}/").content.decode()
    assert f"/holds/{story.hold.pk}/certificate.pdf" in client.get("/holds/").content.decode()


def test_another_sites_report_is_not_there(story, stranger):
    with pytest.raises(NotFound):
        queries.joint_report(stranger, story.joint.pk, SINCE, UNTIL)
    with pytest.raises(NotFound):
        certificate_queries.certificate(stranger, story.hold.pk)
