"""Import a register, certificates or counters.

``manage.py import_register FILE --site SLUG --as USER [--kind KIND] [--mapping FILE] [--dry-run]``; with ``--template
KIND`` alone it prints the headings of an empty file.
"""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.files.base import File
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from assets_app.people.models import Person
from assets_app.refusals import Refused
from assets_app.register import importer, lists
from assets_app.register.models import RegisterImport, Site
from engineering.figures import grouped

SHOWN = 200
WORDS = {"asset": "assets", "member": "members", "joint": "joints", "weld": "welds", "bolts": "bolt groups"}
WORDS |= {"programme": "looks owed", "certificate": "certificates", "counter": "counters"}


class Command(BaseCommand):
    help = "Import a register, certificates or counters from CSV or XLSX: all of it, or nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        kinds = list(lists.rights())
        parser.add_argument("file", type=Path, nargs="?")
        parser.add_argument("--site", help="slug of the site")
        parser.add_argument("--kind", choices=kinds, default=lists.REGISTER, help="what the file holds")
        parser.add_argument("--template", choices=kinds, help="print an empty file of this kind and do nothing else")
        parser.add_argument("--mapping", type=Path, help="mapping file (TOML); without one, headings name our fields")
        parser.add_argument("--as", dest="person", help="user name of who answers for it")
        parser.add_argument("--dry-run", action="store_true", help="check every row and field, write nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["template"]:
            self.stdout.write(lists.template(options["template"]), ending="")
            return
        if not all(options[name] for name in ("file", "site", "person")):
            raise CommandError("Give FILE, --site and --as; or --template KIND for an empty file.")
        try:
            row = self._start(options)
            ended = importer.run_import(import_id=row.pk, now=timezone.now(), told=self._progress)
        except Site.DoesNotExist as error:
            raise CommandError(f"There is no site {options['site']!r}.") from error
        except Person.DoesNotExist as error:
            raise CommandError(f"There is nobody with the user name {options['person']!r}.") from error
        except (OSError, UnicodeDecodeError) as error:
            raise CommandError(f"A file cannot be read: {error}.") from error
        except Refused as refused:
            raise CommandError(refused.message) from refused
        self._tell(ended)
        if ended.state not in (RegisterImport.State.DONE, RegisterImport.State.CHECKED) or _errors(ended):
            raise CommandError(f"{_errors(ended)} errors; nothing was written.")

    def _start(self, options: dict[str, Any]) -> RegisterImport:
        site = Site.objects.get(slug=options["site"])
        actor = Person.objects.get(username=options["person"])
        mapping = options["mapping"].read_text(encoding="utf-8") if options["mapping"] else ""
        with options["file"].open("rb") as file:
            return importer.start_import(
                site_id=site.pk,
                kind=options["kind"],
                file=File(file, name=options["file"].name),
                mapping=mapping,
                dry_run=options["dry_run"],
                actor=actor,
                now=timezone.now(),
                hand_over=False,
            )

    def _progress(self, row: RegisterImport) -> None:
        if not row.is_over:
            self.stdout.write(f"{grouped(row.rows_done)} of {grouped(row.rows_total)} rows read")

    def _tell(self, row: RegisterImport) -> None:
        report = row.report
        for kind, write in (("errors", self.stderr.write), ("warnings", self.stdout.write)):
            for line in report.get(kind, [])[:SHOWN]:
                where = f"row {line['row']}" if line["row"] else "the file"
                column = f", {line['column']}" if line["column"] else ""
                write(f"{kind[:-1]}: {where}{column}: {line['what']} {line['do']}".rstrip())
            left = report.get(f"{kind}_total", 0) - SHOWN
            if left > 0:
                write(f"and {grouped(left)} more {kind}")
        for note in report.get("notes", []):
            self.stdout.write(f"note: {note}")
        counts = report.get("counts", {})
        for target, word in WORDS.items():
            if target in counts and any(counts[target].values()):
                told = ", ".join(f"{grouped(number)} {name}" for name, number in counts[target].items())
                self.stdout.write(f"{word}: {told}")
        if counts:
            told = ", ".join(f"{grouped(counts[name])} {name}" for name in ("rows", "doubled", "refused"))
            self.stdout.write(f"{told}; {row.get_state_display()}.")


def _errors(row: RegisterImport) -> int:
    return int(row.report.get("errors_total", 0))
