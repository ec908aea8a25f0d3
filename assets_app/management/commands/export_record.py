"""``manage.py export_record [--site SLUG] [--to FILE]``: the record as JSON lines, for ``record/verifier.py``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from assets_app.record import verify
from assets_app.register.models import Site


class Command(BaseCommand):
    help = "Writes the record as JSON lines; check it anywhere with: python assets_app/record/verifier.py FILE"

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--site", help="slug of one site; all without it")
        parser.add_argument("--to", help="file to write; standard output without it")

    def handle(self, *args: Any, **options: Any) -> None:
        sites = Site.objects.order_by("pk")
        if options["site"]:
            sites = sites.filter(slug=options["site"])
            if not sites:
                raise CommandError(f"There is no site {options['site']!r}.")
        lines = (line for site in sites for line in verify.export_lines(site))
        if not options["to"]:
            for line in lines:
                self.stdout.write(line)
            return
        with Path(options["to"]).open("w", encoding="utf-8", newline="\n") as file:
            file.writelines(line + "\n" for line in lines)
