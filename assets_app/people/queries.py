"""Reads about people: roles at a site, sites in sight."""

from __future__ import annotations

from django.db.models import QuerySet

from assets_app.people import rules
from assets_app.people.models import Person, Role
from assets_app.refusals import NotAllowed, NotFound
from assets_app.register.models import Site


def roles_at(person: Person, site_id: int) -> frozenset[str]:
    """Role names of ``person`` at the site; empty when signed out or inactive."""
    if not person.is_authenticated or not person.is_active:
        return frozenset()
    return frozenset(Role.objects.filter(person_id=person.pk, site_id=site_id).values_list("name", flat=True))


def sites_of(person: Person) -> QuerySet[Site]:
    """The sites at which ``person`` has any role."""
    if not person.is_authenticated:
        return Site.objects.none()
    return Site.objects.filter(pk__in=Role.objects.filter(person_id=person.pk).values("site_id"))


def require(person: Person, deed: str, site_id: int) -> frozenset[str]:
    """The roles of ``person`` at the site, after making sure that one of them may do ``deed``.

    Raises ``NotFound`` (``not_found``) when the person has no role there at all, so that another site's things do not
    show that they exist; ``NotAllowed`` (``role_lacks_right``) names who could.
    """
    roles = roles_at(person, site_id)
    if not roles:
        raise NotFound("not_found", "There is nothing here that you can see.")
    if not rules.may(deed, roles):
        raise NotAllowed(
            "role_lacks_right",
            f"As {', '.join(sorted(roles))} you cannot do this here. {rules.who_could(deed).capitalize()} could.",
            deed=deed,
            who_could=rules.who_could(deed),
        )
    return roles


def is_release_authority(person: Person, site_id: int) -> bool:
    """Whether ``person`` is a named authority who may lift a hold at the site."""
    return Role.objects.filter(person_id=person.pk, site_id=site_id, release_authority=True).exists()
