"""The importer: a file is started, worked off by a task or a command, checked, and written whole or not at all.

The write commits only while the run's claim still holds (``claims``). Reading and checking report progress as they
go; the write is one transaction.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime
from typing import Any, ClassVar

from django.conf import settings
from django.core.files.base import ContentFile, File
from django.db import transaction
from django.db.models import QuerySet

from assets_app import claims, dispatch, events
from assets_app.people import queries as people
from assets_app.people.models import Person
from assets_app.record.actions import append
from assets_app.refusals import Conflict, NotFound, Refused, Unprocessable
from assets_app.register import lists, reading
from assets_app.register import mapping as mappings
from assets_app.register.comparing import Changes, Comparison, write
from assets_app.register.gathering import Plan, gather
from assets_app.register.models import RegisterImport, Site

State = RegisterImport.State
BROKE_OFF = "Its run broke off three times. Split the file, and tell who keeps this service."
FAULT = "Something went wrong here, not in the file. Nothing was written."
LONGEST_MAPPING = 100_000  # characters


def start_import(
    *,
    site_id: int,
    file: File[bytes],
    mapping: str,
    dry_run: bool,
    actor: Person,
    now: datetime,
    kind: str = lists.REGISTER,
    hand_over: bool = True,
) -> RegisterImport:
    """Store a file and its mapping (TOML, may be empty) and have it worked off after commit.

    ``kind`` says what the file holds. ``hand_over`` False where the caller works it off itself; should it die, the
    sweep finds the import all the same.

    Refusals: ``not_found``, ``role_lacks_right``, ``unknown_kind``, ``file_too_large``, ``file_empty``,
    ``mapping_wrong``.
    """
    people.require(actor, lists.right_to_import(kind), site_id)
    if (file.size or 0) > settings.UPLOAD_LIMIT_BYTES:
        limit = settings.UPLOAD_LIMIT_BYTES // 1024**2
        raise Unprocessable("file_too_large", f"The file is larger than {limit} MB. Split it.", field="file")
    if len(mapping) > LONGEST_MAPPING:
        raise Unprocessable("mapping_wrong", "The mapping is too long to be one.", field="mapping")
    tables = mappings.parse(mapping)
    content = file.read()
    if not content:
        raise Unprocessable("file_empty", "The file is empty.", field="file")
    name = (file.name or "register").replace("\\", "/").rpartition("/")[2][-255:]
    with transaction.atomic():
        row = RegisterImport(
            site_id=site_id,
            kind=kind,
            file_name=name,
            file_sha256=hashlib.sha256(content).hexdigest(),
            mapping=tables,
            dry_run=dry_run,
            started_by=actor,
            started_at=now,
        )
        row.file.save(f"{row.file_sha256[:16]}{_ending(content)}", ContentFile(content), save=False)
        row.save()
        if hand_over:
            transaction.on_commit(_start_work, robust=True)
    return row


def write_checked(*, import_id: int, actor: Person, now: datetime) -> RegisterImport:
    """Write what a dry run found clean: a new import of the same file and mapping.

    Refusals: ``not_found``, ``role_lacks_right``, ``not_checked``.
    """
    with transaction.atomic():
        checked = RegisterImport.objects.select_for_update().filter(pk=import_id).first()
        if checked is None or checked.site_id is None:
            raise NotFound("not_found", "There is nothing here that you can see.")
        people.require(actor, lists.right_to_import(checked.kind), checked.site_id)
        if checked.state != State.CHECKED or checked.report.get("errors_total"):
            raise Conflict("not_checked", "Only a file that was checked and found clean can be written.")
        written = RegisterImport.objects.create(
            site_id=checked.site_id,
            kind=checked.kind,
            file_name=checked.file_name,
            file=checked.file.name,
            file_sha256=checked.file_sha256,
            mapping=checked.mapping,
            dry_run=False,
            started_by=actor,
            started_at=now,
        )
        transaction.on_commit(_start_work, robust=True)
    return written


def _ending(content: bytes) -> str:
    return ".xlsx" if content.startswith(reading.XLSX_HEAD) else ".csv"


def _start_work() -> None:
    from assets_app.register.tasks import work_off_imports

    dispatch.send(work_off_imports)


# Runs -----------------------------------------------------------------------------------------------------------------


def owed(now: datetime) -> QuerySet[RegisterImport]:
    """Imports that wait, or whose run should long be over; the oldest first."""
    return claims.owed(_Run, now)


def run_import(
    *, import_id: int, now: datetime, told: Callable[[RegisterImport], None] = lambda row: None
) -> RegisterImport:
    """Work off one import, as ``claims.work_off`` says; ``told`` hears of progress.

    The state afterwards says how it ended: checked, done, refused, failed.
    """
    row: RegisterImport = claims.work_off(_Run, import_id, now=now, told=told)
    return row


class _Run(claims.Run[RegisterImport]):
    model = RegisterImport
    related = ("site", "started_by")
    afresh: ClassVar = {"rows_done": 0, "report": {}}
    plan: Plan | None = None

    def refused(self, refused: Refused) -> dict[str, Any]:
        return {"report": _file_error(refused, self.plan)}

    def failed(self, *, broke_off: bool) -> dict[str, Any]:
        return {"report": _fault(BROKE_OFF if broke_off else FAULT)}

    def work(self) -> None:
        site = self.row.site
        if site is None:
            raise NotFound("not_found", "The import belongs to no site.")
        people.require(self.row.started_by, lists.right_to_import(self.row.kind), site.pk)
        with self.row.file.open("rb") as stored:
            content = stored.read()
        sheet = reading.read(content, sheet=str(self.row.mapping.get("file", {}).get("sheet", "")))
        self.row.rows_total = len(sheet.rows)
        self.ours().update(rows_total=self.row.rows_total)
        if self.row.kind != lists.REGISTER:
            self._work_list(site, sheet, lists.known(self.row.kind))
            return
        mapping = mappings.build(self.row.mapping, sheet.headings)
        today = people.day_at(site, self.now)
        self.plan = gather(sheet, mapping, today=today, progress=self._progress)
        if self.row.dry_run or self.plan.errors.total:
            self._check(site, self.plan)
        else:
            self._write(site, self.plan)

    def _work_list(self, site: Site, sheet: reading.Sheet, kind: lists.ListKind) -> None:
        """Do every row as the desk does it; a check, and a file with an error, are taken back whole."""
        self.plan = plan = lists.gather_list(sheet, self.row.mapping, kind, self._progress)
        with transaction.atomic():
            Site.objects.select_for_update(no_key=True).get(pk=site.pk)  # imports of a site one after another
            people.require(self.row.started_by, kind.right, site.pk)
            done = lists.take_rows(plan, kind, site, self.row.started_by, self.now)
            report = _report(plan, {kind.thing: done})
            if not self.row.dry_run and not plan.errors.total:
                if done["new"] or done["changed"]:
                    _record(self.row, "list.imported", report, self.now, kind=self.row.kind)
                self.end(State.DONE, report=report)
                return
            transaction.set_rollback(True)
        self.end(State.CHECKED if self.row.dry_run else State.REFUSED, report=report)

    def _progress(self, rows: int) -> None:
        self.keep(rows_done=rows)

    def _check(self, site: Site, plan: Plan) -> None:
        """Compare without writing; a file with errors is refused when it was to be written."""
        changes = Comparison(plan, site).run()
        programmes = _give_programmes(plan, changes, self.row, self.now, check_only=True)
        wanted = State.CHECKED if self.row.dry_run else State.REFUSED
        self.end(wanted, report=_report(plan, _counts(changes, programmes)))

    def _write(self, site: Site, plan: Plan) -> None:
        with transaction.atomic():
            Site.objects.select_for_update(no_key=True).get(pk=site.pk)  # register writes of a site one after another
            people.require(self.row.started_by, "register.import", site.pk)
            changes = Comparison(plan, site).run()
            if not plan.errors.total:
                write(changes)
            programmes = _give_programmes(plan, changes, self.row, self.now, check_only=bool(plan.errors.total))
            report = _report(plan, _counts(changes, programmes))
            if plan.errors.total:
                self.end(State.REFUSED, report=report)
                return
            if changes.anything() or programmes["new"] or programmes["changed"]:
                _tell(self.row, report, changes, self.now)
            self.end(State.DONE, report=report)


def _give_programmes(
    plan: Plan, changes: Changes, row: RegisterImport, now: datetime, *, check_only: bool
) -> dict[str, int]:
    """Hand what is owed to the floor above, which answers with its counts; new joints have nothing to compare with."""
    fallback = f"{row.file_name}, {now:%Y-%m-%d}"
    rows, new = [], 0
    for (asset, joint, method), given in plan.things["programme"].items():
        held = changes.joints.get((asset, joint))
        if held is None or held.pk is None:
            new += 1
            continue
        values = {"calendar_months": None, "duty_count": None, "last_look_on": None, "source": "", **given.values}
        rows.append({"joint_id": held.pk, "asset_id": held.asset_id, "method": method, "fallback": fallback, **values})
    counts = {"new": new, "changed": 0, "unchanged": 0}
    if rows:
        answers = events.programmes_given.send(
            sender=RegisterImport, site_id=row.site_id, rows=rows, now=now, check_only=check_only
        )
        for _, answer in answers:
            counts = {name: counts[name] + answer[name] for name in counts}
    return counts


def _tell(row: RegisterImport, report: dict[str, Any], changes: Changes, now: datetime) -> None:
    """Append to the record and let the due dates follow."""
    touched = {asset.pk for asset in _touched(changes, "asset")}
    touched |= {thing.asset_id for name in ("member", "joint") for thing in _touched(changes, name)}
    touched |= {thing.joint.asset_id for name in ("weld", "bolts") for thing in _touched(changes, name)}
    _record(row, "register.imported", report, now)
    if touched:
        events.register_imported.send(
            sender=RegisterImport, site_id=row.site_id, asset_ids=sorted(touched), why="register imported", now=now
        )


def _record(row: RegisterImport, deed: str, report: dict[str, Any], now: datetime, **more: Any) -> None:
    content = {"file": row.file_name, "sha256": row.file_sha256, "import": row.pk, "counts": report["counts"], **more}
    append(
        site_id=row.site_id,  # type: ignore[arg-type]  # checked when the run began
        deed=deed,
        actor=row.started_by,
        subject=row,
        content=content,
        now=now,
    )


def _touched(changes: Changes, target: str) -> list[Any]:
    difference = changes.by_target[target]
    return [*difference.new, *difference.changed]


def _counts(changes: Changes, programmes: dict[str, int]) -> dict[str, dict[str, int]]:
    return {**{target: each.counts() for target, each in changes.by_target.items()}, "programme": programmes}


def _report(plan: Plan, by_thing: dict[str, dict[str, int]]) -> dict[str, Any]:
    rows = {"rows": plan.rows, "doubled": plan.doubled, "refused": len(plan.errors.rows)}
    return {"counts": {**by_thing, **rows}, **_problems(plan)}


def _problems(plan: Plan) -> dict[str, Any]:
    plan.errors.listed.sort(key=lambda error: error["row"])
    return {
        "errors": plan.errors.listed,
        "errors_total": plan.errors.total,
        "warnings": plan.warnings.listed,
        "warnings_total": plan.warnings.total,
        "notes": plan.notes,
    }


def _fault(message: str) -> dict[str, Any]:
    error = {"row": 0, "column": "", "value": "", "what": message, "do": "", "code": "failed"}
    return {"errors": [error], "errors_total": 1, "warnings": [], "warnings_total": 0, "notes": []}


def _file_error(refused: Refused, plan: Plan | None) -> dict[str, Any]:
    """The whole file, or its mapping, is refused."""
    report = _problems(plan) if plan else _fault("")
    error = {"row": 0, "column": refused.field, "value": "", "what": refused.message, "do": "", "code": refused.code}
    return {**report, "errors": [error], "errors_total": 1}
