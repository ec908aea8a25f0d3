"""The importer on a database: what it writes, refuses, and leaves alone."""

from __future__ import annotations

from datetime import date, timedelta
from io import BytesIO

import pytest
import xlsxwriter
from django.core.files.base import ContentFile
from django.core.management import CommandError, call_command

from assets_app import events
from assets_app.models import Asset, BoltGroup, Inspection, Joint, Member, RecordEntry, RegisterImport, Weld
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable
from assets_app.register import importer, tasks
from schedules.models import Programme, StaleMark
from tests.assets_app.register.conftest import EXAMPLES

pytestmark = pytest.mark.django_db

HEAD = "asset_tag,asset_kind,joint_tag,joint_kind,joint_load_path,weld_leg,weld_wall_mm\n"
ONE = HEAD + 'R-01,ride,W-001,weld,single,3/8 in,"12,5 mm"\n'


def errors(row) -> list[tuple[int, str]]:
    return [(error["row"], error["column"]) for error in row.report["errors"]]


def test_a_register_with_our_own_headings_needs_no_mapping(run_file):
    row = run_file(ONE)
    assert row.state == "done", row.report
    weld = Weld.objects.get(joint__tag="W-001")
    assert (weld.leg_mm, weld.wall_mm) == (9.525, 12.5)
    assert weld.joint.asset.tag == "R-01"
    assert row.rows_done == row.rows_total == 1


def test_the_depot_example_is_taken_whole(run_file):
    row = run_file((EXAMPLES / "larkmoor-depot.csv").read_bytes())
    assert row.state == "done", row.report["errors"]
    assert Joint.objects.filter(kind="bolted").count() == 2
    assert Programme.objects.get(joint__asset__tag="C-01", method="MT").last_look_on == date(2026, 1, 19)


def test_the_pier_example_is_taken_through_its_mapping(run_file):
    row = run_file((EXAMPLES / "larkmoor-pier.csv").read_bytes(), (EXAMPLES / "larkmoor-pier.toml").read_text())
    assert row.state == "done", row.report["errors"]
    weld = Weld.objects.select_related("joint__member").get(joint__asset__tag="R-01", joint__tag="W-001")
    assert (weld.leg_mm, weld.wall_mm, weld.weld_type) == (9.525, 12.0, "fillet")
    assert weld.joint.member.section == "CHS 219.1x8"
    assert weld.joint.load_path == "single"
    assert BoltGroup.objects.get(joint__asset__tag="R-02").bolt_count == 24
    assert row.report["counts"]["doubled"] == 1


def test_a_dry_run_counts_and_writes_nothing(run_file):
    row = run_file(ONE, dry_run=True)
    assert row.state == "checked"
    assert row.report["counts"]["joint"] == {"new": 1, "changed": 0, "unchanged": 0}
    assert not Asset.objects.exists()


def test_a_clean_dry_run_can_be_written_by_one_more_step(run_file, planner, now):
    checked = run_file(ONE, dry_run=True)
    written = importer.write_checked(import_id=checked.pk, actor=planner, now=now)
    assert importer.run_import(import_id=written.pk, now=now).state == "done"
    assert Joint.objects.count() == 1


def test_a_dry_run_with_errors_cannot_be_written(run_file, planner, now):
    checked = run_file(HEAD + "R-01,ride,W-001,weld,both,,\n", dry_run=True)
    with pytest.raises(Conflict) as refused:
        importer.write_checked(import_id=checked.pk, actor=planner, now=now)
    assert refused.value.code == "not_checked"


def test_one_bad_cell_refuses_the_whole_file_and_names_row_column_value_and_cure(run_file):
    row = run_file(ONE + "R-01,ride,W-002,weld,single,eight,12\n")
    assert row.state == "refused"
    assert not Asset.objects.exists()
    (error,) = row.report["errors"]
    assert (error["row"], error["column"], error["value"]) == (3, "weld_leg", "eight")
    assert error["what"]
    assert error["do"]


