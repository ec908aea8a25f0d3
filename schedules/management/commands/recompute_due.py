"""Recompute due dates: what is stale, one asset, one site, or all."""

from __future__ import annotations

import os
import time
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from assets_app.register.models import Asset, Site
from schedules.due import engine, sweeps
from schedules.due.models import Sweep
from schedules.due.store import Scope


class Command(BaseCommand):
    help = "Recompute due dates. Without an option: only what is marked stale."

    def add_arguments(self, parser: CommandParser) -> None:
        what = parser.add_mutually_exclusive_group()
        what.add_argument("--all", action="store_true", help="every site, in parts, with progress")
        what.add_argument("--site", help="one site, by its short name")
        what.add_argument("--asset", help="one asset, by its tag")
        parser.add_argument("--ratings", action="store_true", help="rate every joint anew as well")

    def handle(self, *args: Any, **options: Any) -> None:
        begun = time.monotonic()
        if options["asset"]:
            outcome = self._asset(options["asset"], ratings=options["ratings"])
            self.stdout.write(f"{outcome.programmes} looks owed, {outcome.changed} dates changed")
        elif options["all"] or options["site"]:
            self._sweep(options["site"], ratings=options["ratings"])
        else:
            outcome = engine.recompute_stale(now=timezone.now())
            self.stdout.write(f"{outcome.programmes} looks owed, {outcome.changed} dates changed")
        self.stdout.write(f"{time.monotonic() - begun:.1f} s")

    def _asset(self, tag: str, *, ratings: bool) -> engine.Outcome:
        pks = list(Asset.objects.filter(tag=tag).values_list("pk", flat=True))
        if not pks:
            raise CommandError(f"No asset has the tag {tag!r}.")
        scope = Scope(asset_ids=pks)
        return engine.recompute(scope, now=timezone.now(), rate=engine.in_scope(scope) if ratings else None)

    def _sweep(self, slug: str | None, *, ratings: bool) -> None:
        site = Site.objects.filter(slug=slug).first() if slug else None
        if slug and site is None:
            known = ", ".join(Site.objects.values_list("slug", flat=True))
            raise CommandError(f"No site is called {slug!r}; there are: {known}.")
        now = timezone.now()
        day = engine.site_day(site, now) if site else now.date()
        sweep = sweeps.start(site=site, for_day=day, now=now, ratings_too=ratings)
        assert isinstance(sweep, Sweep)  # only a nightly sweep can be laid out by somebody else
        while sweeps.work_off(worker=f"command {os.getpid()}", now=now, most=1):
            at = sweeps.progress(sweep)
            self.stdout.write(
                f"{at['programmes_done']} of {at['programmes']} looks owed, {at['changed']} dates changed"
            )
