"""``manage.py deliver_alerts``: what the tasks that tell people do, once, for an office without a worker."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from assets_app.people import mail_actions
from schedules.alerts import actions, deliver, posting
from schedules.alerts.models import Delivery, Intent, WebhookDelivery


class Command(BaseCommand):
    help = "Find what is to be told, and send what is owed, once each."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="only say what waits")

    def handle(self, *, dry_run: bool, **_: Any) -> None:
        now = timezone.now()
        if dry_run:
            emails = Delivery.objects.filter(deliver.owed_at(now)).count()
            new = Intent.objects.filter(expanded_at=None).count()
            posts = WebhookDelivery.objects.filter(state=WebhookDelivery.State.OWED).count()
            self.stdout.write(f"{new} alerts not yet given out, {emails} emails and {posts} webhook messages owed.")
            return
        raised = actions.raise_owed(now=now)
        sent = deliver.deliver_owed(now=now)
        mail_actions.send_owed(now=now)
        posted = posting.post_owed(now=now)
        self.stdout.write(f"{raised} alerts new, {sent} emails and {posted} webhook messages sent.")