def test_every_error_of_a_file_is_told_at_once(run_file):
    row = run_file(HEAD + "R-01,rocket,W-001,weld,single,-3,12\nR-01,ride,W-002,glued,single,1,1\n")
    assert errors(row) == [(2, "asset_kind"), (2, "weld_leg"), (3, "joint_kind")]


def test_the_same_file_again_writes_nothing_and_leaves_no_entry(run_file):
    run_file(ONE)
    entries, marks = RecordEntry.objects.count(), StaleMark.objects.count()
    again = run_file(ONE)
    assert again.report["counts"]["weld"] == {"new": 0, "changed": 0, "unchanged": 1}
    assert RecordEntry.objects.count() == entries
    assert StaleMark.objects.count() == marks


def test_an_empty_cell_leaves_what_the_register_knows(run_file):
    run_file(ONE)
    run_file(HEAD + "R-01,ride,W-001,weld,,,14\n")
    weld = Weld.objects.get()
    assert (weld.leg_mm, weld.wall_mm, weld.joint.load_path) == (9.525, 14.0, "single")


def test_a_changed_cell_is_counted_recorded_and_makes_due_dates_follow(run_file, planner):
    run_file(ONE)
    StaleMark.objects.all().delete()
    row = run_file(ONE.replace("12,5", "14"))
    assert row.report["counts"]["weld"]["changed"] == 1
    entry = RecordEntry.objects.get(subject_id=row.pk, deed="register.imported")
    assert entry.actor == planner
    assert row.file_sha256 in entry.content
    assert StaleMark.objects.filter(asset__tag="R-01", rating_too=True).exists()


def test_two_rows_that_contradict_each_other_are_both_named(run_file):
    row = run_file(ONE + 'R-01,ride,W-001,weld,single,10 mm,"12,5"\n')
    (error,) = row.report["errors"]
    assert error["row"] == 3
    assert "Row 2" in error["what"]


def test_a_joint_cannot_turn_from_weld_to_bolts(run_file):
    run_file(ONE)
    row = run_file(HEAD + "R-01,ride,W-001,bolted,single,,\n")
    assert errors(row) == [(2, "joint_kind")]
    assert Joint.objects.get().kind == "weld"


def test_an_unknown_detail_is_refused_and_an_unknown_grade_is_taken_with_a_warning(run_file):
    text = "asset_tag,asset_kind,member_tag,member_steel_grade,joint_tag,joint_kind,weld_detail\n"
    row = run_file(text + "R-01,ride,M-1,Q999,W-1,weld,no-such-detail\n")
    assert errors(row) == [(2, "weld_detail")]
    row = run_file(text + "R-01,ride,M-1,Q999,W-1,weld,\n")
    assert row.state == "done"
    assert "Q999" in row.report["warnings"][0]["what"]
    assert Member.objects.get().steel_grade == "Q999"
    assert Joint.objects.get().member == Member.objects.get()


def test_a_member_that_is_not_there_is_refused(run_file):
    row = run_file("asset_tag,asset_kind,joint_tag,joint_kind,joint_member\nR-01,ride,W-1,weld,M-9\n")
    assert errors(row) == [(2, "joint_member")]


def test_a_last_look_that_lies_ahead_is_refused(run_file, today):
    head = "asset_tag,asset_kind,joint_tag,joint_kind,programme_method,programme_last_look_on\n"
    row = run_file(head + f"R-01,ride,W-1,weld,VT,{today + timedelta(1)}\nR-01,ride,W-2,weld,VT,{today}\n")
    assert errors(row) == [(2, "programme_last_look_on")]


