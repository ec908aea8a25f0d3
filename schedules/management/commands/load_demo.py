"""Load the demo: Larkmoor Pier and Depot with five years of use."""

from __future__ import annotations

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from assets_app.register.models import Site
from schedules.demo import people


class Command(BaseCommand):
    help = "Load the demo into an empty database; refused where sites are there already."

    requires_system_checks = ()  # `migrate` has just made them; people wait for this

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--today", help="the demo's day, YYYY-MM-DD (default: today at Larkmoor)")
        parser.add_argument("--sign-ins", action="store_true", help="only print who signs in and what to look at")
        parser.add_argument("--small", action="store_true", help="fewer assets and joints, for a quick try")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["sign_ins"]:
            self.stdout.write("\n".join(people.sign_in_lines()))
            return
        if Site.objects.exists():
            raise CommandError("There are sites here already. The demo goes only into an empty database.")
        from schedules.demo import census, load, places

        today = _day(options["today"]) or timezone.now().astimezone(ZoneInfo(places.ZONE)).date()
        load.load(today=today, small=options["small"], say=self.stdout.write)
        for line in census.lines(today):
            self.stdout.write(line)


def _day(text: str | None) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise CommandError(f"{text!r} is no day; write YYYY-MM-DD.") from error
