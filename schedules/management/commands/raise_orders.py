"""``manage.py raise_orders SITE --within 30 --as USERNAME``: orders for every look that falls due and has none open."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from assets_app.people.models import Person
from assets_app.people.queries import day_at
from assets_app.refusals import Refused
from assets_app.register.models import Site
from schedules.work.actions import raise_due_orders
from schedules.work.raising import due_without_order


class Command(BaseCommand):
    help = "Raise an order for every look due within some days at a site. Run again it raises nothing new."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("site", help="slug of the site")
        parser.add_argument("--within", type=int, default=30, help="days from today (default 30)")
        parser.add_argument("--as", dest="username", required=True, help="who raises them")
        parser.add_argument("--dry-run", action="store_true", help="only list what would be raised")

    def handle(self, *, site: str, within: int, username: str, dry_run: bool, **_: Any) -> None:
        place = Site.objects.filter(slug=site).first()
        actor = Person.objects.filter(username=username).first()
        if place is None or actor is None:
            raise CommandError(f"There is no {'site ' + site if place is None else 'person ' + username}.")
        now = timezone.now()
        if dry_run:
            until = day_at(place, now) + timedelta(days=within)
            for row in due_without_order(place.pk, until):
                self.stdout.write(f"{row.due_on}  {row.method} of {row.joint.asset.tag} {row.joint.tag}")
            return
        try:
            raised = raise_due_orders(site_id=place.pk, within_days=within, actor=actor, now=now)
        except Refused as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"{len(raised)} orders raised.")