def test_a_look_recorded_since_is_not_set_back_by_an_older_file(run_file, weld_joint, person, site, now):
    head = "asset_tag,joint_tag,programme_method,programme_calendar_months,programme_last_look_on\n"
    look = Inspection.objects.create(
        joint=weld_joint, method="VT", inspected_at=now, inspected_on=now.date(), result="accepted",
        inspector=person("inspector", site), recorded_at=now, counter_total=77.0,
    )  # fmt: skip
    row = run_file(head + "R-01,W-001,VT,12,2025-01-01\n")
    programme = Programme.objects.get()
    assert (programme.last_look_on, programme.last_look_total) == (look.inspected_on, 77.0)
    assert row.report["counts"]["programme"]["new"] == 1
    run_file(head + "R-01,W-001,VT,6,2025-01-01\n")
    programme.refresh_from_db()
    assert (programme.calendar_months, programme.last_look_on) == (6, look.inspected_on)


def test_the_count_allowed_between_looks_comes_with_the_file(run_file, weld_joint):
    head = "asset_tag,joint_tag,programme_method,programme_duty_count\n"
    assert run_file(head + "R-01,W-001,VT,20000\n").state == "done"
    programme = Programme.objects.get()
    assert (programme.duty_count, programme.calendar_months) == (20_000.0, None)
    assert run_file(head + "R-01,W-001,VT,\n").report["counts"]["programme"]["unchanged"] == 1
    for bad in ("0", "often", "-5", "1.5"):
        assert errors(run_file(head + f"R-01,W-001,VT,{bad}\n")) == [(2, "programme_duty_count")]
    assert errors(run_file(head + "R-01,W-001,,20000\n")) == [(2, "programme_method")]
    programme.refresh_from_db()
    assert programme.duty_count == 20_000.0


def test_a_sheet_of_a_workbook_is_read_like_a_csv(run_file):
    target = BytesIO()
    book = xlsxwriter.Workbook(target, {"in_memory": True})
    page = book.add_worksheet("joints")
    day = book.add_format({"num_format": "dd/mm/yyyy"})
    page.write_row(0, 0, ["asset_tag", "asset_kind", "joint_tag", "joint_kind", "weld_leg", "joint_installed_on"])
    page.write_row(1, 0, [101, "ride", "W-1", "weld", 8.0])
    page.write_datetime(1, 5, date(2019, 3, 31), day)
    book.close()
    row = run_file(target.getvalue(), name="register.xlsx")
    assert row.state == "done", row.report
    joint = Joint.objects.get()
    assert (joint.asset.tag, joint.weld.leg_mm, joint.installed_on) == ("101", 8.0, date(2019, 3, 31))


def test_a_formula_stays_text(run_file):
    row = run_file("asset_tag,asset_kind,asset_name\nR-01,ride,=cmd|' /C calc'!A0\n")
    assert row.state == "done"
    assert Asset.objects.get().name == "=cmd|' /C calc'!A0"


@pytest.mark.parametrize("role", ["technician", "inspector", "manager", "auditor"])
def test_other_roles_cannot_import(start, person, site, role):
    with pytest.raises(NotAllowed) as refused:
        start(ONE, actor=person(role, site))
    assert refused.value.code == "role_lacks_right"
    assert not RegisterImport.objects.exists()


def test_a_site_of_others_is_not_there(start, person, other_site):
    with pytest.raises(NotFound):
        start(ONE, actor=person("planner", other_site))


def test_a_right_that_was_lost_meanwhile_refuses_the_run(start, planner, now):
    row = start(ONE)
    planner.roles.all().delete()
    assert importer.run_import(import_id=row.pk, now=now).state == "refused"
    assert not Asset.objects.exists()


def test_a_file_above_the_limit_is_refused(start, settings):
    settings.UPLOAD_LIMIT_BYTES = 20
    with pytest.raises(Unprocessable) as refused:
        start(ONE)
    assert refused.value.code == "file_too_large"


# Runs that break off --------------------------------------------------------------------------------------------------


