"""Recompute due dates: what is stale, one asset, one site, or all."""

from __future__ import annotations

import os
import time
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from assets_app.register.models import Asset, Site
from schedules.due import engine, left_out, sweeps
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
        self._tell_left_out()
        self.stdout.write(f"{time.monotonic() - begun:.1f} s")

    def _tell_left_out(self) -> None:
        for each in left_out.of_sites(Site.objects.all()):
            self.stderr.write(
                f"{each.asset.tag} at {each.site.name} could not be computed ({each.error}): its dates are old and may "
                "be too late. Have its joints looked at by hand."
            )

    def _asset(self, tag: str, *, ratings: bool) -> engine.Outcome:
        pks = list(Asset.objects.filter(tag=tag).values_list("pk", flat=True))
        if not pks:
            raise CommandError(f"No asset has the tag {tag!r}.")
        scope = Scope(asset_ids=pks)
        return engine.recompute(scope, now=timezone.now(), rate=engine.in_scope(scope) if ratings else None)

    def _sweep(self, slug: str | None, *, ratings: bool) -> None:
        """One sweep a site, so that each is by its site's own day and shows to the people of that site."""
        sites = Site.objects.filter(slug=slug) if slug else Site.objects.all()
        if slug and not sites:
            known = ", ".join(Site.objects.values_list("slug", flat=True))
            raise CommandError(f"No site is called {slug!r}; there are: {known}.")
        started = []
        for site in sites:
            now = timezone.now()
            sweep = sweeps.start(site=site, for_day=engine.site_day(site, now), now=now, ratings_too=ratings)
            assert isinstance(sweep, Sweep)  # only a nightly sweep can be laid out by somebody else
            started.append(sweep)
        while sweeps.work_off(worker=f"command {os.getpid()}", now=timezone.now(), most=1):
            self._tell(started)
        self._tell(started)

    def _tell(self, started: list[Sweep]) -> None:
        all_of = [sweeps.progress(sweep) for sweep in started]
        done, in_all, changed = (
            sum(at[name] for at in all_of) for name in ("programmes_done", "programmes", "changed")
        )
        self.stdout.write(f"{done} of {in_all} looks owed, {changed} dates changed")
