"""Fit every counter's forecast again, and show how past forecasts did: ``manage.py forecast_counters --back-test``."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from schedules.duty import actions, queries
from schedules.duty.models import Counter, CounterForecast
from schedules.duty.rules import HORIZONS, can_forecast


class Command(BaseCommand):
    help = "Fit the forecasts of all counters again; a changed one marks its asset stale."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--site", help="slug of one site only")
        parser.add_argument("--back-test", action="store_true", help="show how past forecasts did, counter by counter")

    def handle(self, *args: Any, **options: Any) -> None:
        counters = Counter.objects.order_by("pk")
        if options["site"]:
            counters = counters.filter(asset__site__slug=options["site"])
        pks = list(counters.values_list("pk", flat=True))
        changed = actions.refit_in_batches(counter_ids=pks, now=timezone.now())
        self.stdout.write(f"{len(pks)} counters fitted, {changed} changed.")
        if options["back_test"]:
            self._table(pks)

    def _table(self, pks: list[int]) -> None:
        heading = f"{'counter':<36}" + "".join(f"{f'{days} d: n, miss, below':>27}" for days in HORIZONS)
        self.stdout.write(heading)
        rows = CounterForecast.objects.filter(counter__in=pks).select_related("counter__asset").order_by("counter")
        for row in rows:
            name = f"{row.counter.asset.tag} {row.counter.name}"[:35]
            if not can_forecast(row.parameters):
                self.stdout.write(f"{name:<36}{row.basis}")
                continue
            cells = "".join(self._cell(horizon) for horizon in row.back_test["horizons"])
            self.stdout.write(f"{name:<36}{cells}")
        for line in queries.back_test_summary(pks):
            self.stdout.write(line)

    def _cell(self, horizon: dict[str, Any]) -> str:
        if not horizon["forecasts"]:
            return f"{'too few readings':>27}"
        figures = f"{horizon['forecasts']}, {horizon['median_error_pct']} %, {horizon['below_early_pct']} %"
        return f"{figures:>27}"
