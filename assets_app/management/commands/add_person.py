"""Add a person: ``manage.py add_person USERNAME --as MANAGER --site SLUG --role ROLE --first-name NAME``.

For who forgot the password see ``manage.py account link``.
"""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from assets_app.management.commands.account import tell_link
from assets_app.people import account_actions
from assets_app.people.models import Person, RoleName
from assets_app.people.sign_in_links import NewLink, Way
from assets_app.refusals import Refused
from assets_app.register.models import Site


class Command(BaseCommand):
    help = "Add a person with a first role at a site, and print the link by which they set a password."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username", help="by which the person signs in")
        parser.add_argument("--as", dest="manager", required=True, help="user name of the manager who answers for it")
        parser.add_argument("--site", required=True, help="slug of the site")
        parser.add_argument("--role", required=True, choices=RoleName.values, help="the first one, at the site")
        parser.add_argument("--first-name", default="")
        parser.add_argument("--last-name", default="")
        parser.add_argument("--email", default="", help="where mail reaches the person")
        parser.add_argument("--mail", action="store_true", help="mail the link to the person and do not print it")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            link = self._link(options)
        except Site.DoesNotExist as error:
            raise CommandError(f"There is no site {options['site']!r}.") from error
        except Person.DoesNotExist as error:
            raise CommandError("There is no manager with that user name.") from error
        except Refused as refused:
            raise CommandError(refused.message) from refused
        tell_link(self, link)

    def _link(self, options: dict[str, Any]) -> NewLink:
        who = {"actor": Person.objects.get(username=options["manager"]), "now": timezone.now()}
        given = {name: options[name] for name in ("username", "role", "first_name", "last_name", "email")}
        given["hand_over"] = Way.MAIL if options["mail"] else Way.SHOW
        return account_actions.add_person(site_id=Site.objects.get(slug=options["site"]).pk, **given, **who)