def test_a_run_that_was_killed_is_found_again_and_done_once(start, now):
    row = start(ONE)
    RegisterImport.objects.filter(pk=row.pk).update(state="running", claim="dead", claimed_at=now, attempts=1)
    assert importer.run_import(import_id=row.pk, now=now + timedelta(minutes=1)).state == "running"
    assert not Asset.objects.exists()
    ended = importer.run_import(import_id=row.pk, now=now + timedelta(minutes=3))
    assert ended.state == "done"
    assert importer.run_import(import_id=row.pk, now=now + timedelta(minutes=6)).attempts == 2


def test_a_run_that_lost_its_claim_writes_nothing(start, now, monkeypatch):
    row = start(ONE)
    real = importer.write

    def taken_over(changes):
        real(changes)
        RegisterImport.objects.filter(pk=row.pk).update(claim="another")

    monkeypatch.setattr(importer, "write", taken_over)
    importer.run_import(import_id=row.pk, now=now)
    assert not Asset.objects.exists()
    assert not RecordEntry.objects.filter(deed="register.imported").exists()


def test_a_fault_in_the_middle_of_writing_leaves_nothing_and_says_so(start, now):
    row = start(ONE)

    def fails(**_):
        raise RuntimeError("a fault")

    events.register_imported.connect(fails)
    try:
        with pytest.raises(RuntimeError):
            importer.run_import(import_id=row.pk, now=now)
    finally:
        events.register_imported.disconnect(fails)
    row.refresh_from_db()
    assert row.state == "failed"
    assert not Asset.objects.exists()


def test_a_run_that_keeps_dying_is_given_up_with_a_word(start, now):
    row = start(ONE)
    RegisterImport.objects.filter(pk=row.pk).update(state="running", claimed_at=now - timedelta(hours=1), attempts=3)
    ended = importer.run_import(import_id=row.pk, now=now)
    assert ended.state == "failed"
    assert "three times" in ended.report["errors"][0]["what"]


def test_the_sweep_works_off_what_waits(start):
    row = start(ONE)
    tasks.work_off_imports()
    row.refresh_from_db()
    assert row.state == "done"


def test_progress_is_told_while_a_long_file_is_read(start, now, monkeypatch):
    monkeypatch.setattr("assets_app.register.gathering.STEP", 2)
    rows = "".join(f"R-01,ride,W-{n},weld,single,8,12\n" for n in range(5))
    told = []
    row = start(HEAD + rows)
    importer.run_import(import_id=row.pk, now=now, told=lambda r: told.append((r.state, r.rows_done)))
    assert told[:3] == [("running", 2), ("running", 4), ("running", 5)]


# The command ----------------------------------------------------------------------------------------------------------


def test_the_command_imports_and_tells(site, planner, capsys):
    path = str(EXAMPLES / "larkmoor-pier.csv")
    mapping = str(EXAMPLES / "larkmoor-pier.toml")
    command = ["import_register", path, "--site", site.slug, "--mapping", mapping, "--as", planner.username]
    call_command(*command, "--dry-run")
    assert not Asset.objects.exists()
    call_command(*command)
    said = capsys.readouterr().out
    assert "joints: 6 new" in said
    assert "7 of 7 rows read" in said
    assert Joint.objects.count() == 6


def test_the_command_fails_on_a_refusal(site, planner, tmp_path, capsys):
    path = tmp_path / "bad.csv"
    path.write_text(HEAD + "R-01,ride,W-1,weld,single,thick,\n")
    with pytest.raises(CommandError):
        call_command("import_register", str(path), "--site", site.slug, "--as", planner.username)
    assert "row 2, weld_leg" in capsys.readouterr().err


def test_a_file_name_with_a_path_is_kept_as_a_name(site, planner, now):
    file = ContentFile(ONE.encode(), name="..\\..\\secret/register.csv")
    row = importer.start_import(site_id=site.pk, file=file, mapping="", dry_run=True, actor=planner, now=now)
    assert row.file_name == "register.csv"
    assert row.file.name.startswith("imports/")
