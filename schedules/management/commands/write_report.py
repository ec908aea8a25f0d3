"""Write an inspection report: ``manage.py write_report FILE --asset ID --since DAY --until DAY --as USER``."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from assets_app.people.models import Person
from assets_app.refusals import Refused
from engineering.figures import grouped
from schedules.reports import written_actions, written_queries


class Command(BaseCommand):
    help = "Write the inspection report of an asset or a joint and a period, of any size, and store it as FILE."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("--asset", type=int, help="its number in the register")
        what.add_argument("--joint", type=int, help="its number in the register")
        parser.add_argument("--since", required=True, type=date.fromisoformat, help="first day, such as 2026-01-01")
        parser.add_argument("--until", required=True, type=date.fromisoformat, help="last day")
        parser.add_argument("--as", dest="person", required=True, help="user name of who asks for it")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            person = Person.objects.get(username=options["person"])
            asked = written_actions.ask_for_report(
                asset_id=options["asset"],
                joint_id=options["joint"],
                since=options["since"],
                until=options["until"],
                actor=person,
                now=timezone.now(),
                hand_over=False,
            )
            written = written_actions.write_report(report_id=asked.pk, now=timezone.now())
            if written.why:
                raise CommandError(written.why)
            _, content = written_queries.file_of(person, written.pk)
            options["file"].write_bytes(content)
        except Person.DoesNotExist as error:
            raise CommandError(f"There is nobody with the user name {options['person']!r}.") from error
        except Refused as refused:
            raise CommandError(refused.message) from refused
        except OSError as error:
            raise CommandError(f"The file cannot be written: {error}.") from error
        self.stdout.write(
            f"{grouped(written.looks)} looks, {grouped(written.photos)} photos, SHA-256 {written.file_sha256}"
        )
