"""Who hears of what at a site: its own rules where it has some, else the table in ``rules``."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from assets_app.people.models import RoleName
from schedules.alerts import rules
from schedules.alerts.models import AlertRule
from schedules.due.models import Policy


@dataclass(frozen=True)
class Hears:
    """By which channels a role hears of a kind: in the app wherever at all, so that it can be acknowledged there.
    ``days``: overdue for so long, at an escalation's step."""

    in_app: bool = False
    email: bool = False
    days: int | None = None
    is_own: bool = False  # the site's own rule, not the shipped table

    @property
    def at_all(self) -> bool:
        return self.in_app or self.email


class Book:
    """The rules of some sites, read once."""

    def __init__(self, site_ids: Iterable[int]) -> None:
        self._own: dict[tuple[int, str, str], AlertRule] = {}
        for row in AlertRule.objects.filter(site__in=list(site_ids)).order_by("pk"):
            self._own[row.site_id, row.kind, row.role] = row

    def hears(self, site_id: int, kind: str, role: str) -> Hears:
        own = self._own.get((site_id, kind, role))
        step = rules.STEPS.get(role) if kind == rules.ESCALATED else None
        if own is None:
            is_told = role in rules.HEARS[kind] or step is not None
            return Hears(in_app=is_told, email=is_told, days=step)
        days = own.days or step if kind == rules.ESCALATED else None
        at_all = own.is_on and (own.in_app or own.email)
        return Hears(in_app=at_all, email=own.is_on and own.email, days=days, is_own=True)

    def lead_days(self, site_id: int, kind: str) -> int:
        """How many days before its day a kind is told. ``KeyError`` for a kind without a lead time."""
        shipped = rules.LEADS[kind]
        own = self._own.get((site_id, kind, ""))
        if own is not None and own.is_on and own.days:
            return own.days
        if shipped is not None:
            return shipped
        policy = Policy.objects.filter(site_id=site_id).first() or Policy()
        return policy.due_soon_days

    def steps(self, site_id: int) -> list[tuple[str, int]]:
        """The escalation's steps: role and days overdue, the shortest first."""
        found = [(role, self.hears(site_id, rules.ESCALATED, role)) for role in RoleName.values]
        return sorted(((role, one.days) for role, one in found if one.at_all and one.days), key=lambda step: step[1])
