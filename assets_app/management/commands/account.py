"""An account from the machine of the service.

``manage.py account link USERNAME`` for who forgot the password, a sole manager too; ``manage.py account shut USERNAME
--reason WHY``; ``manage.py account open USERNAME``. With ``--as MANAGER`` that manager answers for it, by the rights of
a manager; without it whoever runs the service does, and the record says so.
"""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from assets_app.people import account_actions
from assets_app.people.models import Person
from assets_app.people.sign_in_links import NewLink, Way, valid_days
from assets_app.refusals import Refused


class Command(BaseCommand):
    help = "Make a link by which a person sets a password; shut an account, or open it again."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("deed", choices=["link", "shut", "open"])
        parser.add_argument("username", help="by which the person signs in")
        parser.add_argument("--as", dest="manager", help="user name of the manager who answers for it")
        parser.add_argument("--reason", default="", help="why the account is shut, for the record")
        parser.add_argument("--mail", action="store_true", help="mail the link to the person and do not print it")

    def handle(self, *args: Any, **options: Any) -> None:
        manager = options["manager"]
        try:
            person = Person.objects.get(username=options["username"])
            actor = Person.objects.get(username=manager) if manager else None
            who = {"actor": actor, "now": timezone.now()}
            self._do(person, who, **options)
        except Person.DoesNotExist as error:
            raise CommandError("There is nobody with that user name.") from error
        except Refused as refused:
            raise CommandError(refused.message) from refused

    def _do(self, person: Person, who: dict[str, Any], *, deed: str, reason: str, mail: bool, **_: Any) -> None:
        if deed == "link":
            way = Way.MAIL if mail else Way.SHOW
            tell_link(self, account_actions.make_link(person_id=person.pk, hand_over=way, **who))
        elif deed == "open":
            account_actions.open_account(person_id=person.pk, **who)
            self.stdout.write(f"The account of {person.display_name} is open again.")
        else:
            freed = account_actions.shut_account(person_id=person.pk, reason=reason, **who)
            self.stdout.write(f"The account of {person.display_name} is shut.")
            if freed:
                self.stdout.write(f"Orders that nobody has now: {', '.join(map(str, freed))}.")


def tell_link(command: BaseCommand, link: NewLink) -> None:
    """The link alone on the output, where it is shown; what it is, beside it."""
    if link.shown:
        command.stdout.write(link.shown)
    whose = f"For {link.person.display_name} alone, who signs in as {link.person.username}"
    command.stderr.write(f"{whose}: sets the password once, for {valid_days()} days. Mail to the person: {link.mail}.")
