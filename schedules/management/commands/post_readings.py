"""Post the readings of a CSV file: ``manage.py post_readings larkmoor-pier readings.csv --as planner``."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from assets_app.people.models import Person
from assets_app.refusals import Refused
from assets_app.register.models import Site
from schedules.duty.reading_file import post_readings_file


class Command(BaseCommand):
    help = "Post the readings of a CSV file (asset, counter, read_at, value), all or none."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("site", help="slug of the site")
        parser.add_argument("file", type=Path)
        parser.add_argument("--as", dest="person", required=True, help="user name of who posts them")
        parser.add_argument("--dry-run", action="store_true", help="check every row, write nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            site = Site.objects.get(slug=options["site"])
            actor = Person.objects.get(username=options["person"])
            with options["file"].open("rb") as file:
                report = post_readings_file(
                    site=site, file=file, actor=actor, now=timezone.now(), dry_run=options["dry_run"]
                )
        except Site.DoesNotExist as error:
            raise CommandError(f"There is no site {options['site']!r}.") from error
        except Person.DoesNotExist as error:
            raise CommandError(f"There is nobody with the user name {options['person']!r}.") from error
        except OSError as error:
            raise CommandError(f"The file cannot be read: {error.strerror}.") from error
        except Refused as refused:
            self._list(refused.data.get("rows", []))
            raise CommandError(refused.message) from refused
        self._list(report.errors)
        for note in report.notes:
            self.stdout.write(f"row {note['row']}: {note['message']}")
        would = "would be " if report.dry_run else ""
        self.stdout.write(f"{report.posted} readings {would}stored, {report.already_there} already there.")
        if report.errors:
            raise CommandError(f"{len(report.errors)} rows cannot be taken; nothing was written.")

    def _list(self, errors: list[dict[str, Any]]) -> None:
        for error in errors:
            self.stderr.write(f"row {error['row']}, {error['field'] or 'row'}: {error['message']}")
