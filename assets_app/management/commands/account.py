"""An account from the machine of the service: ``manage.py account shut USERNAME --reason WHY`` and ``manage.py account
open USERNAME``. With ``--as MANAGER`` that manager answers for it, by the rights of a manager; without it whoever runs
the service does, and the record says so.
"""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from assets_app.people import account_actions
from assets_app.people.models import Person
from assets_app.refusals import Refused


class Command(BaseCommand):
    help = "Shut an account or open it again."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("deed", choices=["shut", "open"])
        parser.add_argument("username", help="by which the person signs in")
        parser.add_argument("--as", dest="manager", help="user name of the manager who answers for it")
        parser.add_argument("--reason", default="", help="why the account is shut, for the record")

    def handle(self, *args: Any, **options: Any) -> None:
        manager = options["manager"]
        try:
            person = Person.objects.get(username=options["username"])
            actor = Person.objects.get(username=manager) if manager else None
            who = {"actor": actor, "now": timezone.now()}
            self.stdout.write(self._do(options["deed"], person, options["reason"], who))
        except Person.DoesNotExist as error:
            raise CommandError("There is nobody with that user name.") from error
        except Refused as refused:
            raise CommandError(refused.message) from refused

    def _do(self, deed: str, person: Person, reason: str, who: dict[str, Any]) -> str:
        if deed == "open":
            account_actions.open_account(person_id=person.pk, **who)
            return f"The account of {person.display_name} is open again."
        freed = account_actions.shut_account(person_id=person.pk, reason=reason, **who)
        said = f"The account of {person.display_name} is shut."
        return f"{said} Orders that nobody has now: {', '.join(map(str, freed))}." if freed else said
