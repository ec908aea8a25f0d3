"""What every page knows: the person's sites and roles."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from assets_app.people.models import Role

CAUTION = (
    "These figures support a decision; they do not make it. Local codes, the maker's manual and licensed engineers and "
    "inspectors rule."
)


def page(request: HttpRequest) -> dict[str, Any]:
    """``my_roles`` (names), ``my_sites`` and the caution that stands on every page with figures."""
    person = getattr(request, "user", None)
    if person is None or not person.is_authenticated:
        return {"my_roles": frozenset(), "my_sites": [], "caution": CAUTION}
    roles = list(Role.objects.filter(person=person).select_related("site").order_by("site__name"))
    sites = {role.site_id: role.site for role in roles}
    return {"my_roles": frozenset(role.name for role in roles), "my_sites": list(sites.values()), "caution": CAUTION}
