"""``manage.py verify_record [--site SLUG]``: is the chained record whole?"""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from assets_app.record import verify
from assets_app.register.models import Site


class Command(BaseCommand):
    help = "Checks the record of one site or of all and names the first broken entry; exit code 1 if any is broken."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--site", help="slug of one site; all without it")

    def handle(self, *args: Any, **options: Any) -> None:
        sites = Site.objects.all()
        if options["site"]:
            sites = sites.filter(slug=options["site"])
            if not sites:
                raise CommandError(f"There is no site {options['site']!r}.")
        broken = 0
        for site in sites:
            answer = verify.chain(site)
            broken += not answer.whole
            self.stdout.write(answer.words)
        unguarded = verify.missing_triggers()
        if unguarded:
            self.stderr.write(f"The database lacks the triggers that keep the record: {', '.join(unguarded)}.")
        if broken or unguarded:
            raise CommandError(f"{broken} broken." if broken else "The record is whole but not guarded.")
