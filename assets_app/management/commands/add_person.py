"""Add a person, or make a new link for one: ``manage.py add_person USERNAME --as MANAGER --site SLUG --role ROLE
--first-name NAME``; for who forgot the password ``manage.py add_person USERNAME --as MANAGER --new-link``.
"""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from assets_app.people import account_actions
from assets_app.people.models import Person, RoleName
from assets_app.people.sign_in_links import NewLink, valid_days
from assets_app.refusals import Refused
from assets_app.register.models import Site


class Command(BaseCommand):
    help = "Add a person with a first role at a site, and print the link by which they set a password."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username", help="by which the person signs in")
        parser.add_argument("--as", dest="manager", required=True, help="user name of the manager who answers for it")
        parser.add_argument("--new-link", action="store_true", help="the person is here already: only make a new link")
        parser.add_argument("--site", help="slug of the site")
        parser.add_argument("--role", choices=RoleName.values, help="the first one, at the site")
        parser.add_argument("--first-name", default="")
        parser.add_argument("--last-name", default="")
        parser.add_argument("--email", default="", help="the link is mailed there too")

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["new_link"] and not (options["site"] and options["role"]):
            raise CommandError("Give --site, --role and --first-name; or --new-link for somebody who is here already.")
        try:
            link = self._link(options)
        except Site.DoesNotExist as error:
            raise CommandError(f"There is no site {options['site']!r}.") from error
        except Person.DoesNotExist as error:
            raise CommandError("There is nobody with that user name.") from error
        except Refused as refused:
            raise CommandError(refused.message) from refused
        self.stdout.write(link.address)
        whose = f"For {link.person.display_name} alone"
        self.stderr.write(f"{whose}: sets the password once, for {valid_days()} days. Mail: {link.mail}.")

    def _link(self, options: dict[str, Any]) -> NewLink:
        who = {"actor": Person.objects.get(username=options["manager"]), "now": timezone.now()}
        if options["new_link"]:
            person = Person.objects.get(username=options["username"])
            return account_actions.make_link(person_id=person.pk, **who)
        given = {name: options[name] for name in ("username", "role", "first_name", "last_name", "email")}
        return account_actions.add_person(site_id=Site.objects.get(slug=options["site"]).pk, **given, **who)
