"""Who may answer for whose account: shut it, open it, make a link to its password. And who else could."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Count, QuerySet

from assets_app.people.models import AccountMail, Person, Role
from assets_app.people.queries import colleagues_of, require_at_every_site, site_ids_of
from assets_app.people.rules import MANAGER, MAY
from assets_app.refusals import Conflict, NotAllowed

AT_THE_MACHINE = "whoever runs the service"


def require_account(actor: Person | None, person: Person) -> list[int]:
    """The sites of ``person``, after making sure that ``actor`` may answer for the account: as manager of every one of
    them, for the sign-in is to all; never one's own. None is whoever runs the service, by a command on its machine.

    Refusals: ``not_found``, ``role_lacks_right``, ``keeps_not_all_sites``, ``not_for_oneself``.
    """
    if actor is None:
        return site_ids_of(person)
    could = who_could(person)
    otherwise = f"{person.display_name} signs in to a site too whose people you do not keep. {could} could."
    site_ids = require_at_every_site(actor, person, "account.change", otherwise)
    if actor.pk == person.pk:
        raise NotAllowed("not_for_oneself", f"Nobody does this to an account of their own. {could} could.")
    return site_ids


def who_could(person: Person) -> str:
    """In words: the managers of all sites of the person, by name, and always whoever runs the service."""
    names = [who.display_name for who in keepers_of(site_ids_of(person)).exclude(pk=person.pk)]
    return f"{', '.join(names)} or {AT_THE_MACHINE}" if names else f"Only {AT_THE_MACHINE}"


def keepers_of(site_ids: Iterable[int]) -> QuerySet[Person]:
    """Who is manager at every one of the sites, and signs in."""
    wanted = list(site_ids)
    theirs = Role.objects.filter(name=MANAGER, site_id__in=wanted).order_by().values("person_id")
    all_of_them = theirs.annotate(kept=Count("site_id")).filter(kept=len(wanted)).values("person_id")
    return Person.objects.filter(is_active=True, pk__in=all_of_them).order_by("last_name", "first_name", "pk")


def check_not_last_manager(person: Person, site_ids: list[int]) -> None:
    """Refuse (``last_manager``) what would leave a site without a manager who signs in."""
    managers = Role.objects.filter(name=MANAGER, site_id__in=site_ids, person__is_active=True).select_related("site")
    kept = {role.site_id for role in managers if role.person_id != person.pk}
    left = sorted(role.site.name for role in managers if role.site_id not in kept)
    if left:
        raise Conflict(
            "last_manager",
            f"{person.display_name} is the last manager of {' and '.join(left)}: nobody could keep its people then. "
            f"First {person.display_name} makes somebody else manager there, who could then do this.",
        )


def not_reached(viewer: Person) -> QuerySet[Person]:
    """Whom a mail about their account did not reach yet, at the sites whose accounts this person keeps."""
    kept = Role.objects.filter(person_id=viewer.pk, name__in=MAY["account.change"]).values("site_id")
    unsent = AccountMail.objects.filter(attempts__gt=0, person__roles__site__in=kept)
    return Person.objects.filter(pk__in=unsent.order_by().values("person_id")).order_by("last_name", "first_name")


def shut_of(viewer: Person) -> QuerySet[Person]:
    """Colleagues whose account is shut; they keep their roles, which give no right meanwhile."""
    return colleagues_of(viewer).filter(is_active=False)
