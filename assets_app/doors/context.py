"""What every page knows: the person's sites and roles."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from assets_app.people.models import Role
from assets_app.people.rules import may
from assets_app.register.models import Site
from assets_app.statements import Given, Statement

CAUTION = (
    "These figures support a decision; they do not make it. Local codes, the maker's manual and licensed engineers and "
    "inspectors rule."
)


def roles_of(request: HttpRequest) -> list[Role]:
    """The roles of the signed-in person with their sites, by site name: asked once a request, never kept longer."""
    found: list[Role] | None = getattr(request, "_roles_of_person", None)
    if found is None:
        person = getattr(request, "user", None)
        signed_in = person is not None and person.is_authenticated
        rows = _ROLES.rows(person=person.pk) if signed_in else []
        found = request._roles_of_person = [_role(row) for row in rows]  # type: ignore[attr-defined]
    return found


_OF_ROLE = [field.attname for field in Role._meta.concrete_fields]
_OF_SITE = [field.attname for field in Site._meta.concrete_fields]
_ROLES = Statement(
    lambda: (
        Role.objects.filter(person_id=Given("person"))
        .order_by("site__name", "site_id", "pk")
        .values_list(*_OF_ROLE, *(f"site__{name}" for name in _OF_SITE))
    )
)


def _role(row: tuple[Any, ...]) -> Role:
    role = Role.from_db("default", _OF_ROLE, row[: len(_OF_ROLE)])
    role.site = Site.from_db("default", _OF_SITE, row[len(_OF_ROLE) :])
    return role


def sites_of(request: HttpRequest) -> list[Site]:
    """The sites at which the signed-in person has any role, by name."""
    return list({role.site_id: role.site for role in roles_of(request)}.values())


def sites_where(request: HttpRequest, deed: str) -> set[int]:
    """Where the signed-in person may do ``deed``."""
    return {role.site_id for role in roles_of(request) if may(deed, [role.name])}


def page(request: HttpRequest) -> dict[str, Any]:
    """``my_roles`` (names), ``my_sites`` and the caution that stands on every page with figures."""
    names = frozenset(role.name for role in roles_of(request))
    return {"my_roles": names, "my_sites": sites_of(request), "caution": CAUTION}
